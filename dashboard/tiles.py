"""The table of tiles: which point stands where, in the order of the ignition sequence; and their empty markup."""

from dataclasses import asdict, dataclass
from typing import Any

from dash import html

from analysis.points import DERIVED, MEASURES, POINTS, Measure, measure_of
from analysis.units import conversion


@dataclass(frozen=True, slots=True)
class Tile:
    """One tile: its points from the first, largest one down."""

    title: str
    points: tuple[str, ...]
    margin: str | None = None
    """Derived quantity told with the words "to make" or "to break"."""
    size: str = "small"
    """`first`, `wide` or `small`."""
    contacts: bool = False
    """Has the strip of contacts in it."""

    @property
    def name(self) -> str:
        """Identity on the page."""
        return self.points[0]

    @property
    def names_its_number(self) -> bool:
        """Whether the title says what the largest number is; else the number has its point's name beside it."""
        alone = len(self.points) == 1 and not self.contacts
        return alone or self.title == _text(self.points[0])


@dataclass(frozen=True, slots=True)
class Contact:
    """A contact in the strip: its short name and the words for 1 and 0."""

    point: str
    name: str
    on: str
    off: str


TILES: tuple[Tile, ...] = (
    Tile("pressure at the switch", ("draft_switch",), margin="draft_margin", size="first"),
    Tile("high-stage pressure switch", ("draft_switch_high",), margin="draft_margin_high", size="wide"),
    Tile("24 V and contacts", ("volts_control",), size="wide", contacts=True),
    Tile("gas", ("gas_manifold", "gas_inlet")),
    Tile("flame current", ("flame_current",)),
    Tile("supply air", ("temp_supply", "temp_rise", "temp_return", "temp_supply_2")),
    Tile("humidity", ("humidity_supply", "dew_point_margin", "humidity_return", "humidity_room", "humidity_outdoor")),
    Tile("collector box", ("draft_collector",)),
    Tile("transition box", ("draft_transition",)),
    Tile("burner box", ("draft_burner_box",)),
    Tile("vent side", ("draft_vent",)),
    Tile("static pressure", ("static_external", "static_return", "static_supply")),
    Tile("flue gas", ("flue_co", "flue_o2", "flue_co2", "temp_flue")),
    Tile("other temperatures", ("temp_outdoor", "temp_surface", "temp_room")),
    Tile("line and switch volts", ("volts_line", "volts_line_neutral_ground", "volts_switch")),
    Tile("motors and igniter", ("amps_inducer", "speed_inducer", "amps_blower", "amps_igniter")),
)

CONTACTS: tuple[Contact, ...] = (
    Contact("call_heat", "call", "calling", "no call"),
    Contact("call_heat_2", "2nd stage", "calling", "no call"),
    Contact("door_closed", "door", "closed", "OPEN"),
    Contact("float_closed", "float", "closed", "OPEN"),
    Contact("rollout_closed", "roll-out", "closed", "OPEN"),
    Contact("limit_closed", "limit", "closed", "OPEN"),
    Contact("switch_closed", "switch", "closed", "open"),
    Contact("switch_high_closed", "high switch", "closed", "open"),
    Contact("gas_valve", "gas valve", "on", "off"),
    Contact("blower_on", "blower", "on", "off"),
    Contact("call_fan", "fan call", "calling", "no call"),
    Contact("call_compressor", "heat pump", "calling", "no call"),
    Contact("call_reversing", "reversing valve", "on", "off"),
    Contact("defrost_active", "defrost", "on", "off"),
    Contact("call_humidifier", "humidity call", "calling", "no call"),
    Contact("humidifier_valve", "humidifier valve", "open", "shut"),
)

CORNER = "room_co"
"""Stands in the corner of the top line, measured or not."""


@dataclass(frozen=True, slots=True)
class Level:
    """A level of carbon monoxide in the room: from where, and its name, words and shape on the page."""

    value: float
    """[mole fraction]"""
    name: str
    word: str
    shape: str


CO_LADDER = (
    Level(70e-6, "evacuate", "EVERYBODY OUT", "✖"),
    Level(36e-6, "shut-down", "SHUT DOWN, ventilate", "■"),
    Level(9e-6, "advise", "advise, find the source", "▲"),
)
"""From the worst down; a reading of exactly the level counts (ANSI/BPI-1200, from memory)."""

FROM_START = 365 * 86_400.0
"""Times before this are counted from the start of a recording, not from 1970, and have no local time. [s]"""

_EXAMPLES = {
    "pressure": ("0.52", "130"),
    "temperature": ("68", "20.0"),
    "humidity": ("38", "38"),
    "flame_current": ("3.2", "3.2"),
    "voltage": ("25.4", "25.4"),
    "current": ("1.20", "1.20"),
    "speed": ("3100", "3100"),
    "fraction": ("8.5", "8.5"),
    "trace": ("0", "0"),
    "contact": ("1 or 0", "1 or 0"),
}
"""What a number of each measure looks like: trade, metric."""

