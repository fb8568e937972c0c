"""What is proposed next: nothing that is unsafe, whatever comes in; and what tells most a minute."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.next_tests import LEAST, LEAST_RATE, Proposals, keep_checking, next_tests
from analysis.diagnosis.result import NotRuledOut
from analysis.diagnosis.situation import (
    AFTER_A_STOP,
    GAS_SMELL,
    LEAVE,
    MAY_FIRE_OPEN,
    NO_CO,
    OUT,
    POWER_OFF,
    Situation,
    refusals,
)
from analysis.diagnosis.steps.catalogue import ORDERS, STEPS
from analysis.diagnosis.steps.fixed_order import next_in_order
from analysis.diagnosis.steps.step import METERS, PARTS, State
from analysis.diagnosis.updating import chances, entropy, expected_information, updated
from analysis.points import POINTS
from collector.checklists import OPENINGS, OTHER
from tests.analysis.diagnosis.believed import Believed, only
from tests.never import IN_PROPOSALS, advised

FULL = Situation(
    licences=frozenset(["gas", "live"]),
    meters=frozenset(METERS),
    parts=frozenset(PARTS),
    fuel="natural gas",
    room_co_measured=True,
)
STOPS = (
    sorted(LEAVE | POWER_OFF) + "flue_co flame_without_gas gas_inlet_high breach_sign late_light_off new_stop".split()
)
MEASURES = sorted({name for step in STEPS.values() for name in step.measures})


def some(values: list[str]) -> st.SearchStrategy[frozenset[str]]:
    return st.frozensets(st.sampled_from(values), max_size=len(values))


def few(values: list[str]) -> st.SearchStrategy[frozenset[str]]:
    return st.one_of(st.just(frozenset()), st.frozensets(st.sampled_from(values), max_size=3))


SITUATIONS = st.builds(
    Situation,
    stops=few(STOPS),
    licences=some(["gas", "live"]),
    meters=st.one_of(st.just(frozenset(METERS)), some(list(METERS))),
    points=few(list(POINTS)),
    parts=st.one_of(st.just(frozenset(PARTS)), some(list(PARTS))),
    fuel=st.sampled_from([None, "natural gas", "propane"]),
    unmetered=st.sampled_from([None, True, False]),
    open_items=few([*(one.item for one in OPENINGS), OTHER.item, "roof"]),
    baseline=st.booleans(),
    done=st.dictionaries(st.sampled_from(sorted(STEPS)), st.sampled_from(["", "above_open", "below"]), max_size=20),
    burning=st.booleans(),
    room_co_measured=st.booleans(),
)
WEIGHTS = st.lists(st.floats(0.0, 1.0), min_size=len(CAUSES), max_size=len(CAUSES)).filter(lambda one: sum(one) > 0.01)
BELIEFS = st.builds(
    lambda weights, measured, each: Believed(
        {cause: weight / sum(weights) for cause, weight in zip(CAUSES, weights, strict=True)}, measured, each
    ),
    WEIGHTS,
    few(MEASURES),
    st.sampled_from([0.0, 0.1, 1.0]),
)


def every_text(found: Proposals) -> list[str]:
    """All that a proposal can put before somebody."""
    texts = [*found.before, found.says]
    for one in found.tests:
        results = [text for result in one.results for text in (result.text, result.meaning)]
        texts += [one.text, one.safely, one.reason, *results]
    for two in found.withheld:
        texts += [two.text, *two.why]
    return texts


@settings(max_examples=150, deadline=None)
@given(beliefs=BELIEFS, situation=SITUATIONS)
def test_nothing_unsafe_comes_out_of_any_input(beliefs: Believed, situation: Situation):
    """Structure first, then words; over beliefs, stops, licences, instruments, openings and what was done."""
    found = next_tests(beliefs, situation)
    for one in found.tests:
        step = STEPS[one.test]
        assert one.state in step.states
        if one.state is State.FIRING:
            assert not situation.stops
            assert situation.open_items <= MAY_FIRE_OPEN
            assert "Covers, vent, trap and doors in place" in one.safely
            assert "leave, call from outside" in one.safely
        else:
            assert GAS_SMELL in one.safely
        if one.state is State.INDUCER:
            assert "G" in one.marks
            assert one.safely.startswith(("Gas cock shut first", "It burns now"))
        if situation.stops & POWER_OFF or "power" in situation.open_items:
            assert (one.state, "E" in one.marks) == (State.REST, False)
        assert set(step.marks) <= set(one.marks)
        assert "L" not in one.marks or "gas" in situation.licences
        assert "E" not in one.marks or "live" in situation.licences
        assert "A" not in one.marks or "analyser" in situation.meters or situation.points
        assert set(step.parts) - {"gas_meter"} <= situation.parts
        if "gas_meter" in step.parts:
            assert situation.unmetered is False or (situation.unmetered is None and situation.fuel == "natural gas")
        assert one.test not in situation.done
        assert one.bits >= LEAST
        assert one.rate >= LEAST_RATE
    if situation.stops & LEAVE:
        assert (found.tests, found.withheld) == ((), ())
        assert found.before[0] == OUT
    elif situation.stops:
        assert found.before[0] == AFTER_A_STOP
    assert GAS_SMELL in found.before
    assert (NO_CO in found.before) is not (situation.room_co_measured or bool(situation.stops & LEAVE))
    assert [text for text in every_text(found) if advised(text, IN_PROPOSALS)] == []
    rates = [round(one.rate, 6) for one in found.tests]
    assert rates == sorted(rates, reverse=True)


@settings(max_examples=60, deadline=None)
@given(situation=SITUATIONS, complaint=st.sampled_from(list(ORDERS)))
def test_the_fixed_checklist_stands_behind_the_same_gates(situation: Situation, complaint: str):
    step = next_in_order(complaint, situation)
    assert step is None or (refusals(step, situation) == () and step.name not in situation.done)
    if situation.stops & LEAVE:
        assert step is None


@pytest.mark.parametrize("opening", [one for one in OPENINGS if one.firing] + [OTHER], ids=lambda one: one.item)
def test_what_forbids_firing_in_the_checklists_forbids_it_here(opening):
    assert opening.item not in MAY_FIRE_OPEN
    found = next_tests(Believed(each=1.0), replace(FULL, open_items=frozenset([opening.item])))
    assert found.tests
    assert all(one.state is not State.FIRING for one in found.tests)


def test_the_test_that_tells_most_a_minute_comes_first():
    """A on a tap tells intake from vent best; without a port a look outside does."""
    beliefs = only(intake_blocked=0.45, vent_blocked=0.45)
    found = next_tests(beliefs, FULL)
    assert found.tests[0].test == "next_tap_then_c"
    assert found.tests[0].bits == pytest.approx(by_hand(beliefs, "next_tap_then_c"))
    assert "blocked comes first with 98 %" in found.tests[0].reason or "stays first at 98 %" in found.tests[0].reason
    assert found.says == ""
    bare = next_tests(beliefs, replace(FULL, parts=frozenset()))
    assert bare.tests[0].test == "terminations"


def by_hand(beliefs: Believed, name: str) -> float:
    """Entropy now less the mean entropy after each result."""
    now, step = beliefs.probabilities, STEPS[name]
    after = [entropy(updated(now, name, one.name)) for one in step.results]
    return entropy(now) - sum(chance * left for chance, left in zip(chances(now, step), after, strict=True))


@settings(max_examples=40, deadline=None)
@given(beliefs=BELIEFS, name=st.sampled_from([step.name for step in STEPS.values() if step.results]))
def test_expected_information_is_the_expected_fall_of_the_entropy(beliefs: Believed, name: str):
    assert expected_information(beliefs.probabilities, STEPS[name]) == pytest.approx(by_hand(beliefs, name), abs=1e-9)


def test_a_result_multiplies_by_its_row():
    before = only(intake_blocked=0.5)
    after = updated(before.probabilities, "terminations", "intake")
    odds = after["intake_blocked"] / after["igniter_faulty"]
    assert odds == pytest.approx(0.61 / 0.02 * 0.5 / before.probabilities["igniter_faulty"])
    assert sum(after.values()) == pytest.approx(1.0)
    with pytest.raises(KeyError):
        updated(before.probabilities, "terminations", "sunny")


def test_what_was_made_or_measured_is_not_proposed_again():
    beliefs = only(drain_blocked=0.5, switch_hose_water=0.4)
    names = [one.test for one in next_tests(beliefs, FULL).tests]
    outside = only(vent_recirculation=0.5, vent_blocked=0.4)
    assert "terminations" in {one.test for one in next_tests(outside, FULL).tests}
    done = replace(FULL, done={"terminations_wind": "free"})
    assert not {"terminations", "terminations_wind"} & {one.test for one in next_tests(outside, done).tests}
    assert "switch_against_tap" in names
    known = replace(beliefs, measured=frozenset(STEPS["switch_against_tap"].measures))
    assert "switch_against_tap" not in {one.test for one in next_tests(known, FULL).tests}


def test_a_measurement_against_a_baseline_counts_only_where_there_is_one():
    beliefs = replace(only(), each=0.01, measured=frozenset(MEASURES) - {"draft_vent.against_baseline"})
    assert next_tests(replace(beliefs, each=1.0), FULL).tests[:1] != ()
    vent = [one for one in next_tests(replace(beliefs, each=9.0), FULL).tests if one.test == "meter_draft_vent_run"]
    assert vent == []
    based = next_tests(replace(beliefs, each=9.0), replace(FULL, baseline=True)).tests
    assert "meter_draft_vent_run" in {one.test for one in based}


def test_what_is_sure_asks_for_nothing_more():
    sure = only(igniter_faulty=1.0 - 1e-6)
    found = next_tests(sure, FULL)
    assert found.tests == ()
    assert found.says == "No test at hand tells more, and none that is known here would."


def test_where_nothing_may_be_done_it_says_what_would_tell():
    found = next_tests(only(switch_hose_leak=0.5, switch_faulty=0.4), Situation(stops=frozenset(["flue_co"])))
    away = [one for one in found.withheld if one.test == "tee_switch"]
    assert away[0].why == ("no hose at the pressure switch that is known of", "no manometer at hand")
    empty = replace(Situation(), done=dict.fromkeys(STEPS.keys() - {"gas_valve_volts"}, ""))
    assert next_tests(only(gas_valve_faulty=0.5), empty).says == (
        "No test at hand tells more. What would: Volts at the gas valve"
        " (live electrical work only; no volt meter at hand)."
    )


def test_the_specified_switch_comes_only_after_the_proof():
    beliefs = only(switch_faulty=0.6)
    assert "specified_switch" not in {one.test for one in next_tests(beliefs, FULL).tests}
    assert refusals(STEPS["specified_switch"], FULL) == ("only after tee switch came out as above open",)
    proved = replace(FULL, done={"tee_switch": "above_open"})
    assert refusals(STEPS["specified_switch"], proved) == ()


def test_the_safest_state_is_taken_and_its_marks_with_it():
    (volts,) = [one for one in next_tests(only(inducer_weak=0.5), FULL).tests if one.test == "motor_and_switch_volts"]
    assert (volts.state, volts.marks) == (State.INDUCER, "GE")


def test_an_instrument_that_is_on_the_point_already_is_at_hand():
    bare = replace(FULL, meters=frozenset())
    assert refusals(STEPS["meter_draft_vent_cold"], bare) == ("no manometer at hand",)
    assert refusals(STEPS["meter_draft_vent_cold"], replace(bare, points=frozenset(["draft_vent"]))) == ()
    assert refusals(STEPS["meter_switch_volts"], bare) == ("no volt meter at hand",)


def test_what_is_not_ruled_out_has_a_test_that_would():
    left = [NotRuledOut("heat_exchanger_breach", 0.05, ""), NotRuledOut("drain_blocked", 0.2, "")]
    beliefs = only(vent_blocked=0.5, drain_blocked=0.2, heat_exchanger_breach=0.05)
    told = keep_checking(left, beliefs, FULL)
    assert set(told["drain_blocked"]) & {"trap_drain", "trap_flushed", "water_listen"}
    assert "o2_across_blower" in told["heat_exchanger_breach"]
    stopped = keep_checking(left, beliefs, replace(FULL, stops=frozenset(["breach_sign"])))
    assert "o2_across_blower" not in stopped["heat_exchanger_breach"]


def test_bits_are_bits():
    assert entropy({"a": 0.25, "b": 0.25, "c": 0.5}) == pytest.approx(1.5)
    assert math.isclose(entropy({"a": 1.0, "b": 0.0}), 0.0)
