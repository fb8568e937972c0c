"""The same signs live: contacts and readings that a test sets, and bundled recordings without them."""

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from analysis.model import NANOSECONDS, Quality
from collector.opened import open_data
from collector.run_watch import KEPT, POINTS, RunWatch
from collector.sequence import LiveSequence

T0 = 1_768_372_280


class Unit:
    """A run told second by second."""

    def __init__(self) -> None:
        self.watch = RunWatch()

    def say(self, second: float, **values: float) -> list[str]:
        for point, value in values.items():
            self.watch.step(point, round((T0 + second) * NANOSECONDS), value, Quality.GOOD)
        return [sign.name for sign in self.watch.told()]

    def light(self, delay: float = 1.0, start: float = 0.0) -> list[str]:
        """Valve at 20 s, flame `delay` later."""
        for tenth in range(600):
            second = tenth / 10.0
            self.say(start + second, gas_valve=float(second >= 20.0), flame_current=3e-6 * (second >= 20.0 + delay))
        return self.say(start + 60.0)


def test_a_late_light_off_is_told_until_one_comes_in_time():
    unit = Unit()
    assert unit.light(2.0) == []
    assert unit.light(6.0, 100.0) == ["late_light_off"]
    assert unit.watch.told()[0].stop
    assert unit.light(1.0, 200.0) == []


def test_a_flame_that_was_not_looked_for_is_not_late():
    unit = Unit()
    unit.say(0.0, gas_valve=0.0)
    unit.say(1.0, gas_valve=1.0)
    assert unit.say(30.0, flame_current=3e-6) == []
    unit.say(40.0, gas_valve=0.0, flame_current=0.0)
    unit.say(41.0, gas_valve=1.0)
    assert unit.say(50.0, flame_current=3e-6) == [], "read 9 s apart: it may have lit at once"


def blower(step: float, **more: float) -> list[str]:
    unit, noise = Unit(), np.random.default_rng(3)
    unit.light()
    told: list[str] = []
    for fifth in range(300):
        second = 60.0 + fifth / 5.0
        suction = -120.0 + noise.normal(0.0, 0.3) + step * (second >= 90.0)
        told = unit.say(second, blower_on=float(second >= 90.0), draft_transition=suction)
        if second == 95.0:
            unit.say(second, **more)
    return told


@pytest.mark.parametrize(("step", "told"), [(0.0, []), (12.0, ["breach_sign"]), (-12.0, [])])
def test_a_step_when_the_blower_starts_is_a_possible_breach(step, told):
    assert blower(step) == told


def test_a_possible_breach_stays_when_the_next_start_shows_no_step():
    unit = Unit()
    for start, step in ((0.0, 12.0), (1000.0, 0.0)):
        unit.light(start=start)
        for fifth in range(300):
            second = 60.0 + fifth / 5.0
            suction = -120.0 + 0.1 * (fifth % 2) + step * (second >= 90.0)
            unit.say(start + second, blower_on=float(second >= 90.0), draft_transition=suction)
    assert [sign.name for sign in unit.watch.told()] == ["breach_sign"]


def test_co_that_rises_is_told_while_it_burns():
    for slope, told in ((0.0, []), (0.2e-6, ["flue_co_rising"])):
        unit = Unit()
        unit.light()
        found: list[str] = []
        for second in range(60, 500):
            found = unit.say(float(second), flue_co=40e-6 + slope * second + 1e-6 * (second % 3))
        assert found == told


def test_what_is_kept_is_bounded():
    unit = Unit()
    for tenth in range(3 * KEPT):
        unit.say(tenth / 10.0, draft_collector=-200.0)
    assert len(unit.watch._read["draft_collector"]) == KEPT


def test_the_signs_stand_among_the_warnings_of_the_page():
    live = LiveSequence()
    for tenth in range(400):
        second = tenth / 10.0
        time = round((T0 + second) * NANOSECONDS)
        live.step("gas_valve@a", "gas_valve", time, float(second >= 20.0), Quality.GOOD)
        live.step("flame_current@a", "flame_current", time, 3e-6 * (second >= 27.0), Quality.GOOD)
    assert "late_light_off" in {sign.name for sign in live.warnings(time)}


@pytest.mark.parametrize("name", ["healthy_natural_gas", "healthy_propane", "vent_iced_over"])
def test_no_bundled_recording_without_them_has_such_signs(name):
    opened = open_data(Path(str(files("replay_data") / f"{name}.csv.gz")))
    rows = sorted(
        (time, one.channel.point, value)
        for one in opened.series
        if one.channel.point in POINTS
        for time, value in zip(one.time.tolist(), one.value.tolist(), strict=True)
    )
    watch, seen = RunWatch(), set[str]()
    for time, point, value in rows:
        watch.step(point, round(time * NANOSECONDS), value, Quality.GOOD)
        seen |= {sign.name for sign in watch.told()}
    assert seen == set()
