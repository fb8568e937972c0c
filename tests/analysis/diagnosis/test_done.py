"""What the technician did: repairs count for attempts after them, tests as things stood when they were made."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.diagnosis.causes import CAUSES, Priors
from analysis.diagnosis.done import DEEDS, TESTED, Done, altered, conditioned, made
from analysis.diagnosis.steps.catalogue import STEPS
from analysis.diagnosis.updating import updated
from tests.never import IN_PROPOSALS, advised

PRIORS = Priors().probabilities()
RESULTS = [(step.name, one.name) for step in STEPS.values() for one in step.results]
ENTRIES = st.lists(
    st.one_of(
        st.builds(Done, st.sampled_from([*DEEDS, "repainted"]), st.floats(0.0, 100.0)),
        st.builds(
            lambda at, pair: Done(TESTED, at, *pair),
            st.floats(0.0, 100.0),
            st.sampled_from([*RESULTS, ("meter_flame", ""), ("no_test", "x"), ("terminations", "sunny")]),
        ),
    ),
    max_size=12,
)


def odds(shares, cause, other="other"):
    return shares[cause] / shares[other]


def test_a_repair_lowers_the_odds_of_its_cause_for_attempts_after_it_and_not_before():
    entries = [Done("rod_cleaned", 50.0)]
    before, after = (conditioned(PRIORS, entries, span) for span in ((10.0, 40.0), (60.0, 90.0)))
    assert before == pytest.approx(PRIORS)
    success = DEEDS["rod_cleaned"].repairs["flame_sensor_weak"]
    assert odds(after, "flame_sensor_weak") == pytest.approx((1 - success) * odds(PRIORS, "flame_sensor_weak"))
    assert odds(after, "igniter_faulty") == pytest.approx(odds(PRIORS, "igniter_faulty"))
    assert after["none"] == pytest.approx(PRIORS["none"] + success * PRIORS["flame_sensor_weak"])


def test_a_repair_while_an_attempt_runs_counts_from_the_next_one_on():
    assert conditioned(PRIORS, [Done("vent_cleared", 50.0)], (40.0, 60.0)) == pytest.approx(PRIORS)


def test_a_test_multiplies_by_its_row_for_every_attempt():
    entries = [Done(TESTED, 50.0, "terminations", "vent")]
    wanted = updated(PRIORS, "terminations", "vent")
    for span in ((10.0, 40.0), (60.0, 90.0)):
        assert conditioned(PRIORS, entries, span) == pytest.approx(wanted)


def test_a_test_after_a_repair_says_little_of_what_was_before_it():
    """Intake free after it was cleared: the attempt before may well have had it covered, the one after has not."""
    repaired = [Done("intake_cleared", 50.0), Done(TESTED, 60.0, "terminations", "free")]
    before, after = (conditioned(PRIORS, repaired, span) for span in ((10.0, 40.0), (70.0, 90.0)))
    assert odds(before, "intake_blocked") > 0.9 * odds(PRIORS, "intake_blocked")
    assert odds(after, "intake_blocked") < 0.05 * odds(PRIORS, "intake_blocked")
    found = [Done(TESTED, 45.0, "terminations", "intake"), *repaired]
    assert conditioned(PRIORS, found, (10.0, 40.0))["intake_blocked"] > 0.4


@settings(max_examples=100, deadline=None)
@given(entries=ENTRIES, start=st.floats(0.0, 100.0))
def test_whatever_was_done_the_causes_add_to_one_and_none_is_excluded(entries, start):
    found = conditioned(PRIORS, entries, (start, start + 1.0))
    assert list(found) == CAUSES
    assert sum(found.values()) == pytest.approx(1.0)
    assert min(found.values()) > 0.0
    assert found == pytest.approx(conditioned(PRIORS, entries[::-1], (start, start + 1.0))) or len(
        {entry.at for entry in entries}
    ) < len(entries)


def test_what_no_cause_is_repaired_by_has_no_button_that_says_so():
    repaired = {cause for deed in DEEDS.values() for cause in deed.repairs}
    assert set(CAUSES) - repaired == {"none", "other", "heat_exchanger_breach", "rollout_open"}
    assert all(0.0 < share < 1.0 for deed in DEEDS.values() for share in deed.repairs.values())


def test_no_text_advises_what_is_never_done():
    assert [deed.name for deed in DEEDS.values() if advised(f"{deed.text}. {deed.caution}.", IN_PROPOSALS)] == []


def test_an_attempt_while_a_cover_is_off_is_of_an_altered_unit():
    entries = [Done("cover_off", 20.0), Done("cover_on", 50.0)]
    spans = {(0.0, 10.0): (), (10.0, 30.0): ("cover",), (30.0, 40.0): ("cover",), (60.0, 90.0): ()}
    assert {span: altered(entries, span) for span in spans} == spans
    assert altered(entries[:1], (60.0, 90.0)) == ("cover",)


def test_a_test_has_to_be_made_anew_after_the_repair_that_it_told_of():
    seen = [Done(TESTED, 10.0, "terminations", "intake"), Done(TESTED, 11.0, "rod_insulator", "clean")]
    assert made(seen) == {"terminations": "intake", "rod_insulator": "clean"}
    assert made([*seen, Done("intake_cleared", 20.0)]) == {"rod_insulator": "clean"}
    assert made([*seen, Done("cover_on", 20.0)]) == made(seen)


def test_priors_that_are_none_are_refused():
    with pytest.raises(ValueError, match="at least 0"):
        conditioned(dict.fromkeys(CAUSES, 0.0), [], (0.0, 1.0))
