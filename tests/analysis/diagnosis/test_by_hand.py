"""Cases worked out by hand: rules of the trade give a conclusion, and so does the diagnosis with the program's library.

Tap readings are those of a one-line draft network by hand (square law and fan curve: ASHRAE Handbook - Fundamentals
2017, chapters 3 and 21) for a unit that showed A -0.15, X -0.50, B -1.25, C +0.35 in. w.c. when good, hot, high stage.
Rules without another source are common practice, no published source.
"""

import math

import numpy as np

from analysis.diagnosis.cases import KINDS
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, NUMBER
from analysis.diagnosis.inference import diagnosed
from analysis.diagnosis.result import Diagnosis
from analysis.diagnosis.seen import Seen
from analysis.units import INCH_OF_WATER
from collector.diagnosing import library

TAPS = ("draft_burner_box", "draft_transition", "draft_collector", "draft_vent")
GOOD = (-0.15, -0.50, -1.25, 0.35)
METER = 0.01 * INCH_OF_WATER
"""Standard uncertainty of a tap reading. [Pa]"""


def look(flags: dict[str, str], numbers: dict[str, float], u: dict[str, float] | None = None) -> Seen:
    """What was seen, in inside units."""
    values, unsure = np.full(len(FEATURES), np.nan), np.full(len(FEATURES), np.nan)
    for name, value in numbers.items():
        feature = FEATURES[NUMBER[name]]
        values[NUMBER[name]] = feature.scaled(value)
        usual = METER if name.startswith("draft") else 0.01 * abs(value)
        unsure[NUMBER[name]] = feature.scaled_u(value, (u or {}).get(name, usual))
    return Seen(values, unsure, {}, flags, numbers)


def taps(*now: float, good: tuple[float, ...] | None = GOOD, **more: float) -> dict[str, float]:
    """Taps now, hot, high stage, and when good; NaN for one that is not measured. [in. w.c.]"""
    found = {f"{tap}.hot.high": value * INCH_OF_WATER for tap, value in zip(TAPS, now, strict=True)}
    if good:
        found |= {f"baseline.{tap}": value * INCH_OF_WATER for tap, value in zip(TAPS, good, strict=True)}
    return {name: value for name, value in (found | more).items() if not math.isnan(value)}


def judged(numbers: dict[str, float], **flags: str) -> Diagnosis:
    """A two-stage unit on natural gas; every cause alike before, since the rules say what readings speak for."""
    kind, alike = KINDS.index("natural gas, two stages"), dict.fromkeys(CAUSES, 1 / len(CAUSES))
    return diagnosed(library(), look(flags, numbers), alike, kind=kind).diagnosis


def first(found: Diagnosis, count: int = 1) -> list[str]:
    """The most probable causes."""
    return [one.cause for one in found.causes[:count]]


def shares(found: Diagnosis) -> dict[str, float]:
    """Probability of each cause."""
    return {one.cause: one.probability for one in found.causes}


def test_every_suction_tap_further_from_nothing_is_the_inlet() -> None:
    """All suction readings further from zero, the first one most: restricted inlet."""
    assert first(judged(taps(-0.505, -0.80, -1.43, 0.295))) == ["intake_blocked"]


def test_suction_down_by_one_factor_is_not_told_apart_before_the_vent_side_is_measured() -> None:
    """A, X and B at 0.72 of what they were: outlet, inducer, leak or density, until C is read."""
    found = judged(taps(-0.108, -0.361, -0.903, math.nan))
    assert found.causes[0].probability < 0.9
    open_still = {"vent_blocked", "inducer_weak", "collector_leak"}
    assert len(open_still & {one.cause for one in found.causes if one.probability > 0.02}) >= 2
    said = {one.cause: one.missing for one in found.not_ruled_out}
    assert any("vent side" in said.get(cause, "") for cause in open_still)


def test_with_the_vent_side_far_up_it_is_the_vent() -> None:
    assert first(judged(taps(-0.104, -0.348, -0.870, 0.974))) == ["vent_blocked"]


