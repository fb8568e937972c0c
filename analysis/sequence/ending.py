"""How an attempt ended: the moment at which it was decided, and what followed it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analysis.sequence.attempts import PhaseSpan
from analysis.sequence.durations import Durations
from analysis.sequence.outcome import ENDED, decided
from analysis.sequence.path import Segment
from analysis.sequence.signs import blower_missing, rollout_opened
from analysis.sequence.states import NAMES, NUMBER, STATES
from analysis.sequence.witness import Ending, Witness

GOES_ON = "inducer_start prepurge igniter_warmup ignition_trial blower_on_delay run_low run_high".split()
"""Phases in which an attempt is not decided yet."""
FIRING = ("blower_on_delay", "run_low", "run_high")
AGAIN = ("interpurge", "interpurge_rest", "limit_cooldown", "cooldown_rest", "lockout")
IN_VAIN = {
    "rollout": ("rollout_open", 0.97, "heat was called with the roll-out switch open"),
    "limit_cooldown": ("limit_open", 0.97, "heat was called with the limit open"),
}
"""States that a call may find, each with the outcome, its probability and why."""


@dataclass(frozen=True, slots=True)
class Tried:
    """An attempt in the best course of states, and what is known of it beside."""

    own: Sequence[Segment]
    after: Sequence[Segment]
    """The next ones."""
    number: int
    call: int
    fresh: bool
    """Whether it is the first try after a rest."""
    cut: bool
    """Whether the recording ends in it."""
    again: bool
    """Whether another try is known to follow."""
    next: float
    """When the next attempt begins. [s]"""


def goes_on(name: str) -> bool:
    """Whether a state is one in which an attempt is not decided yet."""
    return not name or (name in NUMBER and STATES[NUMBER[name]].phase in GOES_ON)


def ended(
    spans: Sequence[PhaseSpan], tried: Tried, witness: Witness, durations: Durations
) -> tuple[str, float, str, float]:
    """Outcome, probability, why and the deciding time."""
    begin = spans[0].start
    if spans[0].phase == "standby":
        return "switch_found_closed", 0.97, "heat was called with the pressure switch closed already", begin
    going = [number for number, span in enumerate(spans) if span.phase in GOES_ON]
    if not going:
        before = "unknown", 0.0, "it was decided before the recording began"
        return (*(IN_VAIN.get(NAMES[tried.own[0].state], before) if tried.own[0].start else before), begin)
    last = going[-1]
    if last == len(spans) - 1 and tried.cut:
        return "cut_off", 1.0, "the recording ends before it was decided", spans[-1].end
    ending = _ending(spans, last, tried, witness, durations)
    return *_decided(ending, witness, durations), ending.time


def _decided(ending: Ending, witness: Witness, durations: Durations) -> tuple[str, float, str]:
    if rollout_opened(ending, witness):
        return "rollout_open", 0.97, "the roll-out switch opened"
    outcome, probability, why = decided(ending, witness)
    expected = float(durations.usual[NUMBER["blower_on_delay"]])
    if outcome in (*ENDED, "limit_open") and blower_missing(ending, witness, expected):
        return "no_blower", 0.95, "the blower did not run while the flame burned"
    return outcome, probability, why


def _ending(spans: Sequence[PhaseSpan], last: int, tried: Tried, witness: Witness, durations: Durations) -> Ending:
    own, after = tried.own, tried.after
    names = [STATES[segment.state].phase and NAMES[segment.state] for segment in own]
    names += [NAMES[segment.state] for segment in after]
    place = max(number for number, name in enumerate(names[: len(own)]) if goes_on(name))
    again = bool(after) and goes_on(NAMES[after[0].state]) and NAMES[own[-1].state] in AGAIN
    return Ending(
        phase=spans[last].phase,
        time=spans[last].end,
        since=spans[last].start,
        spun=spans[0].start,
        lit=next((span.start for span in spans if span.phase in FIRING), math.nan),
        following=names[place + 1] if place + 1 < len(names) else "",
        then=names[place + 2] if place + 2 < len(names) else "",
        fresh=tried.fresh,
        again=tried.again or again,
        rest=tried.next - spans[last].end,
        delay=durations.stated("blower_on_delay"),
        trial=durations.stated("no_light"),
        low=witness.never_reached(spans[0].start, spans[last].end),
    )
