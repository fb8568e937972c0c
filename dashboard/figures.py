"""The trend figure: three charts on one time axis, made anew from series each time; nothing is kept."""

import math
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.model import Plate, Series
from analysis.points import MEASURES, POINTS, measure_of
from analysis.thinning import Array, thin, usual_spacing, with_gaps
from dashboard.tiles import label_of, scale_of

Figure = dict[str, Any]

POINTS_A_TRACE = 1_400
"""A fresh trace has at most these; the script in the browser adds live readings up to 2,000. [1]"""

SHORTEST_BREAK = 3.0
"""A line is broken where readings are further apart than this and than `SPACINGS` times their usual spacing. [s]"""
SPACINGS = 5.0

SPARSE = 3.0
"""Readings further apart than this, or a single one, are marked with a dot each. [s]"""


@dataclass(frozen=True, slots=True)
class Chart:
    """One of the charts, from top to bottom."""

    title: str
    points: tuple[str, ...]
    axis: str
    room: tuple[float, float]
    """Part of the figure's height that it takes, from and to. [1]"""
    steps: tuple[float, float]
    """Its range begins and ends at multiples of this: trade, metric."""
    least: tuple[float, float]
    """Its range is never smaller than this. [inside unit]"""

    @property
    def measure(self) -> str:
        """Measure of all its points."""
        return POINTS[self.points[0]].measure


_DRAFT = ("draft_switch", "draft_switch_high", "draft_collector", "draft_transition", "draft_burner_box", "draft_vent")

CHARTS = (
    Chart("draft (suction below 0)", _DRAFT, "y", (0.58, 0.97), (0.5, 100.0), (0.0, 200.0)),
    Chart(
        "air temperature",
        ("temp_return", "temp_supply", "temp_supply_2"),
        "y2",
        (0.29, 0.51),
        (20.0, 10.0),
        (15.0, 50.0),
    ),
    Chart(
        "relative humidity",
        ("humidity_supply", "humidity_return", "humidity_room", "humidity_outdoor"),
        "y3",
        (0.04, 0.22),
        (20.0, 20.0),
        (0.0, 1.0),
    ),
)

TREND_POINTS = frozenset(point for chart in CHARTS for point in chart.points)

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
    "temp_return": (_BLUE, "solid"),
    "temp_supply": (_VERMILION, "solid"),
    "temp_supply_2": (_ORANGE, "dash"),
    "humidity_supply": (_GREEN, "solid"),
    "humidity_return": (_BLUE, "dash"),
    "humidity_room": (_ORANGE, "dot"),
    "humidity_outdoor": (_PURPLE, "dashdot"),
}

_DASHES = ("solid", "dash", "dot", "dashdot")

_INK = ("#d7dde4", "#1c232b")
_GRID = ("#2b333d", "#d9dee4")
_GROUND = ("rgba(17,22,28,0.7)", "rgba(244,246,248,0.7)")
_BAND = ("rgba(0,158,115,0.16)", "rgba(0,158,115,0.16)")


@dataclass(frozen=True, slots=True)
class View:
    """What is wanted on the screen."""

    start: float
    """[s]"""
    end: float
    """[s]"""
    units: str = "trade"
    """`trade` or `metric`."""
    light: bool = False
    narrow: bool = False
    """A telephone: dragging scrolls the page instead of zooming."""
    points: int = POINTS_A_TRACE
    revision: str = ""
    """A zoom stays while this stays."""
    shift: float = 0.0
    """Moves every time of the figure. [s]"""
    counted: bool = False
    """Times count from the start of a recording."""


def trend_figure(
    found: Sequence[Series], view: View, plate: Plate | None = None, limits: Sequence[Mapping[str, Any]] = ()
) -> Figure:
    """Figure of these series as plain lists, with the plate's and the job's limits drawn in."""
    plate = plate or Plate()
    shade = int(view.light)
    layout = _layout(view, shade)
    traces: list[Figure] = []
    for chart in CHARTS:
        own = sorted(
            (series for series in found if series.channel.point in chart.points),
            key=lambda series: chart.points.index(series.channel.point),
        )
        scale, offset = scale_of(MEASURES[chart.measure], view.units)
        lines = [
            (value * scale + offset, text, above)
            for value, text, above in _lines(chart, {series.channel.point for series in own}, plate, limits)
        ]
        for series in own:
            if series.channel.point == "temp_return" and plate.rise:
                traces += _band(series, plate.rise, chart, view, shade)
        traces += [_trace(series, own, chart, view, shade) for series in own]
        layout[_layout_name(chart)] = _axis(chart, own, [line[0] for line in lines], view, shade)
        _draw(layout, chart, lines, shade)
        _entitle(layout, chart, view, shade, empty=not any(series.time.size for series in own))
    return {"data": traces, "layout": layout}