def test_with_the_vent_side_down_by_the_same_factor_it_is_the_inducer() -> None:
    assert first(judged(taps(-0.108, -0.361, -0.903, 0.253))) == ["inducer_weak"]


def test_collector_stronger_and_transition_weaker_is_a_restriction_between_them() -> None:
    """B further from zero, A and X nearer: the secondary exchanger lies between X and B."""
    assert first(judged(taps(-0.077, -0.258, -1.81, 0.18))) == ["secondary_restricted"]


def test_transition_stronger_and_burner_box_weaker_is_a_restriction_between_them() -> None:
    """X and B further from zero, A nearer: burners or primary exchanger, between A and X."""
    assert first(judged(taps(-0.131, -0.742, -1.396, 0.306))) == ["primary_restricted"]


def test_taps_as_when_good_and_an_open_contact_above_the_closing_point_is_the_switch() -> None:
    """Pressure at the switch well above its closing point, steady, contact open: the switch."""
    inch = INCH_OF_WATER
    numbers = {
        "draft_switch.cold": 0.80 * inch,
        "draft_margin.at_start": 0.30 * inch,
        "plate.switch_close.low": 0.50 * inch,
        "draft_collector.cold": -0.95 * inch,
        "draft_burner_box.cold": -0.10 * inch,
    }
    found = judged(numbers, worst="draft_not_proved", heat="never")
    assert first(found) == ["switch_faulty"]


def test_an_igniter_that_takes_no_current_is_the_igniter_and_not_gas_or_rod() -> None:
    numbers = {"amps_igniter.warmup": 0.0, "gas_manifold.at_trial": 1.7 * INCH_OF_WATER, "flame_current.at_trial": 0.0}
    found = judged(
        numbers, worst="no_ignition", heat="never", igniter_amps="missing", manifold="there", flame_seen="no"
    )
    assert first(found) == ["igniter_faulty"]


def test_normal_rise_and_a_limit_that_opens_is_not_low_airflow() -> None:
    """Normal rise with limit trips: distribution of the air or the limit itself."""
    numbers = {"temp_rise.high": 50.0 / 1.8, "plate.rise": 50.0 / 1.8, "temp_supply.highest": 49.0}
    found = judged(numbers, worst="limit_open", limit="opened", heat="sometimes", trip="later")
    assert set(first(found, 2)) & {"limit_faulty", "air_baffle_missing"}
    likely = shares(found)
    assert likely["limit_faulty"] + likely["air_baffle_missing"] > likely["airflow_low_restricted"]
    assert likely["limit_faulty"] > likely["airflow_low_blower"]


def test_high_rise_and_high_static_is_a_restriction_high_rise_and_low_static_the_blower() -> None:
    """Rise high: airflow low. Static up with it: restriction; static down with it: the blower."""
    inch = INCH_OF_WATER
    rise = {"temp_rise.high": 75.0 / 1.8, "plate.rise": 50.0 / 1.8, "temp_supply.highest": 63.0}
    blocked = rise | {"static_return.high": -0.75 * inch, "static_supply.high": 0.12 * inch, "amps_blower.high": 3.5}
    weak = rise | {"static_return.high": -0.08 * inch, "static_supply.high": 0.09 * inch, "amps_blower.high": 2.0}
    assert first(judged(blocked, worst="fine", heat="always")) == ["airflow_low_restricted"]
    assert first(judged(weak, worst="fine", heat="always")) == ["airflow_low_blower"]


def test_static_gas_pressure_in_its_window_and_a_low_one_flowing_is_the_supply() -> None:
    """Inlet falls when gas flows and the manifold with it: supply, not the valve."""
    inch = INCH_OF_WATER
    numbers = {
        "gas_inlet.static": 6.5 * inch,
        "gas_inlet.flowing.high": 2.4 * inch,
        "gas_inlet.lowest": 2.3 * inch,
        "gas_inlet.drop.high": 4.1 * inch,
        "gas_manifold.flowing.high": 2.2 * inch,
        "plate.manifold.high": 3.5 * inch,
        "plate.gas_inlet": 4.5 * inch,
    }
    assert first(judged(numbers, worst="fine", heat="always", manifold="there")) == ["gas_supply_low"]
