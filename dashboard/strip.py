"""The strip of contacts: a lane each, with a bar as long as it was closed or on."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from analysis.model import Series
from analysis.thinning import Array
from dashboard.charts import BAR, GROUND, LANE
from dashboard.tiles import CONTACTS

HELD = 30.0
"""A contact that was not read for longer than this is not known any more (contacts come on change and every few
seconds). [s]"""

MOST_CHANGES = 600
"""Bars of one lane; of a contact that chatters more only the newest are drawn. [1]"""

_SHORT = {contact.point: contact.name for contact in CONTACTS}


def strip_height(lanes: int) -> int:
    """Height of so many lanes. [pixels]"""
    return LANE * lanes + 6


def strip_parts(
    own: Sequence[Series], *, shift: float, light: bool, narrow: bool
) -> tuple[list[dict[str, Any]], dict[str, Any], list[dict[str, Any]]]:
    """Traces from the top lane down, the axis, and the lanes' names where they have to stand inside (a telephone)."""
    traces = []
    names: list[str] = []
    for lane, series in enumerate(own):
        sharing = sum(other.channel.point == series.channel.point for other in own) > 1
        name = _SHORT[series.channel.point] + (f" ({series.channel.instrument})" if sharing else "")
        names.append(name)
        time, value = bars(series.time, series.value, -float(lane))
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "x": np.round((time + shift) * 1000).tolist(),
                "y": [None if np.isnan(number) else number for number in value.tolist()],
                "connectgaps": False,
                "hoverinfo": "skip",
                "name": name,
                "line": {"color": BAR[light], "width": LANE - 10},
                "meta": {
                    "key": series.channel.key,
                    "point": series.channel.point,
                    "lane": -lane,
                    "known": _known(series.time + shift),
                },
            }
        )
    lanes = [-lane for lane in range(len(names))]
    axis = {
        "range": [-len(names) + 0.4, 0.6],
        "tickvals": lanes,
        "ticktext": ["" if narrow else name for name in names],
        "zeroline": False,
    }
    at = {"xref": "paper", "yref": "y", "x": 0, "xanchor": "left", "yanchor": "middle", "showarrow": False}
    notes = [
        at | {"text": name, "y": lane, "font": {"size": 11}, "bgcolor": GROUND[light]}
        for lane, name in zip(lanes, names, strict=True)
    ]
    return traces, axis, notes if narrow else []


def _known(time: Array) -> list[list[float]]:
    """Spans in which the contact was read often enough to be known, each as its ends. [ms]"""
    if not time.size:
        return []
    breaks = np.flatnonzero(np.diff(time) > HELD)
    begins, ends = np.concatenate(([0], breaks + 1)), np.concatenate((breaks, [time.size - 1]))
    spans = np.round(np.column_stack((time[begins], time[ends])) * 1000)
    return [[float(begin), float(end)] for begin, end in spans[-MOST_CHANGES:]]


def bars(time: Array, value: Array, level: float) -> tuple[Array, Array]:
    """Corners of the bars of one contact: at `level` from where it was read closed to where it was read open.

    time : (n,) strictly increasing. [s]
    value : (n,) 0 or 1, NaN where there is none.
    level : where the bars are drawn.
    returns : (m,) time [s] and `level`, NaN after each bar but one that is still closed at the last reading.
    """
    closed = np.nan_to_num(value) >= 0.5
    held = closed[:-1] & (np.diff(time) <= HELD)  # up to the next reading
    nothing = np.zeros(min(time.size, 1), bool)
    before, after = np.concatenate((nothing, held)), np.concatenate((held, nothing))
    begins = np.flatnonzero(closed & ~before)[-MOST_CHANGES:]
    ends = np.flatnonzero((closed & ~after) | (~closed & before))[-MOST_CHANGES:]
    x = np.column_stack([time[begins], time[ends], time[ends]]).ravel()
    y = np.tile([level, level, np.nan], begins.size)
    return (x[:-1], y[:-1]) if closed[-1:].any() else (x, y)
