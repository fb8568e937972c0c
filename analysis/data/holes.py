"""What one channel shows of itself: gaps, spikes, the end of the range, readings too rare for what is asked of them."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.data.course import Course
from analysis.data.problem import DataProblem, keys, named, shown, span_of_time
from analysis.model import Series
from analysis.points import POINTS, measure_of
from analysis.units import INCH_OF_WATER

Array = NDArray[np.float64]

GAP, GAP_INTERVALS = 3.0, 4.0
"""Readings are missing where none came for so long, and for so many usual intervals; our choice. [s] [1]"""
AT_AN_END = 10.0
"""The same where a channel begins after the others or ends before them. [s]"""
SPIKE = {
    "pressure": 150.0,
    "temperature": 5.0,
    "humidity": 0.1,
    "flame_current": 2e-6,
    "voltage": 5.0,
    "current": 1.0,
    "speed": 500.0,
    "fraction": 0.02,
    "trace": 50e-6,
}
"""A single reading this far from both neighbours, and twelve usual steps, is a spike; our choice. [inside unit]"""
QUICK = {"speed": 0.25, "pressure": 0.5, "voltage": 0.5, "current": 0.5, "flame_current": 0.5}
"""A meter that reads more rarely shows what is real as a single reading. [s]"""
FULL_SCALES = tuple(base * 10**power for power in (-1, 0, 1, 2) for base in (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 8))
"""Ends of ranges as meters have them. [unit of the meter]"""
SLOW = {
    "draft_switch": 0.25,
    "draft_switch_high": 0.25,
    "volts_switch": 0.25,
    "volts_control": 0.25,
    "flame_current": 0.5,
    "gas_manifold": 0.5,
}
"""Longest interval that shows what these are read for: a dip of 0.2 s, a light-off of 1 to 2 s. [s]"""


def gaps(course: Course) -> Iterator[DataProblem]:
    """Spans without readings; channels of one instrument with the same spans together."""
    found: dict[tuple[str, tuple[tuple[float, float], ...]], list[Series]] = {}
    for one in course.series:
        holes = tuple(_holes(one, course))
        if holes:
            found.setdefault((one.channel.instrument, tuple((round(a, 1), round(b, 1)) for a, b in holes)), []).append(
                one
            )
    for (_, holes), series in found.items():
        total = sum(end - begin for begin, end in holes)
        begin, end = max(holes, key=lambda hole: hole[1] - hole[0])
        at = span_of_time(begin - course.start)
        many = f"{len(holes)} gaps, {span_of_time(total)} in all, the longest" if len(holes) > 1 else "a gap of"
        text = f"{named(series)}: {many} {span_of_time(end - begin)}, {at} after the start"
        hint = "Bring the computer nearer or take what shadows the radio away; check the lead and the battery."
        yield DataProblem("gaps", keys(series), text, hint, holes[0][0], holes[-1][1])


def _holes(one: Series, course: Course) -> Iterator[tuple[float, float]]:
    good = ~np.isnan(one.value)
    time = one.time if good.all() else one.time[good]
    usual = course.interval(one)
    longest = max(GAP, GAP_INTERVALS * usual)
    if not time.size:
        yield course.start, course.end
        return
    same = [other for other in course.series if _moved(one, other)]
    late, early = time[0] - course.start, course.end - time[-1]
    at_end = max(AT_AN_END, longest)
    if late > at_end and not any(other.time[0] < time[0] for other in same):
        yield course.start, float(time[0])
    steps = np.diff(time)
    for place in np.flatnonzero(steps > longest).tolist():
        begin, end = float(time[place]), float(time[place + 1])
        if not any(((other.time > begin) & (other.time < end)).any() for other in same):
            yield begin, end
    if early > at_end and not any(other.time[-1] > time[-1] for other in same):
        yield float(time[-1]), course.end


def _moved(one: Series, other: Series) -> bool:
    """Whether both may be one input of a meter that was moved from one place to the other."""
    if one is other or one.channel.instrument != other.channel.instrument:
        return False
    if measure_of(one.channel.point) != measure_of(other.channel.point):
        return False
    first, second = (one, other) if one.time[0] <= other.time[0] else (other, one)
    inside = np.searchsorted(first.time, second.time[[0, -1]])
    return bool(inside[0] == inside[1] or first.time[-1] < second.time[0])


def spikes(course: Course) -> Iterator[DataProblem]:
    """Single readings far from both their neighbours."""
    for one in course.series:
        measure = measure_of(one.channel.point).name
        rare = course.interval(one) > 1.05 * QUICK.get(measure, np.inf)
        if measure not in SPIKE or one.channel.point == "volts_switch" or rare or one.value.size < 5:
            continue
        change = np.diff(one.value)
        low = SPIKE[measure]
        far = np.flatnonzero(np.abs(change) > low)
        far = far[:-1][np.diff(far) == 1]  # a change and the one after it
        if not far.size:
            continue
        away, back = change[far], change[far + 1]
        size = np.minimum(np.abs(away), np.abs(back))
        usual = 12 * float(np.nanmedian(np.abs(change[:: max(1, change.size // 20_000)])))
        near = one.time[far + 2] - one.time[far] < max(1.0, 4 * course.interval(one))
        far = far[(away * back < 0) & (np.abs(away + back) < 0.25 * size) & (size > usual) & near]
        if far.size:
            worst = float(np.max(np.minimum(np.abs(change[far]), np.abs(change[far + 1]))))
            first = one.time[far + 1]
            count = "a single reading is" if far.size == 1 else f"{far.size} single readings are"
            text = (
                f"{named([one])}: {count} far from the ones before and after, by up to "
                f"{shown(one.channel.point, worst)}, first {span_of_time(first[0] - course.start)} after the start"
            )
            hint = (
                "Check lead, contact and battery; a real dip as short as one reading needs a faster meter to be seen."
            )
            yield DataProblem("spikes", keys([one]), text, hint, float(first[0]), float(first[-1]))


def saturated(course: Course, ranges: Mapping[str, tuple[float, float]]) -> Iterator[DataProblem]:
    """Readings that stand at the end of the meter's range; `ranges` by key, where they are known [inside unit]."""
    for one in course.series:
        measure = measure_of(one.channel.point).name
        if measure == "contact" or not one.value.size:
            continue
        for end in _ends(one, measure, ranges.get(one.channel.key)):
            at = np.flatnonzero(one.value >= end * (1 - 1e-9) if end > 0 else one.value <= end * (1 - 1e-9))
            if at.size >= 3:
                times = one.time[at]
                text = (
                    f"{named([one])}: {at.size} readings stand at {shown(one.channel.point, end, difference=False)}, "
                    "the end of the meter's range: the true value may be beyond it"
                )
                hint = "Use a meter or a range that goes further."
                yield DataProblem("saturated", keys([one]), text, hint, float(times[0]), float(times[-1]))