_UNITS = {
    "pressure": ("in. w.c.", "Pa", "hPa", "mbar", "kPa", "psi"),
    "temperature": ("°F", "°C"),
    "humidity": ("%RH",),
    "flame_current": ("µA",),
    "voltage": ("V", "mV"),
    "current": ("A", "mA"),
    "speed": ("rpm",),
    "fraction": ("%", "ppm"),
    "trace": ("ppm", "%"),
}
"""Units offered for a number of each measure that is typed in; any other can be written out."""

SUCTION = frozenset({"draft_burner_box", "draft_transition", "draft_collector", "draft_vent", "static_return"})
"""Points whose negative readings are told as "suction 1.25"."""


def placed() -> list[str]:
    """Every point that has a place on the page."""
    names = [point for tile in TILES for point in tile.points]
    names += [tile.margin for tile in TILES if tile.margin]
    return [*names, *(contact.point for contact in CONTACTS), CORNER]


def skeletons() -> list[Any]:
    """Empty tiles, hidden until a channel of theirs is there."""
    return [_skeleton(tile) for tile in TILES]


def words() -> dict[str, Any]:
    """What the script in the browser needs to turn inside values into text: measures, points and contacts."""
    return {
        "type": "page",
        "measures": {measure.name: _scales(measure) for measure in MEASURES.values()},
        "points": {
            name: {"text": point.text, "measure": measure_of(name).name, "suction": name in SUCTION}
            for name, point in (POINTS | DERIVED).items()
        },
        "typed": list(POINTS),
        "contacts": {
            contact.point: {"name": contact.name, "on": contact.on, "off": contact.off} for contact in CONTACTS
        },
        "ladder": [asdict(level) for level in CO_LADDER],
        "examples": {name: {"trade": trade, "metric": metric} for name, (trade, metric) in _EXAMPLES.items()},
        "units": {name: list(units) for name, units in _UNITS.items()},
        "from_start": FROM_START,
    }


def data(**facts: str) -> Any:
    """Facts for the script, as `data-` attributes of an element."""
    return {f"data-{name}": fact for name, fact in facts.items()}


def scale_of(measure: Measure, units: str) -> tuple[float, float]:
    """Scale and offset from the inside unit to the unit on screen; `units` is `trade` or `metric`."""
    unit = measure.trade if units == "trade" else measure.metric
    scale, offset = conversion(measure.inside, unit, difference=measure.difference)
    return scale, offset


def label_of(measure: Measure, units: str) -> str:
    """Unit as it is written on screen."""
    return measure.trade_label if units == "trade" else measure.metric_label


def _scales(measure: Measure) -> dict[str, Any]:
    scales = {}
    for units, decimals in (("trade", measure.trade_decimals), ("metric", measure.metric_decimals)):
        scale, offset = scale_of(measure, units)
        scales[units] = {
            "scale": scale,
            "offset": offset,
            "label": label_of(measure, units),
            "decimals": decimals,
        }
    return scales


def _skeleton(tile: Tile) -> Any:
    main, *others = tile.points
    first = _row(main, "tile-row tile-main" + (" tile-told" if tile.names_its_number else ""))
    rows = [first, *(_row(point, "tile-row") for point in others)]
    parts = [html.H2(tile.title), html.Div(className="tile-alarm", hidden=True), *rows]
    if tile.margin:
        parts.append(html.Div(className="tile-margin", **data(margin=tile.margin)))
        parts.append(_scale())
        parts.append(html.Div(className="tile-lines"))
    if tile.contacts:
        parts.append(html.Ul([_contact(contact) for contact in CONTACTS], className="contacts", id="contacts"))
    return html.Section(parts, id=f"tile-{tile.name}", className=f"tile tile-{tile.size}", hidden=True)


def _text(point: str) -> str:
    return (POINTS.get(point) or DERIVED[point]).text


def _row(point: str, classes: str) -> Any:
    return html.Div(
        [
            html.Span(_text(point), className="tile-name"),
            html.Span(
                [
                    html.Span(className="tile-word"),
                    html.Span("–", className="tile-value"),  # noqa: RUF001
                    html.Span(className="tile-unit"),
                ],
                className="tile-number",
            ),
            html.Span(
                [html.Span(className="trend-arrow"), " ", html.Span(className="trend-word")], className="tile-trend"
            ),
            html.Span(className="tile-note"),
            html.Span(className="tile-age"),
            html.Span(className="tile-also"),
        ],
        className=classes,
        hidden=True,
        **data(point=point),
    )


def _scale() -> Any:
    """The pressure on a scale with make and break; the numbers beside it say the same."""
    parts = [html.Div(className=f"scale-{name}") for name in ("fill", "break", "make")]
    unread: dict[str, Any] = {"aria-hidden": "true"}
    return html.Div(parts, className="tile-scale", hidden=True, **unread)


def _contact(contact: Contact) -> Any:
    parts = [
        html.Span(className="contact-shape"),
        html.Span(contact.name, className="contact-name"),
        html.Span(className="contact-word"),
        html.Span(className="contact-first"),
    ]
    return html.Li(parts, className="contact", hidden=True, **data(point=contact.point))
