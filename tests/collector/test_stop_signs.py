"""Signs of danger: from contacts that a test sets, and in the bundled recordings of a simulated unit."""

from importlib.resources import files
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Quality, Reading
from collector.stop_signs import FRESH, POINTS, StopSigns
from drivers.replay import CsvSource

T0 = 1_768_372_280 * NANOSECONDS


class Unit:
    """Contacts that a test sets."""

    def __init__(self) -> None:
        self.signs = StopSigns()
        self.time = T0

    def after(self, seconds: float, **contacts: float) -> list[str]:
        """The signs when so much time has passed and these have changed."""
        self.time += round(seconds * NANOSECONDS)
        for point, value in contacts.items():
            self.signs.step(point, self.time, value, Quality.GOOD)
        return [sign.name for sign in self.signs.told(self.time)]


FLAMING = {"call_heat": 0, "gas_valve": 0, "flame_current": 3e-6}
GAS = {"call_heat": 0, "gas_valve": 1, "flame_current": 3e-6}


@pytest.mark.parametrize(
    ("contacts", "name", "text"),
    [
        (FLAMING, "flame_without_gas", "STOP: flame with the gas valve closed"),
        (GAS, "gas_without_call", "STOP: gas valve on without a call for heat"),
    ],
)
def test_a_flame_or_gas_that_nothing_asks_for_stops_everything(contacts: dict[str, float], name: str, text: str):
    """Not while a flame current decays after the valve closed; and then until it is refuted."""
    unit = Unit()
    began = unit.time
    assert unit.after(0, **contacts) == []
    assert unit.after(2, **contacts) == []
    assert unit.after(1.5, **contacts) == [name]
    (sign,) = unit.signs.told(unit.time)
    assert (sign.text, sign.stop, sign.since) == (text, True, began)
    assert unit.after(1, call_heat=1, gas_valve=1) == []


@pytest.mark.parametrize(
    ("contacts", "name", "refuted"),
    [
        (FLAMING, "flame_without_gas", {"flame_current": 0.1e-6}),
        (FLAMING, "flame_without_gas", {"gas_valve": 1.0, "call_heat": 1.0}),
        (GAS, "gas_without_call", {"call_heat": 1.0}),
        (GAS, "gas_without_call", {"gas_valve": 0.0, "flame_current": 0.0}),
    ],
)
def test_a_stop_stands_while_its_meters_are_silent_and_others_go_on(
    contacts: dict[str, float], name: str, refuted: dict[str, float]
):
    unit = Unit()
    unit.after(0, **contacts)
    assert unit.after(4, limit_closed=1) == [name]
    assert unit.after(FRESH + 10, limit_closed=1) == [name]
    assert unit.after(600) == [name]
    assert unit.after(1, **refuted) == []


def test_a_stop_whose_meter_was_taken_away_is_over():
    unit = Unit()
    unit.after(0, **FLAMING)
    assert unit.after(4) == ["flame_without_gas"]
    unit.signs.forget("flame_current")
    assert unit.after(1) == []
    assert unit.after(9, **FLAMING) == []


def test_an_open_roll_out_switch_is_a_stop_and_an_open_limit_is_told():
    unit = Unit()
    unit.after(0, limit_closed=1, rollout_closed=1)
    assert unit.after(1, limit_closed=0) == ["limit_open"]
    (sign,) = unit.signs.told(unit.time)
    assert (sign.text, sign.stop) == ("a limit switch is open", False)
    assert unit.after(1, rollout_closed=0) == ["rollout_open", "limit_open"], "the gravest first"
    (sign, _) = unit.signs.told(unit.time)
    assert sign.stop
    assert sign.text.startswith("STOP: the roll-out switch is open. Gas and power off. No reset")
    assert unit.after(1, limit_closed=1) == ["rollout_open"]
    assert unit.after(FRESH + 1) == [], "what was read too long ago is not known now"


def test_without_the_24_volts_an_open_roll_out_is_no_stop():
    unit = Unit()
    assert unit.after(0, volts_control=0.3, rollout_closed=0) == ["rollout_open"]
    (sign,) = unit.signs.told(unit.time)
    assert (sign.stop, sign.text) == (False, "the roll-out switch reads open; the 24 V are off")
    unit.after(1, volts_control=26.0)
    assert unit.signs.told(unit.time)[0].stop


def test_a_flame_that_goes_out_while_the_gas_is_on_is_told():
    unit = Unit()
    assert unit.after(0, call_heat=1, gas_valve=1, flame_current=0) == [], "a trial for ignition"
    assert unit.after(3, flame_current=3e-6) == []
    assert unit.after(60, call_heat=1, gas_valve=1, flame_current=0.1e-6) == ["flame_lost"]
    assert unit.after(1, gas_valve=0) == []
    assert unit.after(20, gas_valve=1) == [], "another trial"


def test_bad_values_are_no_signs():
    unit = Unit()
    unit.after(0, call_heat=0, gas_valve=0, flame_current=0)
    for value, quality in ((3e-6, Quality.BAD), (float("nan"), Quality.GOOD)):
        unit.signs.step("flame_current", unit.time, value, quality)
    assert unit.after(5) == []


@pytest.mark.parametrize(
    ("name", "expected"),
    [("healthy_natural_gas", set()), ("flame_rod_dirty", {"flame_lost"}), ("filter_loaded", {"limit_open"})],
)
def test_the_signs_of_a_whole_recording(name: str, expected: set[str]):
    """No stop in any of them; each second is looked at."""
    source = CsvSource(Path(str(files("replay_data"))) / f"{name}.csv.gz")
    points = {channel.key: (channel.point, {"uA": 1e-6}.get(channel.unit, 1.0)) for channel in source.channels}
    signs, seen, second = StopSigns(), set[str](), 0
    for item in source.play():
        if not isinstance(item, Reading):
            continue
        point, scale = points[item.channel]
        if point in POINTS:
            signs.step(point, item.time, item.value * scale, item.quality)
        if item.time // NANOSECONDS > second:
            second = item.time // NANOSECONDS
            seen |= {sign.name for sign in signs.told(item.time)}
    assert seen == expected
