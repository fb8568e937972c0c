"""From the best course of states to attempts with phases, boundaries and outcomes."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.model import Plate, Series
from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.sequence.durations import Durations
from analysis.sequence.ending import AGAIN, FIRING, Tried, ended, goes_on
from analysis.sequence.evidence import Voice
from analysis.sequence.path import Segment
from analysis.sequence.signals import CALL, INDUCER
from analysis.sequence.states import NAMES, STATES
from analysis.sequence.witness import Witness

Array = NDArray[np.float64]

DEAD = 12.0
"""A call that gets no inducer for so long has not started; below it is the control's own check. [s]"""


def attempts(
    segments: Sequence[Segment],
    time: Array,
    u: Array,
    *,
    voices: list[Voice],
    series: list[Series],
    durations: Durations,
    plate: Plate | None,
    first: int = 1,
    calls: int = 0,
    over: bool = True,
    retried: bool = False,
) -> list[Attempt]:
    """Attempts of a course of states.

    time, u : (n,) moments and their standard uncertainty. [s]
    first : number of the first attempt. calls : calls before it. over : whether nothing follows the last moment.
    """
    witness = Witness(voices, series, plate)
    told = any(voice.signal == CALL and voice.course.time.size > 1 for voice in voices)
    turns = any(voice.signal == INDUCER and voice.quick and voice.course.time.size > 1 for voice in voices)
    found: list[Attempt] = []
    begun, last_call = calls, -math.inf
    rested = True
    groups = _grouped(segments, time, no_start=told and turns)
    nexts = [float(time[segments[start].start]) for start, _ in groups[1:]]
    for (start, end), following in zip(groups, [*nexts, math.inf], strict=False):
        own = segments[start:end]
        begins = float(time[own[0].start])
        rested = rested or _rested(segments, start)
        if told:
            called = _last_call(voices, begins + 1.0)
            rested = called > last_call if found else True
            last_call = called
        begun += int(rested)
        ends_here = end == len(segments) and over
        after = segments[end : end + 2]
        number = len(found) + first
        again = retried and not after
        tried = Tried(own, after, number, begun, fresh=rested, cut=ends_here, again=again, next=following)
        found.append(_attempt(tried, (time, u), witness, durations))
        rested = False
    return found


def _grouped(segments: Sequence[Segment], time: Array, *, no_start: bool) -> list[tuple[int, int]]:
    """Which segments make up each attempt."""
    found: list[tuple[int, int]] = []
    begin: int | None = None
    for number, segment in enumerate(segments):
        name, before = NAMES[segment.state], NAMES[segments[number - 1].state] if number else ""
        inside = bool(STATES[segment.state].phase)
        if name == "waiting" and no_start and float(time[segment.end] - time[segment.start]) > DEAD:
            inside = True
        starts = name in ("inducer_start", "not_proved", "found_closed", "waiting") or (
            goes_on(name) and before in AGAIN
        )
        if begin is not None and (not inside or starts):
            found.append((begin, number))
            begin = None
        if inside and begin is None and (not number or _begins(name, before)):
            begin = number
    if begin is not None:
        found.append((begin, len(segments)))
    return found


def _begins(name: str, before: str) -> bool:
    """Whether an attempt may begin with a state: a limit that opens and is cooled down with no call is none."""
    return goes_on(name) or name in ("found_closed", "rollout") or before == "waiting"


def _rested(segments: Sequence[Segment], start: int) -> bool:
    return start > 0 and NAMES[segments[start - 1].state] in ("idle", "waiting", "blower_off_delay")


def _last_call(voices: list[Voice], time: float) -> float:
    latest = -math.inf
    for voice in voices:
        if voice.signal == CALL and voice.course.time.size > 1:
            course = voice.course
            rises = course.time[course.changes & (course.state == 1)]
            before = rises[rises <= time]
            latest = max(latest, float(before[-1]) if before.size else float(course.time[0]) - 1.0)
    return latest


def _attempt(tried: Tried, moments: tuple[Array, Array], witness: Witness, durations: Durations) -> Attempt:
    time, u = moments
    spans: list[PhaseSpan] = []
    for segment in tried.own:
        phase = STATES[segment.state].phase or "inducer_start"
        start, end = float(time[segment.start]), float(time[segment.end])
        start_u, end_u = float(u[segment.start]), float(u[segment.end])
        if spans and spans[-1].phase == phase:
            spans[-1] = PhaseSpan(phase, spans[-1].start, end, spans[-1].start_u, end_u)
        else:
            spans.append(PhaseSpan(phase, start, end, start_u, end_u))
    outcome, probability, why, decides = ended(spans, tried, witness, durations)
    ran = {span.phase for span in spans}
    stage = "high" if "run_high" in ran else "low" if ran & set(FIRING) else ""
    edge = next((span for span in spans if span.end == decides), spans[-1])
    return Attempt(
        number=tried.number,
        call=tried.call,
        start=spans[0].start,
        end=spans[-1].end,
        start_u=spans[0].start_u,
        end_u=spans[-1].end_u,
        stage=stage,
        outcome=outcome,
        probability=probability,
        deciding_time=decides,
        deciding_u=edge.end_u,
        phases=tuple(spans),
        why=why,
    )
