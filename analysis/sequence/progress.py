"""Where the sequence stands now, from the course of states and the attempts that it makes."""

from collections.abc import Callable, Sequence

from analysis.sequence.attempts import Attempt, Progress
from analysis.sequence.durations import Durations
from analysis.sequence.following import Following, Standing
from analysis.sequence.states import NUMBER, STATES

OPEN = frozenset(("", "standby", "run_low", "run_high", "lockout"))
"""Phases with no usual end."""
TRIAL = ("igniter_warmup", "ignition_trial")


def told(
    standing: Standing,
    following: Following,
    durations: Durations,
    *,
    attempts: Sequence[Attempt],
    under_way: bool,
    decided: bool,
    call: int,
    settled: Callable[[float], bool],
) -> Progress:
    """Phase, time and outcome so far.

    attempts : all that are kept. under_way : whether the last of them is. decided : whether its outcome is settled.
    call : number of the call where none is under way. settled : whether a phase that began at a time may be called so.
    """
    if not under_way:
        place = len(standing.segments) - 1
        while place and not STATES[standing.segments[place - 1].state].phase:
            place -= 1
        since = standing.start(place)
        stands = since <= following.at + 1e-6 and settled(since)
        return Progress("standby", since, None, 0, call, settled=stands)
    one = attempts[-1]
    phase, since = one.phases[-1].phase, one.phases[-1].start
    expected = None
    if phase not in OPEN:
        name = "no_light" if phase == "ignition_trial" else phase
        expected = float(durations.usual[NUMBER[name]])
    outcome = "" if one.outcome == "cut_off" else one.outcome
    stands = since <= following.at + 1e-6 and settled(since) and (decided or not outcome)
    deciding = one.deciding_time if outcome else 0.0
    return Progress(phase, since, expected, one.number, one.call, _trial(attempts), outcome, deciding, stands)


def _trial(attempts: Sequence[Attempt]) -> int:
    """Which ignition trial of its call the last attempt is; 0 where it has not come so far."""
    one = attempts[-1]
    if not one.spans(*TRIAL):
        return 0
    count = 1
    for before in reversed(attempts[:-1]):
        if before.call != one.call:
            break
        count += bool(before.spans("ignition_trial"))
    return count
