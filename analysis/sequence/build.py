"""From the best course of states to attempts with phases, boundaries and outcomes."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.model import Plate, Series
from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.sequence.evidence import Voice
from analysis.sequence.outcome import ENDED, decided
from analysis.sequence.path import Segment
from analysis.sequence.signals import CALL, INDUCER
from analysis.sequence.signs import blower_missing, rollout_opened
from analysis.sequence.states import NAMES, NUMBER, STATES, Durations
from analysis.sequence.witness import Ending, Witness

Array = NDArray[np.float64]

GOES_ON = "inducer_start prepurge igniter_warmup ignition_trial blower_on_delay run_low run_high".split()
"""Phases in which an attempt is not decided yet."""
FIRING = ("blower_on_delay", "run_low", "run_high")
AGAIN = ("interpurge", "interpurge_rest", "limit_cooldown", "cooldown_rest", "lockout")
IN_VAIN = {
    "rollout": ("rollout_open", "heat was called with the roll-out switch open"),
    "limit_cooldown": ("limit_open", "heat was called with the limit open"),
}
"""States that a call may find, each with the outcome and why."""
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
    for start, end in _grouped(segments, time, no_start=told and turns):
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
        found.append(
            _attempt(own, after, (time, u), witness, durations, number=number, call=begun, cut=ends_here, retried=again)
        )
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
            _goes_on(name) and before in AGAIN
        )
        if begin is None and number and name == "limit_cooldown" and before != "waiting":
            inside = False  # the house is cooled down, or the limit opened; nobody called for heat
        if begin is not None and (not inside or starts):
            found.append((begin, number))
            begin = None
        if inside and begin is None:
            begin = number
    if begin is not None:
        found.append((begin, len(segments)))
    return found


def _goes_on(name: str) -> bool:
    """Whether a state is one in which an attempt is not decided yet."""
    return not name or (name in NUMBER and STATES[NUMBER[name]].phase in GOES_ON)


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


def _attempt(
    own: Sequence[Segment],
    after: Sequence[Segment],
    moments: tuple[Array, Array],
    witness: Witness,
    durations: Durations,
    *,
    number: int,
    call: int,
    cut: bool,
    retried: bool,
) -> Attempt:
    time, u = moments
    spans: list[PhaseSpan] = []
    for segment in own:
        phase = STATES[segment.state].phase or "inducer_start"
        start, end = float(time[segment.start]), float(time[segment.end])
        start_u, end_u = float(u[segment.start]), float(u[segment.end])
        if spans and spans[-1].phase == phase:
            spans[-1] = PhaseSpan(phase, spans[-1].start, end, spans[-1].start_u, end_u)
        else:
            spans.append(PhaseSpan(phase, start, end, start_u, end_u))
    outcome, probability, why, decides = _outcome(spans, own, after, witness, durations, cut=cut, retried=retried)
    ran = {span.phase for span in spans}
    stage = "high" if "run_high" in ran else "low" if ran & set(FIRING) else ""
    edge = next((span for span in spans if span.end == decides), spans[-1])
    return Attempt(
        number=number,
        call=call,
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


def _outcome(
    spans: Sequence[PhaseSpan],
    own: Sequence[Segment],
    after: Sequence[Segment],
    witness: Witness,
    durations: Durations,
    *,
    cut: bool,
    retried: bool,
) -> tuple[str, float, str, float]:
    """Outcome, probability, why and the deciding time."""
    if spans[0].phase == "standby":
        return "switch_found_closed", 0.97, "heat was called with the pressure switch closed already", spans[0].start
    going = [number for number, span in enumerate(spans) if span.phase in GOES_ON]
    if not going and own[0].start and NAMES[own[0].state] in IN_VAIN:
        outcome, why = IN_VAIN[NAMES[own[0].state]]
        return outcome, 0.97, why, spans[0].start
    if not going:
        return "unknown", 0.0, "it was decided before the recording began", spans[0].start
    last = going[-1]
    if last == len(spans) - 1 and cut:
        return "cut_off", 1.0, "the recording ends before it was decided", spans[-1].end
    lit = next((span.start for span in spans if span.phase in FIRING), math.nan)
    names = [STATES[segment.state].phase and NAMES[segment.state] for segment in own]
    names += [NAMES[segment.state] for segment in after]
    place = max(number for number, name in enumerate(names[: len(own)]) if _goes_on(name))
    following = names[place + 1] if place + 1 < len(names) else ""
    then = names[place + 2] if place + 2 < len(names) else ""
    again = retried or (bool(after) and _goes_on(NAMES[after[0].state]) and NAMES[own[-1].state] in AGAIN)
    low = witness.never_reached(spans[0].start, spans[last].end)
    delay, trial = durations.stated("blower_on_delay"), durations.stated("no_light")
    ending = Ending(
        spans[last].phase,
        spans[last].end,
        spans[last].start,
        spans[0].start,
        lit,
        following,
        then,
        again,
        delay,
        trial,
        low,
    )
    if rollout_opened(ending, witness):
        return "rollout_open", 0.97, "the roll-out switch opened", ending.time
    outcome, probability, why = decided(ending, witness)
    expected = float(durations.usual[NAMES.index("blower_on_delay")])
    if outcome in (*ENDED, "limit_open") and blower_missing(ending, witness, expected):
        return "no_blower", 0.95, "the blower did not run while the flame burned", ending.time
    return outcome, probability, why, ending.time
