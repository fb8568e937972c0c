"""What the scoring takes a recording to show of the blower's delay, on series written out by hand."""

import numpy as np
import pytest

from analysis.model import Channel, Series, Timing
from analysis.sequence.attempts import Attempt, PhaseSpan
from tests.sequence.evidence import Evidence
from tests.sequence.recordings import Recorded
from tests.sequence.tellable import right_outcomes

LIT, COMES, ENDS, UNTIL = 47.0, 77.0, 107.0, 300.0


def series(point: str, *steps: tuple[float, float], until: float = UNTIL, rest: float = 0.0) -> Series:
    time = np.arange(0.0, until, 0.5)
    value = np.full(time.size, rest)
    for at, level in steps:
        value[time >= at] = level
    return Series(Channel(point, "logger", "1"), time, value)


GAS = series("gas_valve", (46.0, 1.0), (ENDS, 0.0))


def heated(end: float = ENDS) -> Attempt:
    """A call that heated for a minute, or until then. [s]"""
    starts = {"inducer_start": 10.0, "prepurge": 14.0, "igniter_warmup": 29.0, "ignition_trial": 46.0}
    starts |= {"blower_on_delay": LIT, "run_low": COMES, "post_purge": end}
    ends = [*list(starts.values())[1:], 200.0]
    phases = tuple(
        PhaseSpan(phase, start, stop, 0.0, 0.0) for (phase, start), stop in zip(starts.items(), ends, strict=True)
    )
    return Attempt(1, 1, 10.0, 200.0, 0.0, 0.0, "low", "heat", 1.0, end, 0.0, phases)


def evidence(*every: Series, timing: Timing | None = None) -> Evidence:
    attempt = heated()
    return Evidence(Recorded(1, every, timing, None, (attempt,), 0.0, UNTIL, {"causes": [], "kit": "contacts"}))


def told(*every: Series, timing: Timing | None = None, end: float = ENDS) -> bool:
    """Whether heat has to be told from a call that ended within the delay."""
    call, gas = series("call_heat", (9.0, 1.0), (end, 0.0)), series("gas_valve", (46.0, 1.0), (end, 0.0))
    return "unknown" not in right_outcomes(heated(end), evidence(call, gas, *every, timing=timing))


def test_a_blower_that_is_seen_at_rest_in_the_flame_tells_its_delay() -> None:
    assert told(series("blower_on", (COMES, 1.0), (250.0, 0.0)))
    assert told(series("amps_blower", (COMES, 4.2), (250.0, 0.1), rest=0.1))
    assert told(series("static_supply", (COMES, -60.0), (250.0, -2.0), rest=-2.0)), "static of either sign"


def test_a_blower_that_was_on_throughout_tells_no_delay() -> None:
    assert not told(series("blower_on", (0.0, 1.0)))
    assert not told(series("blower_on", (0.0, 1.0), (250.0, 0.0))), "that it rested later says nothing of the flame"
    assert not told(series("amps_blower", (0.0, 4.2), (250.0, 0.1)))


def test_no_blower_tells_no_delay() -> None:
    assert not told()


def test_the_job_file_or_a_long_flame_tells_it_without_the_blower() -> None:
    assert told(timing=Timing(blower_on_delay=33.0))
    assert not told(timing=Timing()), "those are the defaults, and no statement"
    assert told(end=LIT + 100.0)


@pytest.mark.parametrize(
    ("blower", "came"),
    [
        (series("blower_on", (COMES, 1.0)), True),
        (series("blower_on"), True),
        (series("blower_on", (COMES, 1.0), until=90.0), False),
        (series("blower_on", (0.0, 1.0)), False),
        (series("amps_blower", (COMES, 4.0), rest=0.8), True),
        (series("amps_blower", (COMES, 4.0), rest=1.5), False),
        (series("static_return", (0.0, -60.0)), False),
        (series("flame_current", (COMES, 1.0)), False),
    ],
    ids=[
        "came",
        "never came",
        "not read to the end",
        "throughout",
        "amps at rest",
        "amps never at rest",
        "suction",
        "no blower",
    ],
)
def test_a_blower_is_seen_at_rest_and_heard_at_the_end(blower: Series, came: bool) -> None:
    assert evidence(GAS, blower).blower_came(LIT, ENDS) is came
