"""A slow inducer, a leak and suction taps alone: what changes all taps at once is not taken for resistances."""

import math

import pytest

from analysis.draft import SECTIONS, Ratios, resistances
from tests.analysis.test_draft_inverse import NORMAL, manometer, without

SLOW = tuple(0.85**2 * value for value in NORMAL)
"""Fan laws: all taps by the square of the speed."""
LEAK = (-0.1239, -0.4129, -1.0323, 0.4162)
"""The table's circuit with air into the collector box, 20 % of the combustion flow, by an independent model."""
WEAK = tuple(0.7 * value for value in NORMAL)
BREACH = "possible breach: make safe, confirm by inspection and analyser"


def inside(found: Ratios, **truth: float) -> bool:
    """Whether each true value lies in its 95 % interval; the ratios' is 1."""
    expected = {**dict.fromkeys(SECTIONS, 1.0), **truth}
    ends = {name: getattr(found, name).interval for name in expected}
    return all(ends[name][0] <= value <= ends[name][1] for name, value in expected.items())


def test_a_slow_inducer_whose_speed_was_not_read_is_named_and_no_resistance_is() -> None:
    found = resistances(manometer(SLOW), manometer(NORMAL))
    assert inside(found, flow=0.85, speed=0.85, leak=0.0)
    assert found.slow > 0.9
    assert found.leaking < 0.2
    assert found.flow.value == pytest.approx(0.85, rel=0.03)
    assert found.speed.value == pytest.approx(0.85, rel=0.02)
    assert max(*found.raised, *found.lowered) < 0.1
    assert found.sentence().startswith("Most probably a slow inducer")
    assert "read its speed or amps" in found.sentence()


def test_a_measured_low_speed_is_no_news() -> None:
    found = resistances(manometer(SLOW), manometer(NORMAL), speed_ratio=0.85)
    assert found.slow > 0.99
    assert found.sentence().startswith("No clear change of a resistance, which clears no exchanger")


@pytest.mark.parametrize(("speed", "least"), [(math.nan, 0.6), (1.0, 0.95)])
def test_air_into_the_collector_box_is_a_leak_and_a_possible_breach(speed: float, least: float) -> None:
    found = resistances(manometer(LEAK), manometer(NORMAL), speed_ratio=speed)
    assert inside(found, flow=0.91, speed=1.0, leak=0.2)
    assert found.leaking > least
    assert found.flow.value == pytest.approx(0.91, rel=0.03)
    assert found.sentence().startswith("Most probably a leak")
    for words in ("collector box", "dry trap, gasket, drain", BREACH):
        assert words in found.sentence()


@pytest.mark.parametrize(
    "missing", [{"vent"}, {"vent", "burner_box"}, {"vent", "burner_box", "transition"}], ids=["A X B", "X B", "B"]
)
def test_suction_taps_that_fell_alike_ask_for_the_vent_side(missing: set[str]) -> None:
    found = resistances(without(manometer(WEAK), missing), manometer(NORMAL))
    said = found.sentence()
    assert inside(found, flow=0.837, speed=0.837, leak=0.0)
    assert inside(found, flow=0.837, speed=1.0, leak=0.376)
    assert inside(found, flow=0.837, speed=1.0, vent=3.94)
    for words in ("restricted outlet, slow inducer, leak or thinner air", "cannot be told apart"):
        assert words in said
    assert "read the vent side (C), the inducer's speed or amps" in said
    never = resistances(manometer(WEAK), without(manometer(NORMAL), missing))
    assert never.sentence() == said
    told = resistances(without(manometer(WEAK), missing), manometer(NORMAL), speed_ratio=1.0).sentence()
    assert "restricted outlet, leak or thinner air" in told
    assert "slow" not in told


def test_suction_taps_that_the_speed_read_explains_or_that_fell_unlike_ask_nothing() -> None:
    explained = resistances(without(manometer(SLOW), {"vent"}), manometer(NORMAL), speed_ratio=0.85)
    assert "restricted outlet" not in explained.sentence()
    for unlike in ((-0.1143, -0.381, -1.5238, 0.2667), (-0.06, -0.4, -1.0, 0.28)):
        assert "suction taps" not in resistances(without(manometer(unlike), {"vent"}), manometer(NORMAL)).sentence()
    assert "suction taps" not in resistances(without(manometer(NORMAL), {"vent"}), manometer(NORMAL)).sentence()


def test_a_resistance_that_fell_is_no_finding_by_itself() -> None:
    secondary_halved = (-0.1711, -0.5705, -0.9984, 0.3993)
    found = resistances(manometer(secondary_halved), manometer(NORMAL), speed_ratio=1.0)
    assert found.lowered[SECTIONS.index("secondary")] > 0.9
    said = found.sentence()
    assert said.startswith("A fall is no finding by itself: first look for false air")
    assert BREACH in said
    assert "or a lower speed" in said
