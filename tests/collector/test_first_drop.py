"""Which contact opened first: claimed within one instrument, and across two only where their readings allow it."""

import pytest

from analysis.model import NANOSECONDS, Quality
from collector.first_drop import Drops

T0 = 1_768_372_280.0


def fire(drops: Drops, *readings: tuple[float, str, float], logger: str = "logger") -> None:
    """Readings of (seconds, point or point@instrument, value)."""
    for seconds, point, value in readings:
        key = point if "@" in point else f"{point}@{logger}"
        time = round((T0 + seconds) * NANOSECONDS)
        drops.step(key, key.partition("@")[0], time, value, Quality.GOOD)


BURNING = [(0.0, "call_heat", 1), (0.0, "switch_closed", 1), (0.0, "limit_closed", 1), (0.0, "gas_valve", 1)]


def test_the_switch_that_opened_before_the_valve_is_named():
    drops = Drops()
    fire(drops, *BURNING, (9.9, "switch_closed", 1), (10.0, "switch_closed", 0), (10.1, "gas_valve", 0))
    assert drops.first is not None
    assert (drops.first.points, drops.first.sure) == (("switch_closed",), True)
    fire(drops, (40.0, "switch_closed", 1), (60.0, "gas_valve", 1))
    assert drops.first is None, "it burns again"


def test_a_call_that_ended_is_no_fault():
    drops = Drops()
    fire(drops, *BURNING, (10.0, "call_heat", 0), (10.2, "gas_valve", 0))
    assert drops.first is None


def test_what_is_read_at_one_instant_is_not_told_apart():
    drops = Drops()
    fire(drops, *BURNING, (9.0, "limit_closed", 1), (9.0, "switch_closed", 1), (9.0, "gas_valve", 1))
    fire(drops, (10.0, "gas_valve", 0), (10.0, "switch_closed", 0), (10.0, "limit_closed", 0))
    assert drops.first is not None
    assert set(drops.first.points) == {"gas_valve", "switch_closed", "limit_closed"}
    assert not drops.first.sure


@pytest.mark.parametrize(("apart", "sure"), [(0.1, False), (0.24, False), (0.3, True), (1.0, True)])
def test_across_two_instruments_clocks_count(apart: float, sure: bool):
    drops = Drops()
    steps = [n / 100 for n in range(1000)]
    fire(drops, *((s, "switch_closed@meter", 1) for s in steps), *((s, "gas_valve", 1) for s in steps))
    fire(drops, *((10 + n / 100, "gas_valve", 1) for n in range(round(apart * 100))))
    fire(drops, (10.0, "switch_closed@meter", 0), (10.0 + apart, "gas_valve", 0))
    assert drops.first is not None
    assert drops.first.sure is sure


def test_a_slow_instrument_is_never_the_first_by_its_slowness():
    """A logger that reads each ten seconds may have missed the opening for as long."""
    drops = Drops()
    fire(drops, (0.0, "limit_closed@slow", 1), (0.0, "switch_closed", 1), (0.0, "gas_valve", 1))
    fire(drops, (9.0, "switch_closed", 0), (9.2, "gas_valve", 0), (9.4, "limit_closed@slow", 0))
    assert drops.first is not None
    assert set(drops.first.points) == {"switch_closed", "limit_closed"}


def test_a_bad_value_in_between_and_an_earlier_fire_prove_nothing():
    drops = Drops()
    fire(drops, *BURNING, (9.0, "switch_closed", 1))
    drops.step("switch_closed@logger", "switch_closed", round((T0 + 9.5) * NANOSECONDS), float("nan"), Quality.GOOD)
    fire(drops, (10.0, "switch_closed", 0), (10.1, "gas_valve", 0))
    assert drops.first is None, "when it opened is not known"
    fire(drops, (30.0, "switch_closed", 1), (31.0, "gas_valve", 1), (32.0, "switch_closed", 0))
    assert drops.first is None, "the valve of this fire is still open"


def test_a_replay_that_was_moved_back_knows_nothing_of_its_future():
    drops = Drops()
    fire(drops, *BURNING, (10.0, "switch_closed", 0), (10.1, "gas_valve", 0))
    fire(drops, (2.0, "switch_closed", 0))
    assert drops.first is None


def test_long_before_or_without_a_fire_nothing_is_claimed():
    drops = Drops()
    fire(drops, (0.0, "switch_closed", 1), (1.0, "switch_closed", 0))
    assert drops.first is None
    fire(drops, *((10 + one[0], *one[1:]) for one in BURNING), (12.0, "limit_closed", 0), (30.0, "gas_valve", 0))
    assert drops.first is None, "twenty seconds before is another matter, and nothing else is measured"
    drops.step("gas_valve@logger", "gas_valve", 0, float("nan"), Quality.GOOD)
    drops.step("gas_valve@logger", "gas_valve", 0, 0.0, Quality.BAD)
