"""The table of tiles: which point stands where, in the order of the ignition sequence; and their empty markup."""

from dataclasses import dataclass
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
        "contacts": {contact.point: {"on": contact.on, "off": contact.off} for contact in CONTACTS},
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
    rows = [_row(point, main=number == 0) for number, point in enumerate(tile.points)]
    parts = [html.H2(tile.title), *rows]
    if tile.margin:
        parts.append(html.Div(className="tile-margin", **data(margin=tile.margin)))
        parts.append(html.Div(className="tile-lines"))
    if tile.contacts:
        parts.append(html.Ul([_contact(contact) for contact in CONTACTS], className="contacts", id="contacts"))
    return html.Section(parts, id=f"tile-{tile.name}", className=f"tile tile-{tile.size}", hidden=True)


def _row(point: str, *, main: bool) -> Any:
    known = POINTS.get(point) or DERIVED[point]
    return html.Div(
        [
            html.Span(known.text, className="tile-name"),
            html.Span(
                [
                    html.Span(className="tile-word"),
                    html.Span("–", className="tile-value"),  # noqa: RUF001
                    html.Span(className="tile-unit"),
                ],
                className="tile-number",
            ),
            html.Span(className="tile-note"),
            html.Span(className="tile-age"),
        ],
        className="tile-row tile-main" if main else "tile-row",
        hidden=True,
        **data(point=point),
    )


def _contact(contact: Contact) -> Any:
    parts = [
        html.Span(className="contact-shape"),
        html.Span(contact.name, className="contact-name"),
        html.Span(className="contact-word"),
    ]
    return html.Li(parts, className="contact", hidden=True, **data(point=contact.point))
