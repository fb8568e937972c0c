"""Ranking of causes in small worlds whose answer follows from Bayes' rule, and with the library of the program."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.diagnosis.cases import Cases
from analysis.diagnosis.causes import CAUSES, Priors
from analysis.diagnosis.evidence import evidence_of
from analysis.diagnosis.features import FEATURES, NUMBER
from analysis.diagnosis.flag_words import FLAG_WORDS
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.inference import MISFIT, diagnosed
from analysis.diagnosis.information import Believed
from analysis.diagnosis.mixture import Mixture, fitted
from analysis.diagnosis.seen import Seen
from analysis.diagnosis.weighing import TEMPER, weighed
from collector.diagnosing import library
from tests.analysis.diagnosis.worlds import alike, close, mixture, seen, world

COLLECTOR = "draft_collector.hot.high"


def named(found: Mixture, look: Seen, prior: dict[str, float]) -> dict[str, float]:
    """Probability of each cause."""
    return dict(zip(CAUSES, weighed(found, look, prior, 0).causes.tolist(), strict=True))


def test_what_was_not_seen_changes_nothing() -> None:
    prior = Priors().probabilities()
    found = named(mixture({"vent_blocked": {COLLECTOR: 3.0}}), seen(), prior)
    total = prior["none"] + prior["vent_blocked"]
    assert found["none"] == pytest.approx(prior["none"] / total)
    assert found["vent_blocked"] == pytest.approx(prior["vent_blocked"] / total)


def test_the_nearer_cause_gains_as_two_normal_densities_say() -> None:
    """Log odds of a value x between means 0 and m at spread 1 are m (x - m / 2): nothing halfway."""
    found = mixture({"vent_blocked": {COLLECTOR: 4.0}})
    prior = alike(none=0.5, vent_blocked=0.5)
    halfway = named(found, seen(draft_collector__hot__high=2.0), prior)
    assert close(halfway["none"], 0.5, 0.15)
    beyond = named(found, seen(draft_collector__hot__high=4.0), prior)
    before = named(found, seen(draft_collector__hot__high=0.0), prior)
    assert beyond["vent_blocked"] > 0.9
    assert before["none"] > 0.9
    assert close(beyond["vent_blocked"], before["none"], 0.05)


def test_an_uncertain_reading_says_less() -> None:
    found, prior = mixture({"vent_blocked": {COLLECTOR: 4.0}}), alike(none=0.5, vent_blocked=0.5)
    sure = seen(draft_collector__hot__high=4.0)
    vague = Seen(sure.values, np.where(np.isfinite(sure.values), 6.0, np.nan), {}, {}, sure.raw)
    assert named(found, sure, prior)["vent_blocked"] > 0.9
    assert named(found, vague, prior)["vent_blocked"] < 0.75


def test_weights_add_up_from_prior_to_result() -> None:
    look = seen(draft_collector__hot__high=1.0, gas_inlet__static=-0.5, temp_rise__high=2.0)
    shifts = {"vent_blocked": {COLLECTOR: 2.0}, "gas_supply_low": {"gas_inlet.static": -2.0, "temp_rise.high": -1.0}}
    prior = alike(none=0.4, vent_blocked=0.35, gas_supply_low=0.25)
    found = weighed(mixture(shifts), look, prior, 0)
    total = found.weights().sum(axis=1)
    for cause in ("none", "vent_blocked", "gas_supply_low"):
        number = CAUSES.index(cause)
        assert total[number] == pytest.approx(math.log2(found.causes[number] / prior[cause]), abs=1e-6)


def test_the_order_of_the_shares_is_that_of_the_probabilities_and_they_add_to_one() -> None:
    judged = diagnosed(library(), seen(draft_collector__hot__high=-3.0), Priors().probabilities())
    shares = [one.probability for one in judged.diagnosis.causes]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0)
    assert {one.cause for one in judged.diagnosis.causes} == set(CAUSES)
    other = next(one for one in judged.diagnosis.causes if one.cause == "other")
    assert other.probability > 0.0


def test_nothing_seen_cannot_be_told() -> None:
    found = diagnosed(library(), seen(), Priors().probabilities()).diagnosis
    assert found.cannot_tell.startswith("cannot tell yet: nothing was recorded")
    assert found.pairs == ()


def test_readings_that_fit_no_unit_are_left_out_and_said() -> None:
    look = seen(draft_collector__hot__high=40.0, draft_switch__hot__high=-40.0, draft_transition__hot__high=55.0)
    found = diagnosed(library(), look, Priors().probabilities()).diagnosis
    assert "fits no unit" in found.cannot_tell
    assert found.causes[0].probability < 0.5
    assert MISFIT > 1.0


def test_one_odd_number_does_not_decide() -> None:
    """A slip in one number: nine that say sound outweigh it."""
    moved = {"burner_fouled": {"gas_manifold.flowing.high": 30.0}, "vent_blocked": {COLLECTOR: 4.0}}
    names = "draft_collector__hot__high draft_collector__cold draft_vent__cold".split()
    shifts = {**moved, "inducer_weak": {name.replace("__", "."): 5.0 for name in names}}
    prior = alike(none=0.9, burner_fouled=0.04, vent_blocked=0.03, inducer_weak=0.03)
    look = seen(gas_manifold__flowing__high=30.0, **dict.fromkeys(names, 0.0))
    found = weighed(mixture(shifts), look, prior, 0)
    number = list(found.what).index("gas_manifold.flowing.high")
    spread = float(np.ptp(TEMPER * found.steps[:, number])) / math.log(2)
    assert spread < 5.0


def test_two_faults_at_once_are_found_where_one_explains_half() -> None:
    shifts = {"vent_blocked": {COLLECTOR: 8.0}, "gas_supply_low": {"gas_inlet.static": 8.0}}
    prior = alike(none=0.4, vent_blocked=0.3, gas_supply_low=0.3)
    both = diagnosed(mixture(shifts), seen(draft_collector__hot__high=8.0, gas_inlet__static=8.0), prior, kind=0)
    assert both.diagnosis.pairs
    assert set(both.diagnosis.pairs[0].causes) == {"vent_blocked", "gas_supply_low"}
    assert both.diagnosis.pairs[0].probability > 0.5
    one = diagnosed(mixture(shifts), seen(draft_collector__hot__high=8.0, gas_inlet__static=0.0), prior, kind=0)
    assert all(pair.probability < 0.5 for pair in one.diagnosis.pairs)


def test_evidence_is_told_with_numbers_and_what_a_sound_unit_shows() -> None:
    shifts = {"vent_blocked": {COLLECTOR: 6.0}}
    prior = alike(none=0.5, vent_blocked=0.5)
    found = diagnosed(mixture(shifts), seen(draft_collector__hot__high=6.0), prior, kind=0).diagnosis
    first = found.causes[0]
    assert first.cause == "vent_blocked"
    assert first.evidence[0].points == ("draft_collector",)
    assert first.evidence[0].weight > 0.5
    assert "in. w.c." in first.evidence[0].text
    assert "sound units like this" in first.evidence[0].text
    second = next(one for one in found.causes if one.cause == "none")
    assert second.evidence[0].weight < -0.5


def test_what_is_not_ruled_out_says_what_is_missing() -> None:
    shifts = {"vent_blocked": {COLLECTOR: 3.0}, "inducer_weak": {COLLECTOR: 3.0}}
    prior = alike(none=0.2, vent_blocked=0.4, inducer_weak=0.4)
    found = diagnosed(mixture(shifts), seen(draft_collector__hot__high=3.0), prior, kind=0).diagnosis
    missing = {one.cause: one.missing for one in found.not_ruled_out}
    assert "vent side" in missing.get("vent_blocked", "") + missing.get("inducer_weak", "")


def test_a_measurement_that_separates_tells_more_than_one_that_does_not() -> None:
    shifts = {"vent_blocked": {COLLECTOR: 3.0, "draft_vent.hot.high": 8.0}, "inducer_weak": {COLLECTOR: 3.0}}
    prior = alike(none=0.02, vent_blocked=0.49, inducer_weak=0.49)
    found = Believed(weighed(mixture(shifts), seen(draft_collector__hot__high=3.0), prior, 0))
    apart = found.information(("draft_vent.hot.high",))
    assert 0.7 < apart <= 1.1
    assert found.information((COLLECTOR,)) == 0.0
    assert found.information(("amps_blower.settled.high",)) < 0.05
    assert found.probabilities["vent_blocked"] == pytest.approx(found.probabilities["inducer_weak"], abs=0.2)


def test_a_library_goes_to_arrays_and_back() -> None:
    cases = world({"vent_blocked": {COLLECTOR: 3.0}})
    again = Cases.read(cases.arrays())
    assert np.allclose(again.values, cases.values, atol=5e-3, equal_nan=True)
    assert np.array_equal(again.cause, cases.cause)
    with pytest.raises(ValueError, match="severity is missing"):
        Cases.read({name: one for name, one in cases.arrays().items() if name != "severity"})
    with pytest.raises(ValueError, match="build it anew"):
        Cases.read({**cases.arrays(), "version": np.array("0")})


def test_a_fit_of_a_library_without_a_feature_stands() -> None:
    found = fitted(world({"vent_blocked": {COLLECTOR: 3.0}}))
    assert np.isfinite(found.covariance).all()
    assert np.linalg.eigvalsh(found.covariance).min() > 0.0


def test_every_flag_has_words_for_everything_that_it_may_say() -> None:
    assert {flag: set(words.said) for flag, words in FLAG_WORDS.items()} == {
        flag: set(values) for flag, values in FLAGS.items()
    }


@settings(max_examples=40, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from([feature.name for feature in FEATURES]), st.floats(-60.0, 60.0), min_size=0, max_size=40
    ),
    st.sampled_from([None, 0, 1, 2, 3]),
)
def test_any_numbers_give_probabilities(values: dict[str, float], kind: int | None) -> None:
    array = np.full(len(FEATURES), np.nan)
    for name, value in values.items():
        array[NUMBER[name]] = value
    raw = {name: FEATURES[NUMBER[name]].unscaled(value) for name, value in values.items()}
    look = Seen(array, np.where(np.isfinite(array), 0.01, np.nan), {}, {}, raw)
    found = diagnosed(library(), look, Priors().probabilities(), kind=kind).diagnosis
    assert sum(one.probability for one in found.causes) == pytest.approx(1.0)
    assert all(math.isfinite(each.weight) for one in found.causes for each in one.evidence)
    assert all(0.0 <= pair.probability <= 1.0 for pair in found.pairs)


def test_evidence_speaks_in_the_units_that_were_asked_for() -> None:
    """A pressure, a difference of temperatures and a temperature, in a world in which each tells of a cause."""
    shifts = {
        "vent_blocked": {COLLECTOR: 4.0},
        "airflow_low_restricted": {"temp_rise.high": 4.0},
        "limit_faulty": {"limit.opens_at": 4.0},
    }
    prior = alike(none=0.25, vent_blocked=0.25, airflow_low_restricted=0.25, limit_faulty=0.25)
    look = seen(draft_collector__hot__high=4.0, temp_rise__high=4.0, limit__opens_at=4.0)
    found = weighed(mixture(shifts), look, prior, 0)
    said = {
        units: " ".join(one.text for each in evidence_of(found, units=units).values() for one in each)
        for units in ("trade", "metric")
    }
    for units, own, others in (
        ("trade", ("in. w.c.", "14 °F", "68 °F"), ("Pa", " K", "°C")),
        ("metric", ("Pa", "8.0 K", "20.0 °C"), ("in. w.c.", "°F")),
    ):
        assert all(one in said[units] for one in own)
        assert not any(one in said[units] for one in others)
