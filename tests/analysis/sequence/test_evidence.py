"""Which voices are left where others or the plate make some needless, and moments counted back from the blower."""

import numpy as np
import pytest

from analysis.model import Plate, Timing
from analysis.sequence.durations import Durations
from analysis.sequence.evidence import DELAYS, Voice, moments
from analysis.sequence.signals import HIGH
from analysis.sequence.voicing import tempered
from tests.analysis.sequence.spoken import UNTIL, said, voice

TWO, ONE = Plate(input=(23e3, 16e3)), Plate(input=(20e3,))


def stage(*steps: tuple[float, int]) -> Voice:
    """A contact of the second stage."""
    return Voice("switch_high_closed@logger", HIGH, said(*steps), 2.0, 2.0)


def high(*voices: Voice, plate: Plate | None) -> list[Voice]:
    return [one for one in tempered([*voices, voice("gas_valve", (46, 1))], plate) if one.signal == HIGH]


@pytest.mark.parametrize("plate", [TWO, Plate(), None])
def test_a_second_stage_that_came_is_heard(plate: Plate | None) -> None:
    one = stage((0, 0), (90, 1), (200, 0))
    assert high(one, plate=plate) == [one]


def test_a_unit_of_one_stage_has_no_second_whatever_its_levels_say() -> None:
    assert high(stage((0, 0), (90, 1), (200, 0)), plate=ONE) == []


@pytest.mark.parametrize("plate", [TWO, Plate(), None])
def test_a_second_stage_that_never_came_may_be_none(plate: Plate | None) -> None:
    assert high(stage((0, 0)), stage((0, -1), (60, 0)), plate=plate) == []


def test_of_two_that_tell_the_stage_the_one_that_never_did_is_left_out() -> None:
    came, never = stage((0, 0), (90, 1)), stage((0, 0))
    assert high(never, came, plate=TWO) == [came]


def test_what_is_no_stage_is_kept_with_any_plate() -> None:
    voices = [voice("gas_valve", (46, 1)), voice("switch_closed", (14, 1)), voice("blower_on")]
    for plate in (ONE, TWO, None):
        assert tempered(voices, plate) == voices


BLOWS = 200.0
BLOWER = voice("blower_on", (BLOWS, 1), (500, 0))
TURNS = voice("amps_inducer", (11, 1), (415, 0))
GLOWS = 17.0
"""Usual warm-up of the igniter where the job file says nothing. [s]"""


def found(*voices: Voice, timing: Timing | None = None) -> np.ndarray:
    return moments(voices, Durations(timing), 0.0, UNTIL)


def near(times: np.ndarray, at: float) -> bool:
    return bool((np.abs(times - at) < 0.2).any())


@pytest.mark.parametrize("delay", DELAYS)
def test_a_flame_may_have_come_one_of_the_common_delays_before_the_blower(delay: float) -> None:
    times = found(TURNS, BLOWER)
    for before in (delay, delay + 0.8, delay + 0.8 + GLOWS):
        assert near(times, BLOWS - before), f"{before} s before: flame, gas, igniter"
        assert not near(found(TURNS), BLOWS - before), "nothing but the blower says so"


def test_the_delay_of_the_job_file_is_the_only_one() -> None:
    times = found(TURNS, BLOWER, timing=Timing(blower_on_delay=37.0, igniter_warmup=20.0))
    for before in (37.0, 37.8, 57.8):
        assert near(times, BLOWS - before)
    assert not any(near(times, BLOWS - delay) for delay in DELAYS)


@pytest.mark.parametrize("point", ["gas_valve", "gas_manifold", "flame_current"])
def test_gas_or_flame_say_themselves_when_they_came(point: str) -> None:
    times = found(BLOWER, voice(point, (30, 1), (400, 0)))
    assert not any(near(times, BLOWS - delay) for delay in DELAYS)


def test_a_blower_that_stops_tells_no_delay() -> None:
    times = found(TURNS, voice("blower_on", (0, 1), (BLOWS, 0)))
    assert not any(near(times, BLOWS - delay) for delay in DELAYS)
