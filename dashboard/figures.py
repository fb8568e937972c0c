"""The charts of the trends as data: one figure each on one time axis, made anew from series; nothing is kept."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from analysis.model import NANOSECONDS, Event, Plate, Series
from analysis.points import DERIVED, MEASURES, POINTS, measure_of
from analysis.thinning import longest_line, thin, with_gaps
from collector.outline import Outline, spacing_of
from dashboard.charts import BAND, CHARTS, DASHES, GRID, GROUND, INK, LOOKS, MOMENTS, Chart
from dashboard.strip import strip_height, strip_parts
from dashboard.tiles import label_of, scale_of

Figure = dict[str, Any]

POINTS_A_TRACE = 1_400
"""A fresh trace has at most these; the script in the browser adds live readings up to 2,000. [1]"""

SPARSE = 3.0
"""Readings further apart than this, or a single one, are marked with a dot each. [s]"""

MOST_MOMENTS = 60
"""Marks, notes and alarms that are drawn, the newest; the list below the trends has the others. [1]"""

LABEL_ROOM = 0.07
"""A moment's words are left out nearer to the next one than this part of the window. [1]"""

TIME_BELOW = 30
"""Room for the time axis under the last chart. [pixels]"""


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
    shift: float = 0.0
    """Moves every time of the figures. [s]"""
    counted: bool = False
    """Times count from the start of a recording."""
    keep: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Ranges that the charts of these names must hold, so that an axis never shrinks under the eye. [unit on screen]"""


@dataclass(frozen=True, slots=True)
class Line:
    """A level drawn across a chart."""

    value: float
    """[inside unit]"""
    text: str
    above: bool = True
    """Whether the text stands above its line."""
    left: bool = False
    """Whether it stands at the left end."""


def trend_figures(
    found: Sequence[Series],
    view: View,
    plate: Plate | None = None,
    limits: Sequence[Mapping[str, Any]] = (),
    moments: Sequence[Event] = (),
) -> dict[str, Figure]:
    """Figures of the charts that have a series, by name from top to bottom, as plain lists; limits drawn in."""
    plate, shade = plate or Plate(), int(view.light)
    present = [chart for chart in CHARTS if any(series.channel.point in chart.points for series in found)]
    figures = {}
    for chart in present:
        own = sorted(
            (series for series in found if series.channel.point in chart.points),
            key=lambda series: chart.points.index(series.channel.point),
        )
        traces, layout = _strip(own, view) if chart.strip else _values(chart, own, view, plate, limits)
        _frame(layout, chart, view, shade, last=chart is present[-1])
        _draw_moments(layout, moments, view, shade, told=chart is present[0])
        layout["meta"]["empty"] = not any(series.time.size for series in own)
        figures[chart.name] = {"data": traces, "layout": layout}
    return figures


def _strip(own: Sequence[Series], view: View) -> tuple[list[Figure], Figure]:
    traces, axis, notes = strip_parts(own, shift=view.shift, light=view.light, narrow=view.narrow)
    height = strip_height(len(traces))
    return traces, {"yaxis": axis, "shapes": [], "annotations": notes, "meta": {"unit": "", "height": height}}


def _values(
    chart: Chart, own: Sequence[Series], view: View, plate: Plate, limits: Sequence[Mapping[str, Any]]
) -> tuple[list[Figure], Figure]:
    shade, scales = int(view.light), scale_of(MEASURES[chart.measure], view.units)
    lines = _lines(chart, {series.channel.point for series in own}, plate, limits)
    layout: Figure = {"shapes": [], "annotations": []}
    traces: list[Figure] = []
    for series in own:
        if series.channel.point == "temp_return" and plate.rise:
            traces += _band(series, plate.rise, view, shade)
    traces += [_trace(series, own, view, shade) for series in own]
    if chart.name == "rise" and plate.rise:
        low, high = (value * scales[0] for value in plate.rise)
        box = {"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "y0": low, "y1": high, "line": {"width": 0}}
        layout["shapes"].append(box | {"fillcolor": BAND[shade], "layer": "below"})
    for line in lines:
        _draw(layout, line, line.value * scales[0] + scales[1], shade)
    layout["yaxis"] = _axis(chart, own, [line.value for line in lines], view)
    unit = label_of(MEASURES[chart.measure], view.units)
    step = chart.steps[view.units == "metric"]
    layout["meta"] = {"unit": unit, "height": chart.height[view.narrow], "step": step}
    return traces, layout


def _trace(series: Series, own: Sequence[Series], view: View, shade: int) -> Figure:
    point = series.channel.point
    colours, dash = LOOKS[point]
    sharing = [other for other in own if other.channel.point == point]
    text = (POINTS.get(point) or DERIVED[point]).text
    name = f"{text} ({series.channel.instrument})" if len(sharing) > 1 else text
    dash = DASHES[(DASHES.index(dash) + sharing.index(series)) % len(DASHES)]  # instruments of one point differ too
    dense = spacing_of(series) <= SPARSE
    return _line(series, view, 0.0) | {
        "name": name,
        "mode": "lines" if dense else "lines+markers",
        "line": {"color": colours[shade], "dash": dash, "width": 2},
        "marker": {"color": colours[shade], "size": 7},
    }


def _band(series: Series, rise: tuple[float, float], view: View, shade: int) -> list[Figure]:
    """Where the supply air belongs: return air plus the plate's rise window; a guide, not broken at gaps.

    Plotly fills wrongly between lines that are broken.
    """
    good = np.isfinite(series.value)
    series = replace(series, time=series.time[good], value=series.value[good])
    low, high = (_line(series, view, shift, bridged=True) | {"line": {"width": 0}} for shift in rise)
    return [low | {"name": ""}, high | {"name": "plate window", "fill": "tonexty", "fillcolor": BAND[shade]}]


def _line(series: Series, view: View, shift: float, *, bridged: bool = False) -> Figure:
    scale, offset = scale_of(measure_of(series.channel.point), view.units)
    longest = math.inf if bridged else longest_line(spacing_of(series))
    drawn = math.inf if isinstance(series, Outline) else longest  # that is broken where it is to be already
    time, value = thin(*with_gaps(series.time, series.value, drawn), view.points)
    shown = value * scale + offset + shift * scale
    # A derived quantity comes live under its own name.
    key = series.channel.point if series.channel.point in DERIVED else series.channel.key
    return {
        "type": "scatter",
        "mode": "lines",
        "x": np.round((time + view.shift) * 1000).tolist(),
        "y": [None if math.isnan(number) else round(number, 4) for number in shown.tolist()],
        "connectgaps": False,
        "hoverinfo": "skip",
        "meta": {
            "key": key,
            "point": series.channel.point,
            "scale": scale,
            "offset": offset + shift * scale,
            "longest": None if bridged else longest * 1000,
        },
    }


def _lines(chart: Chart, present: set[str], plate: Plate, limits: Sequence[Mapping[str, Any]]) -> list[Line]:
    """Limits of a chart, from the plate and from the job."""
    lines = list(_plate_lines(chart, present, plate))
    for limit in limits:
        if limit.get("point") in chart.points:
            point = str(limit["point"])
            name = (POINTS.get(point) or DERIVED[point]).text
            for side in ("above", "below"):
                value = limit.get(side)
                if isinstance(value, int | float) and not any(math.isclose(value, line.value) for line in lines):
                    lines.append(Line(float(value), f"{name}: alarm {side}", side == "above"))
    return lines


def _plate_lines(chart: Chart, present: set[str], plate: Plate) -> list[Line]:
    if chart.name == "draft":
        stages = [("", -1)] + ([(", high stage", 0)] if "draft_switch_high" in present else [])
        return [
            Line(values[stage], word + text, above)
            for text, stage in stages
            for values, word, above in ((plate.switch_close, "make", True), (plate.switch_open, "break", False))
            if len(values) > (1 if stage == 0 else 0)
        ]
    if chart.name == "gas" and "gas_manifold" in present:
        words = ("high", "low") if len(plate.manifold) > 1 else ("",)
        known = zip(plate.manifold, words, strict=False)
        return [Line(value, f"plate: manifold {word}".strip(), left=True) for value, word in known]
    if chart.name == "flame" and plate.flame_current_min is not None:
        return [Line(plate.flame_current_min, "least")]
    if chart.name == "temperature" and plate.supply_max is not None:
        return [Line(plate.supply_max, "plate: supply limit")]
    return []


def _draw(layout: Figure, line: Line, shown: float, shade: int) -> None:
    at = {"xref": "paper", "yref": "y"}
    look = {"color": INK[shade], "width": 1, "dash": "dash"}
    layout["shapes"].append({"type": "line", "x0": 0, "x1": 1, "y0": shown, "y1": shown, "line": look} | at)
    end = {"x": 0, "xanchor": "left"} if line.left else {"x": 1, "xanchor": "right"}
    note = {"text": line.text, "y": shown, "showarrow": False, "font": {"size": 12}, "bgcolor": GROUND[shade]} | end
    layout["annotations"].append(note | at | {"yanchor": "bottom" if line.above else "top"})


def _draw_moments(layout: Figure, moments: Sequence[Event], view: View, shade: int, *, told: bool) -> None:
    """A line at each moment across the chart; its words in the top chart, where there is room."""
    room, before = LABEL_ROOM * (view.end - view.start), -math.inf
    for event in moments[-MOST_MOMENTS:]:
        words, colours, dash = MOMENTS[str(event.kind)]
        seconds = event.time / NANOSECONDS
        x = round((seconds + view.shift) * 1000)
        line = {"color": colours[shade], "width": 1, "dash": dash}
        at = {"xref": "x", "yref": "paper"}
        layout["shapes"].append({"type": "line", "x0": x, "x1": x, "y0": 0, "y1": 1, "line": line} | at)
        if told and seconds - before > room:
            before = seconds
            note = {"text": words, "x": x, "y": 1, "yanchor": "top", "showarrow": False, "bgcolor": GROUND[shade]}
            side = "right" if seconds > view.end - room else "left"
            font = {"size": 12, "color": colours[shade]}
            layout["annotations"].append(note | at | {"xanchor": side, "font": font})


def _axis(chart: Chart, own: Sequence[Series], lines: Sequence[float], view: View) -> Figure:
    scale, offset = scale_of(MEASURES[chart.measure], view.units)
    values = [value * scale + offset for value in (*chart.least, *lines)]
    values += view.keep.get(chart.name, ())
    for series in own:
        good = series.value[np.isfinite(series.value)]
        if good.size:
            values += [float(good.min()) * scale + offset, float(good.max()) * scale + offset]
    step = chart.steps[view.units == "metric"]
    low, high = math.floor(min(values) / step + 1e-9) * step, math.ceil(max(values) / step - 1e-9) * step
    return {"range": [low, high], "zeroline": chart.name == "draft", "nticks": 6 if chart.height[0] > 150 else 4}


def _frame(layout: Figure, chart: Chart, view: View, shade: int, *, last: bool) -> None:
    below = TIME_BELOW if last else 6
    layout["meta"] |= {"shift": view.shift * 1000, "title": chart.title}
    layout["meta"]["height"] += below
    layout["yaxis"] |= {"fixedrange": True, "gridcolor": GRID[shade], "zerolinecolor": INK[shade], "zerolinewidth": 1}
    layout["xaxis"] = {
        "type": "date",
        "range": [(view.start + view.shift) * 1000, (view.end + view.shift) * 1000],
        "gridcolor": GRID[shade],
        "tickformat": "%H:%M:%S" if view.counted else "",
        "nticks": 4 if view.narrow else 10,
        "tickangle": 0,
        "showticklabels": last,
        "fixedrange": view.narrow,
        "zeroline": False,
    }
    layout |= {
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"color": INK[shade], "size": 12},
        "margin": {"l": 44 if view.narrow else 96, "r": 8, "t": 4, "b": below},
        "autosize": True,
        "dragmode": False if view.narrow else "zoom",
        "hovermode": False,  # the page reads all charts off at one time, see the script
        "showlegend": False,
    }
