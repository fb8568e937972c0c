"""Levels that cannot be: a meter that shows something at rest, one that does not move, one that does not come back."""

import math
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.data.course import Course, Mask
from analysis.data.problem import DataProblem, keys, named, shown, span_of_time
from analysis.model import Series
from analysis.points import measure_of
from analysis.signs import BOX, FLAME
from analysis.uncertainty import Accuracy

Array = NDArray[np.float64]

DRAFTS = ("draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high").split()
ZERO_U = {"pressure": 3.0, "flame_current": 0.1e-6, "current": 0.05}
"""Standard uncertainty of a zero where no accuracy is stated; common practice, no published source. [inside unit]"""
AROUND_U = {"draft_vent": 2.0}
"""Draught at rest of a warm vent and of wind; our choice, as is that of the other taps: a quarter. [Pa]"""
AT_LEAST = {"pressure": 2.5, "flame_current": 0.1e-6, "current": 0.1}
"""A smaller offset is not worth a word; our choice. [inside unit]"""
AT_MOST = {"pressure": 60.0, "flame_current": 2e-6, "current": 5.0}
"""A larger level is something else. [inside unit]"""
REST = 4.0
"""Shortest rest that shows a zero. [s]"""
BLOCK = 10.0
"""Length over which a level counts where nothing tells what rests. [s]"""
FLAT, FLAT_READINGS = 20.0, 20
"""A value that is exactly the same for so long does not move. [s] [1]"""


def not_zeroed(course: Course, accuracies: Mapping[str, Accuracy]) -> Iterator[DataProblem]:
    """Meters that show something where there is nothing, beyond what their accuracy allows."""
    found: dict[tuple[str, bool], list[tuple[Series, float, float, float, float]]] = {}
    for one in course.series:
        rest = _rest(one.channel.point, course)
        if rest is None:
            continue
        level = _at_rest(one, course, rest) if rest.any() else _quietest(one, course)
        if level is None:
            continue
        offset, u, begin, end = level
        u = math.hypot(u, _zero_u(one, accuracies))
        measure = measure_of(one.channel.point).name
        if max(3 * u, AT_LEAST[measure]) < abs(offset) <= AT_MOST[measure]:
            found.setdefault((one.channel.instrument, bool(rest.any())), []).append((one, offset, u, begin, end))
    for (_, sure), several in found.items():
        offsets = ", ".join(
            f"{shown(one.channel.point, offset, digits=1)} ± {shown(one.channel.point, 2 * u, digits=1)}"
            for one, offset, u, _, _ in several
        )
        series = [one for one, *_ in several]
        when = "at rest" if sure else "at its quietest, which is rest if anything was"
        text = f"{named(series)}: not zeroed, it shows {offsets} {when}"
        hint = "Take the hose or lead off and zero it before the call; until then take this off what it shows."
        begin, end = min(one[3] for one in several), max(one[4] for one in several)
        yield DataProblem("not_zeroed", keys(series), text, hint, begin, end)


def _rest(point: str, course: Course) -> Mask | None:
    """When there is nothing at a point; None for one that always has something."""
    if point in DRAFTS or point in ("amps_inducer", "amps_igniter"):
        return course.inducer_rests
    if point in ("gas_manifold", "flame_current"):
        return course.inducer_rests & course.valve_off
    if point in ("static_return", "static_supply", "amps_blower"):
        return course.blower_rests if course.known("blower_on") else None
    return None


def _zero_u(one: Series, accuracies: Mapping[str, Accuracy]) -> float:
    point = one.channel.point
    stated = accuracies.get(one.channel.key)
    measure = measure_of(point)
    own = ZERO_U[measure.name] if stated is None else stated.u(0.0, measure.inside)
    return math.hypot(own, AROUND_U.get(point, 0.5) if point in DRAFTS else 0.0)


