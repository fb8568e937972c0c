"""The shipped Bluetooth profiles read their own examples, and say what the standards say."""

import math

import pytest

from analysis.points import MEASURES
from analysis.units import UnitError, to_inside
from collector.profiles import examined, named, shipped
from drivers.profile import Profile
from drivers.registry import KINDS

BLUETOOTH = [name for name, path in shipped().items() if 'driver = "ble"' in path.read_text()]


@pytest.fixture(params=BLUETOOTH)
def profile(request: pytest.FixtureRequest) -> Profile:
    return named(request.param)


def test_there_is_one_of_each_format() -> None:
    assert {named(name).ble.format for name in BLUETOOTH} == {"characteristics", "environmental", "bthome"}


def test_examples_are_read_as_they_say(profile: Profile) -> None:
    decoder = KINDS["ble"].decoder(profile)
    assert profile.examples
    for example in profile.examples:
        sample, reason = decoder.decode(example.data, example.of)
        assert bool(reason) == example.refused, reason
        if sample:
            assert set(sample.values) == set(example.values)
            for name, expected in example.values.items():
                found = sample.values[name]
                assert found == pytest.approx(expected) or (math.isnan(found) and math.isnan(expected))
            assert sample.conditions == set(example.conditions)


def test_every_measured_value_can_be_a_point(profile: Profile) -> None:
    for value in profile.measures():
        fits = []
        for measure in MEASURES.values():
            try:
                fits.append(to_inside(value.unit, measure))
            except UnitError:
                continue
        assert fits, f"{value.name} [{value.unit}] can be no point"


@pytest.mark.parametrize(
    ("text", "line", "why"),
    [
        ('driver = "ble"\n[ble]\nformat = "bthome"\n[[value]]\nname = "temprature"\nunit = "degC"\n', 2, "BTHome"),
        (
            'driver = "ble"\n[ble]\nformat = "environmental"\n[[value]]\nname = "pressure"\nunit = "hPa"\n',
            2,
            "unit = 'Pa'",
        ),
        ('driver = "ble"\n[ble]\nformat = "environmental"\n', 0, "[[value]]"),
        (
            'driver = "ble"\n[[value]]\nname = "pressure"\nunit = "Pa"\ncharacteristic = "draft"\ntype = "int16"\n',
            5,
            "not a UUID",
        ),
    ],
)
def test_a_profile_that_cannot_work_is_told_with_its_line(text: str, line: int, why: str) -> None:
    profile, mistakes = examined(text, "own")
    assert profile is None
    assert why in str(mistakes[0])
    assert mistakes[0].line == line
