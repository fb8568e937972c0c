"""The table of charts, from top to bottom on one time axis, and how each line looks."""

from dataclasses import dataclass

from analysis.points import measure_of
from analysis.units import INCH_OF_WATER
from dashboard.tiles import CONTACTS


@dataclass(frozen=True, slots=True)
class Chart:
    """One of the charts."""

    name: str
    """In the page and in what the browser asks for."""
    title: str
    points: tuple[str, ...]
    steps: tuple[float, float] = (1.0, 1.0)
    """Its range begins and ends at multiples of this: trade, metric. [unit on screen]"""
    least: tuple[float, float] = (0.0, 1.0)
    """Its range is never smaller than this, so that it seldom changes. [inside unit]"""
    height: tuple[int, int] = (120, 110)
    """Without its head and without time below: wide screen, telephone. [pixels]"""
    strip: bool = False
    """A lane for each contact instead of values."""

    @property
    def measure(self) -> str:
        """Measure of all its points."""
        return measure_of(self.points[0]).name


CHARTS = (
    Chart(
        "draft",
        "draft (suction below 0)",
        ("draft_switch", "draft_switch_high", "draft_collector", "draft_transition", "draft_burner_box", "draft_vent"),
        (0.5, 100.0),
        (-1.5 * INCH_OF_WATER, 1.5 * INCH_OF_WATER),
        (270, 230),
    ),
    Chart("contacts", "contacts (bar: closed or on)", tuple(contact.point for contact in CONTACTS), strip=True),
    Chart("gas", "gas pressure", ("gas_manifold", "gas_inlet"), (2.0, 500.0), (0.0, 4.0 * INCH_OF_WATER)),
    Chart("flame", "flame current", ("flame_current",), (1.0, 1.0), (0.0, 4e-6)),
    Chart(
        "temperature",
        "air temperature",
        ("temp_return", "temp_supply", "temp_supply_2"),
        (20.0, 10.0),
        (15.0, 60.0),
        (180, 160),
    ),
    Chart("rise", "temperature rise", ("temp_rise",), (20.0, 10.0), (0.0, 40.0)),
    Chart(
        "humidity",
        "relative humidity",
        ("humidity_supply", "humidity_return", "humidity_room", "humidity_outdoor"),
        (20.0, 20.0),
        (0.0, 1.0),
    ),
)

TREND_POINTS = frozenset(point for chart in CHARTS for point in chart.points)

LANE = 22
"""Height of a contact's lane. [pixels]"""

# Colours that stay apart for colour-blind eyes: M. Okabe and K. Ito, "Color Universal Design", 2008. The pair stands
# for dark and light ground; lines of one chart differ in their dashes too.
_BLUE = ("#56B4E9", "#0072B2")
_GREEN = ("#009E73", "#009E73")
_ORANGE = ("#E69F00", "#E69F00")
_VERMILION = ("#D55E00", "#D55E00")
_PURPLE = ("#CC79A7", "#CC79A7")
_YELLOW = ("#F0E442", "#000000")

LOOKS: dict[str, tuple[tuple[str, str], str]] = {
    "draft_switch": (_BLUE, "solid"),
    "draft_switch_high": (_YELLOW, "solid"),
    "draft_collector": (_ORANGE, "solid"),
    "draft_transition": (_PURPLE, "dash"),
    "draft_burner_box": (_GREEN, "dot"),
    "draft_vent": (_VERMILION, "dashdot"),
    "gas_manifold": (_BLUE, "solid"),
    "gas_inlet": (_ORANGE, "dash"),
    "flame_current": (_VERMILION, "solid"),
    "temp_return": (_BLUE, "solid"),
    "temp_supply": (_VERMILION, "solid"),
    "temp_supply_2": (_ORANGE, "dash"),
    "temp_rise": (_GREEN, "solid"),
    "humidity_supply": (_GREEN, "solid"),
    "humidity_return": (_BLUE, "dash"),
    "humidity_room": (_ORANGE, "dot"),
    "humidity_outdoor": (_PURPLE, "dashdot"),
}

BAR = _BLUE
"""A contact that is closed or on."""

DASHES = ("solid", "dash", "dot", "dashdot")

INK = ("#d7dde4", "#1c232b")
GRID = ("#2b333d", "#d9dee4")
GROUND = ("rgba(17,22,28,0.7)", "rgba(244,246,248,0.7)")
BAND = ("rgba(0,158,115,0.16)", "rgba(0,158,115,0.16)")

MOMENTS: dict[str, tuple[str, tuple[str, str], str]] = {
    "mark": ("▼ mark", INK, "solid"),
    "note": ("✎ note", INK, "dot"),
    "photo": ("◆ photo", INK, "dot"),
    "remote_note": ("✉ note", ("#56b4e9", "#0072b2"), "dot"),
    "remote_request": ("✉ measure", ("#56b4e9", "#0072b2"), "dash"),
    "alarm": ("▲ alarm", ("#ff9a4d", "#a84600"), "dash"),
}
"""Events with a line across all charts: words, colours, dash."""