def _at_rest(one: Series, course: Course, rest: Mask) -> tuple[float, float, float, float] | None:
    """Smallest level of any rest, its uncertainty [inside unit], and the time from the first to the last rest [s].

    A level that comes and goes is wind at the terminal rather than the meter.
    """
    values, levels, blocks = course.values(one), [], list[float]()
    there = course.stretches(rest & ~np.isnan(values), REST)
    for first, last in there:
        part = values[first : last + 1]
        level = float(np.median(part))
        scatter = 1.4826 * float(np.median(np.abs(part - level)))
        size = round(REST / course.step)
        blocks += np.median(part[: part.size // size * size].reshape(-1, size), axis=1).tolist()
        levels.append((level, 1.25 * scatter / math.sqrt(max(part.size * course.step / 2, 1))))
    if not levels or len({level > 0 for level, _ in levels}) > 1:
        return None
    offset, u = min(levels, key=lambda found: abs(found[0]))
    wind = float(np.diff(np.percentile(blocks, [10, 90]))[0]) / 2
    return offset, math.hypot(u, wind), float(course.time[there[0][0]]), float(course.time[there[-1][1]])


def _quietest(one: Series, course: Course) -> tuple[float, float, float, float] | None:
    """The same where nothing tells when it rests: only of drafts and gas, where it moves between two."""
    if one.channel.point not in (*DRAFTS, "gas_manifold"):
        return None
    values = course.values(one)
    size = round(BLOCK / course.step)
    blocks = values[: values.size // size * size].reshape(-1, size)
    blocks = blocks[~np.isnan(blocks).any(axis=1)]
    if blocks.shape[0] < 6:
        return None
    level, spread = np.median(blocks, axis=1), np.ptp(blocks, axis=1)
    least = float(level[np.argmin(np.abs(level))])
    quiet = (np.abs(level - least) < max(2.0, 0.1 * abs(least))) & (spread < 5.0)
    moved = np.abs(level - least) > max(4 * abs(least), 40.0)
    if quiet.sum() < 3 or moved.sum() < 3 or abs(least) > BOX:
        return None
    offset = float(np.median(level[quiet]))
    return offset, float(np.std(level[quiet])), course.start, course.end


_FOLLOWS = {
    **dict.fromkeys((*DRAFTS, "amps_inducer", "speed_inducer"), "inducer"),
    **dict.fromkeys(("static_return", "static_supply", "amps_blower"), "blower"),
    **dict.fromkeys(("gas_manifold",), "valve"),
    **dict.fromkeys(("temp_supply", "temp_supply_2", "temp_flue", "flue_o2", "flue_co2"), "fire"),
}
_WORDS = {
    "inducer": "the inducer started or stopped",
    "blower": "the blower started or stopped",
    "valve": "the gas valve opened or closed",
    "fire": "the fire lit or went out",
}


def stuck(course: Course) -> Iterator[DataProblem]:
    """Channels that do not move at all while they must, and did before."""
    for one in course.series:
        if measure_of(one.channel.point).name == "contact" or one.value.size < 2 * FLAT_READINGS:
            continue
        for begin, end in _flat(one):
            why = _must_move(one, begin, end, course)
            if why:
                text = (
                    f"{named([one])}: stuck at {shown(one.channel.point, _value_at(one, begin), difference=False)} "
                    f"for {span_of_time(end - begin)} from {span_of_time(begin - course.start)} on, {why}"
                )
                hint = "Check that the meter is not held, frozen or out of reach, and that its port and hose are free."
                yield DataProblem("stuck", keys([one]), text, hint, begin, end)
                break


def _value_at(one: Series, time: float) -> float:
    return float(one.value[np.searchsorted(one.time, time)])


def _flat(one: Series) -> list[tuple[float, float]]:
    """Stretches of exactly one value, long against all others."""
    every = max(1, int(FLAT / 2 / max(float(np.median(np.diff(one.time[:2000]))), 1e-3)))
    seldom = one.value[::every]
    if not (seldom[1:] == seldom[:-1]).any():
        return []
    first = np.concatenate([[0], np.flatnonzero(one.value[1:] != one.value[:-1]) + 1])
    if first.size < 10:
        return _always_flat(one, first)
    count = np.diff(np.append(first, one.value.size))
    last = first + count - 1
    length = one.time[last] - one.time[first]
    long_ = np.flatnonzero((length >= FLAT) & (count >= FLAT_READINGS))
    if not long_.size or long_.size > 50:
        return []
    others = np.delete(count, long_)
    usual = float(np.percentile(others, 99)) if others.size else math.inf
    return [(float(one.time[first[at]]), float(one.time[last[at]])) for at in long_ if count[at] > 10 * usual]


def _always_flat(one: Series, first: NDArray[np.int64]) -> list[tuple[float, float]]:
    ends = np.append(first[1:] - 1, one.value.size - 1)
    at = int(np.argmax(one.time[ends] - one.time[first]))
    moved = float(np.ptp(one.value[~np.isnan(one.value)])) if not np.isnan(one.value).all() else 0.0
    long_ = one.time[ends[at]] - one.time[first[at]] >= FLAT and one.value[first[at]] != 0 and moved == 0
    return [(float(one.time[first[at]]), float(one.time[ends[at]]))] if long_ else []


def _must_move(one: Series, begin: float, end: float, course: Course) -> str:
    """Why a channel had to move between two times; empty where it had not."""
    follows = _FOLLOWS.get(one.channel.point)
    if one.channel.point == "flame_current" and abs(_value_at(one, begin)) >= FLAME:
        follows = "valve"
    if follows is None:
        return ""
    inside = slice(*np.searchsorted(course.time, [begin + 5.0, end - 5.0]))
    state = course.goes_on(follows)[inside]
    changes = np.flatnonzero(np.diff(state.astype(np.int8)))
    if not changes.size:
        return ""
    stays = 60.0 if follows == "fire" else 10.0
    parts = np.diff(np.concatenate([[0], changes + 1, [state.size]])) * course.step
    return f"while {_WORDS[follows]}" if np.sort(parts)[-2] >= stays else ""


def not_returning(course: Course) -> Iterator[DataProblem]:
    """Drafts that stay where they were though the inducer stopped: a plugged port or hose, or a stuck meter."""
    for one in course.series:
        if one.channel.point not in DRAFTS or not course.inducer_rests.any():
            continue
        values = course.values(one)
        for first, last in course.stretches(course.inducer_rests & ~np.isnan(values), 10.0):
            ran = course.inducer[:first] & ~np.isnan(values[:first])
            before = values[:first][ran][-round(60 / course.step) :]
            if before.size < 20:
                continue
            running, resting = float(np.median(before)), float(np.median(values[first : last + 1]))
            if abs(resting) > max(BOX, 0.5 * abs(running)) and resting * running > 0:
                text = (
                    f"{named([one])}: still shows {shown(one.channel.point, resting)} "
                    f"{span_of_time(course.time[first] - course.start)} after the start, though the inducer stands "
                    "still: its port or hose is plugged, or the meter is stuck"
                )
                hint = (
                    "Take the hose off the meter: if it goes to zero, port or hose is plugged; if not, it is the meter."
                )
                yield DataProblem(
                    "not_returning", keys([one]), text, hint, float(course.time[first]), float(course.time[last])
                )
                break
