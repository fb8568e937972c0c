"""How two recordings look beside each other: groups of points, colours with a mark for each, dashes for each side."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.points import POINTS, Measure
from dashboard.tiles import CONTACTS, label_of

Figure = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Group:
    """Points that share a figure; all of one measure."""

    title: str
    points: tuple[str, ...]


def _of(measure: str) -> tuple[str, ...]:
    return tuple(name for name, point in POINTS.items() if point.measure == measure)


def _from(measure: str, *starts: str) -> tuple[str, ...]:
    return tuple(name for name in _of(measure) if name.startswith(starts))


GROUPS = (
    Group("draft (suction below 0)", _from("pressure", "draft_")),
    Group("gas pressure", _from("pressure", "gas_")),
    Group("contacts (up: closed or on)", tuple(contact.point for contact in CONTACTS)),
    Group("flame current", _of("flame_current")),
    Group("air temperature", tuple(name for name in _of("temperature") if name != "temp_flue")),
    Group("flue gas temperature", ("temp_flue",)),
    Group("relative humidity", _of("humidity")),
    Group("static pressure", _from("pressure", "static_")),
    Group("voltage", _of("voltage")),
    Group("current", _of("current")),
    Group("speed", _of("speed")),
    Group("flue gas", _of("fraction")),
    Group("carbon monoxide", _of("trace")),
)

# Colours that stay apart for colour-blind eyes: M. Okabe and K. Ito, "Color Universal Design", 2008; for dark and light
# ground. Each has a mark of its own on the line, so that it is not told by its colour alone.
COLOURS = (
    ("#56B4E9", "#0072B2"),
    ("#E69F00", "#8a5f00"),
    ("#CC79A7", "#a3527f"),
    ("#2fc79b", "#007a5a"),
    ("#ff8a4d", "#b34a00"),
    ("#F0E442", "#000000"),
)
MARKS = ("circle", "square", "diamond", "triangle-up", "x", "star")
DASHES = {"A": "solid", "B": "dash"}
MARKED = 9
"""Marks on a line. [1]"""

_INK = ("#d7dde4", "#1c232b")
_GRID = ("#2b333d", "#d9dee4")
_STEPS = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400, 172800, 604800)
"""Between two times on the axis. [s]"""


def line(
    x: list[float], y: list[float | None], *, letter: str, name: str, place: int, contact: bool, light: bool
) -> Figure:
    """The line of one meter in one recording."""
    place = "AB".index(letter) if contact else place
    return {
        "type": "scatter",
        "mode": "lines",
        "name": _plain(f"{letter} ({DASHES[letter]}): {name}"),
        "x": x,
        "y": y,
        "line": {
            "color": COLOURS[place % len(COLOURS)][light],
            "dash": DASHES[letter],
            "width": 2,
            "shape": "hv" if contact else "linear",
        },
        "hoverinfo": "name" if contact else "y+name",
        "hoverlabel": {"namelength": -1},
        "connectgaps": False,
    }


def marks(x: list[float], y: list[float | None], *, letter: str, place: int, light: bool) -> Figure:
    """A few marks on a line; those of B are hollow."""
    good = [index for index, value in enumerate(y) if value is not None]
    step = max(1, len(good) // MARKED)
    chosen = good[step // 2 :: step]
    mark = MARKS[place % len(MARKS)] + ("" if letter == "A" else "-open")
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [x[index] for index in chosen],
        "y": [y[index] for index in chosen],
        "marker": {"symbol": mark, "size": 9, "color": COLOURS[place % len(COLOURS)][light]},
        "hoverinfo": "skip",
        "name": "",
    }


def legend_row(name: str, place: int, *, light: bool) -> Figure:
    """One entry of the legend: a meter with its mark and colour."""
    return {"text": name, "place": place % len(MARKS), "colour": COLOURS[place % len(COLOURS)][light]}


def layout(
    group: Group, measure: Measure, units: str, shown: tuple[float, float], *, light: bool, narrow: bool
) -> Figure:
    """Layout of one figure; the axis of time counts from the start of A."""
    unit = label_of(measure, units)
    title = f"<b>{group.title}</b>" + (f", {unit}" if unit else "")
    ticks, texts = times(*shown, 4 if narrow else 9)
    at = {"xref": "paper", "yref": "paper", "x": 0, "xanchor": "left", "y": 1, "yanchor": "bottom"}
    return {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"color": _INK[light], "size": 12},
        "margin": {"l": 44, "r": 8, "t": 24, "b": 40},
        "autosize": True,
        "dragmode": False if narrow else "zoom",
        "hovermode": "closest",
        "showlegend": False,
        "shapes": [],
        "annotations": [at | {"text": title, "showarrow": False, "font": {"size": 13}}],
        "xaxis": {
            "range": list(shown),
            "gridcolor": _GRID[light],
            "zeroline": False,
            "tickvals": ticks,
            "ticktext": texts,
            "title": {"text": "time from the start of A", "standoff": 4},
        },
        "yaxis": {"fixedrange": True, "gridcolor": _GRID[light], "zerolinecolor": _INK[light], "nticks": 6},
    }


def lanes(made: Figure, points: Sequence[str], height: float) -> None:
    """Make a figure's upright axis one of lanes, the first contact on top."""
    names = [next(contact.name for contact in CONTACTS if contact.point == point) for point in points]
    made["yaxis"] |= {
        "tickvals": [place + height / 2 for place in range(len(names))],
        "ticktext": names[::-1],
        "range": [-0.2, len(names) - 1 + height + 0.2],
        "showgrid": False,
        "zeroline": False,
        "automargin": True,
    }


def times(start: float, end: float, most: int) -> tuple[list[float], list[str]]:
    """At most so many round times between two [s], and each as text."""
    step = next((step for step in _STEPS if (end - start) / step <= most), (end - start) / most)
    first = -(-start // step)
    ticks = []
    while first * step <= end:
        ticks.append(float(first * step))
        first += 1
    return ticks, [clock(tick) for tick in ticks]


def clock(seconds: float) -> str:
    """Time from the start as it is read: 1:05, 1:01:05, or -0:10."""
    whole = abs(round(seconds))
    sign = "−" if seconds < 0 and whole else ""  # noqa: RUF001
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    return f"{sign}{hours}:{minutes:02}:{rest:02}" if hours else f"{sign}{minutes}:{rest:02}"


def _plain(text: str) -> str:
    """Text without what the figure would take for markup."""
    return text.replace("<", "‹").replace(">", "›")  # noqa: RUF001