def message_figure(text: str, view: View) -> Figure:
    """Empty figure with one sentence in it, and no axes."""
    layout = _layout(view, int(view.light))
    for axis in ("xaxis", "yaxis"):
        layout[axis] = {"visible": False, "fixedrange": True}
    lines = "<br>".join(textwrap.wrap(text, 40 if view.narrow else 100))
    at = {"xref": "paper", "yref": "paper", "x": 0, "xanchor": "left", "y": 1, "yanchor": "top", "align": "left"}
    layout["annotations"] = [at | {"text": lines, "showarrow": False, "font": {"size": 15}}]
    return {"data": [], "layout": layout}


def longest_line(time: Array) -> float:
    """Spacing above which the line through these times is broken. [s]"""
    spacing = usual_spacing(time)
    return SHORTEST_BREAK if math.isnan(spacing) else max(SHORTEST_BREAK, SPACINGS * spacing)


def _trace(series: Series, own: Sequence[Series], chart: Chart, view: View, shade: int) -> Figure:
    channel = series.channel
    colours, dash = LOOKS[channel.point]
    sharing = [other for other in own if other.channel.point == channel.point]
    text = POINTS[channel.point].text
    name = f"{text} ({channel.instrument})" if len(sharing) > 1 else text
    dash = _DASHES[(_DASHES.index(dash) + sharing.index(series)) % len(_DASHES)]  # instruments of one point differ too
    dense = usual_spacing(series.time) <= SPARSE
    return _line(series, chart, view, 0.0) | {
        "name": name,
        "mode": "lines" if dense else "lines+markers",
        "line": {"color": colours[shade], "dash": dash, "width": 2},
        "marker": {"color": colours[shade], "size": 7},
        "hovertemplate": f"%{{y}} {label_of(MEASURES[chart.measure], view.units)}<extra>{name}</extra>",
    }


def _band(series: Series, rise: tuple[float, float], chart: Chart, view: View, shade: int) -> list[Figure]:
    """Where the supply air belongs: return air plus the plate's rise window; a guide, not broken at gaps.

    Plotly fills wrongly between lines that are broken.
    """
    good = np.isfinite(series.value)
    series = replace(series, time=series.time[good], value=series.value[good])
    plain = {"line": {"width": 0}, "hoverinfo": "skip"}
    low, high = (_line(series, chart, view, shift, bridged=True) | plain for shift in rise)
    return [low | {"name": ""}, high | {"name": "plate window", "fill": "tonexty", "fillcolor": _BAND[shade]}]


def _line(series: Series, chart: Chart, view: View, shift: float, *, bridged: bool = False) -> Figure:
    scale, offset = scale_of(measure_of(series.channel.point), view.units)
    longest = math.inf if bridged else longest_line(series.time)
    time, value = thin(*with_gaps(series.time, series.value, longest), view.points)
    shown = value * scale + offset + shift * scale
    return {
        "type": "scatter",
        "mode": "lines",
        "x": np.round((time + view.shift) * 1000).tolist(),
        "y": [None if math.isnan(number) else round(number, 4) for number in shown.tolist()],
        "xaxis": "x",
        "yaxis": chart.axis,
        "connectgaps": False,
        "meta": {
            "key": series.channel.key,
            "scale": scale,
            "offset": offset + shift * scale,
            "longest": None if bridged else longest * 1000,
        },
    }