def _ends(one: Series, measure: str, known: tuple[float, float] | None) -> Iterator[float]:
    if known is not None:
        low, high = known
        yield high
        if low < 0:
            yield low
        return
    if measure not in ("pressure", "voltage", "current", "flame_current"):
        return
    for end in (float(np.nanmax(one.value)), float(np.nanmin(one.value))) if not np.isnan(one.value).all() else ():
        if end == 0 or not _is_full_scale(abs(end), measure):
            continue
        edges = np.flatnonzero(np.diff(one.value) != 0) + 1
        first = np.concatenate([[0], edges])
        length = np.diff(np.append(first, one.value.size))
        here = one.value[first] == end
        elsewhere = int(np.max(length[~here], initial=1))
        if int(np.max(length[here])) >= max(20, 3 * elsewhere):
            yield end


def _is_full_scale(size: float, measure: str) -> bool:
    scales = {"pressure": (1.0, INCH_OF_WATER, 100.0), "flame_current": (1e-6,)}.get(measure, (1.0,))
    return any(abs(size / scale / full - 1) < 1e-4 for scale in scales for full in FULL_SCALES)


def slow(course: Course) -> Iterator[DataProblem]:
    """Channels that are read more rarely than what they are read for happens."""
    for one in course.series:
        limit, interval = SLOW.get(one.channel.point), course.interval(one)
        if limit is not None and one.time.size > 10 and interval > 1.05 * limit:
            text = f"{named([one])}: a reading every {interval:.2g} s misses dips of 0.2 s, such as open a switch"
            hint = "Take a faster meter or rate for what opens now and then; this one says nothing of short dips."
            yield DataProblem("slow", keys([one]), text, hint, float(one.time[0]), float(one.time[-1]))


def doubtful(course: Course, times: Mapping[str, Array]) -> Iterator[DataProblem]:
    """Readings that came with a doubt."""
    for one in course.series:
        doubts = times.get(one.channel.key)
        if doubts is not None and len(doubts):
            share = len(doubts) / max(one.time.size, 1)
            text = f"{named([one])}: {len(doubts)} readings are doubtful ({max(share, 0.001):.1%}); they count as such"
            hint = "Look at what the instrument said of them: warm-up, range, late messages."
            yield DataProblem("doubtful", keys([one]), text, hint, float(np.min(doubts)), float(np.max(doubts)))


def time_back(course: Course, came: Mapping[str, Array]) -> Iterator[DataProblem]:
    """Channels whose times went back; `came` are the times of each as they came [s]."""
    back: dict[str, list[Series]] = {}
    for one in course.series:
        times = came.get(one.channel.key)
        if times is not None and (np.diff(times) < 0).any():
            back.setdefault(one.channel.instrument, []).append(one)
    for series in back.values():
        times = came[series[0].channel.key]
        steps = np.diff(times)
        places = np.flatnonzero(steps < 0)
        worst = float(-steps[places].min())
        count = "once" if places.size == 1 else f"{places.size} times"
        text = f"{named(series)}: its time goes back {count}, by up to {span_of_time(worst)}"
        hint = "Do not set a clock during a call; what lies in such a span may be of two times."
        span = times[places], times[places + 1]
        yield DataProblem("time_back", keys(series), text, hint, float(np.min(span)), float(np.max(span)))


def missing(course: Course, points: Sequence[tuple[tuple[str, ...], str, str]]) -> Iterator[DataProblem]:
    """What is not measured and would tell most: groups of points of which one would do, what it tells, what to do."""
    for group, tells, hint in points:
        if not any(course.known(point) for point in group):
            what = " or ".join(POINTS[point].text for point in group[:2])
            yield DataProblem("missing", group, f"{what}: not measured; {tells}", hint, course.start, course.end)