def _lines(
    chart: Chart, present: set[str], plate: Plate, limits: Sequence[Mapping[str, Any]]
) -> list[tuple[float, str, bool]]:
    """Limits of a chart: value [inside unit], text, and whether the text stands above its line."""
    lines: list[tuple[float, str, bool]] = []
    if chart.axis == "y":
        if plate.switch_close:
            lines.append((plate.switch_close[-1], "make", True))
        if plate.switch_open:
            lines.append((plate.switch_open[-1], "break", False))
        if "draft_switch_high" in present and len(plate.switch_close) > 1:
            lines.append((plate.switch_close[0], "make, high stage", True))
        if "draft_switch_high" in present and len(plate.switch_open) > 1:
            lines.append((plate.switch_open[0], "break, high stage", False))
    if chart.axis == "y2" and plate.supply_max is not None:
        lines.append((plate.supply_max, "plate: supply limit", True))
    for limit in limits:
        if limit.get("point") in chart.points:
            name = POINTS[str(limit["point"])].text
            for side in ("above", "below"):
                value = limit.get(side)
                if isinstance(value, int | float) and not any(math.isclose(value, line[0]) for line in lines):
                    lines.append((float(value), f"{name}: alarm {side}", side == "above"))
    return lines


def _draw(layout: Figure, chart: Chart, lines: Sequence[tuple[float, str, bool]], shade: int) -> None:
    for value, text, above in lines:
        at = {"xref": "paper", "yref": chart.axis}
        line = {"color": _INK[shade], "width": 1, "dash": "dash"}
        layout["shapes"].append({"type": "line", "x0": 0, "x1": 1, "y0": value, "y1": value, "line": line} | at)
        note = {"text": text, "x": 1, "y": value, "xanchor": "right", "showarrow": False, "font": {"size": 11}}
        note["bgcolor"] = _GROUND[shade]
        layout["annotations"].append(note | at | {"yanchor": "bottom" if above else "top"})


def _entitle(layout: Figure, chart: Chart, view: View, shade: int, *, empty: bool) -> None:
    unit = label_of(MEASURES[chart.measure], view.units)
    at = {"xref": "paper", "yref": "paper", "x": 0, "xanchor": "left", "showarrow": False}
    text = f"<b>{chart.title}</b>, {unit}" + (" – no readings in this span" if empty else "")  # noqa: RUF001
    font = {"size": 13, "color": _INK[shade]}
    layout["annotations"].append(at | {"text": text, "y": chart.room[1], "yanchor": "bottom", "font": font})


def _axis(chart: Chart, own: Sequence[Series], lines: Sequence[float], view: View, shade: int) -> Figure:
    scale, offset = scale_of(MEASURES[chart.measure], view.units)
    values = [value * scale + offset for value in chart.least] + list(lines)
    for series in own:
        good = series.value[np.isfinite(series.value)]
        if good.size:
            values += [float(good.min()) * scale + offset, float(good.max()) * scale + offset]
    step = chart.steps[view.units == "metric"]
    low, high = math.floor(min(values) / step + 1e-9) * step, math.ceil(max(values) / step - 1e-9) * step
    return {
        "domain": list(chart.room),
        "anchor": "x",
        "range": [low, high],
        "fixedrange": True,
        "gridcolor": _GRID[shade],
        "zeroline": chart.axis == "y",
        "zerolinecolor": _INK[shade],
        "zerolinewidth": 1,
        "nticks": 6,
    }


def _layout(view: View, shade: int) -> Figure:
    return {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"color": _INK[shade], "size": 12},
        "margin": {"l": 44, "r": 8, "t": 4, "b": 36},
        "autosize": True,
        "dragmode": False if view.narrow else "zoom",
        "hovermode": "x",
        "showlegend": False,  # the page lists the lines itself: a legend of the figure's own would shrink the charts
        "uirevision": view.revision,
        "shapes": [],
        "annotations": [],
        "meta": {"shift": view.shift * 1000},
        "xaxis": {
            "type": "date",
            "anchor": "y3",
            "range": [(view.start + view.shift) * 1000, (view.end + view.shift) * 1000],
            "gridcolor": _GRID[shade],
            "title": {"text": "time from the start" if view.counted else "local time", "standoff": 4},
            "tickformat": "%H:%M:%S" if view.counted else "",
            "nticks": 4 if view.narrow else 10,
            "tickangle": 0,
        },
    }


def _layout_name(chart: Chart) -> str:
    return f"yaxis{chart.axis[1:]}"
