"""The net beside the mixture: what it computes, that it cannot be read wrongly, and what both count together."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.diagnosis.causes import CAUSES, Priors
from analysis.diagnosis.features import FEATURES, NUMBER
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.inference import diagnosed
from analysis.diagnosis.mixture import Mixture
from analysis.diagnosis.net import FAR, Net, inputs, log_softmax
from analysis.diagnosis.weighing import weighed
from collector.diagnosing import library, net
from tests.analysis.diagnosis.worlds import alike, mixture, seen

COLLECTOR = "draft_collector.hot.high"
BLANK = np.full((1, len(FEATURES)), np.nan)
UNTOLD = np.full((1, len(FLAGS)), -1)
KIND = np.array([0])


def small(cause: str = "vent_blocked", slope: float = 1.0, counts: tuple[float, float] = (0.5, 0.5)) -> Net:
    """One hidden number, the collector's draft above its mean, that speaks for one cause."""
    mean, scale = np.zeros(len(FEATURES)), np.ones(len(FEATURES))
    width = inputs(BLANK, UNTOLD, KIND, mean, scale).shape[1]
    first, last = np.zeros((1, width, 1)), np.zeros((1, 1, len(CAUSES)))
    first[0, NUMBER[COLLECTOR], 0] = 1.0
    last[0, 0, CAUSES.index(cause)] = slope
    share = np.full(len(CAUSES), -math.log(len(CAUSES)))
    return Net(mean, scale, first, np.zeros((1, 1)), last, np.zeros((1, len(CAUSES))), share, *counts)


def both(slope: float = 1.0, counts: tuple[float, float] = (0.5, 0.5)) -> Mixture:
    """A mixture that sees the vent in the collector's draft, with the net beside it."""
    return replace(mixture({"vent_blocked": {COLLECTOR: 4.0}}), net=small(slope=slope, counts=counts))


def test_a_likelihood_is_the_posterior_over_the_share_it_learned_from() -> None:
    values = BLANK.copy()
    values[0, NUMBER[COLLECTOR]] = 2.0
    found = small().log_likelihood(values, UNTOLD, KIND)[0]
    vent = CAUSES.index("vent_blocked")
    posterior = math.exp(2.0) / (math.exp(2.0) + len(CAUSES) - 1)
    assert found[vent] == pytest.approx(math.log(posterior * len(CAUSES)))
    assert found[vent] - found[0] == pytest.approx(2.0)


def test_what_lies_far_out_counts_no_more_and_what_is_missing_is_told_as_missing() -> None:
    values = np.repeat(BLANK, 3, axis=0)
    values[1:, NUMBER[COLLECTOR]] = FAR, 1e6
    given = inputs(
        values, np.repeat(UNTOLD, 3, axis=0), np.zeros(3, int), np.zeros(len(FEATURES)), np.ones(len(FEATURES))
    )
    assert np.array_equal(given[1], given[2])
    assert given[0, NUMBER[COLLECTOR]] == 0.0
    assert given[:, len(FEATURES) + NUMBER[COLLECTOR]].tolist() == [0.0, 1.0, 1.0]


def test_both_count_as_they_say_and_the_prior_once() -> None:
    """Odds after = odds before, times each likelihood ratio to the power that it counts."""
    prior, look = alike(none=0.2, vent_blocked=0.8), seen(draft_collector__hot__high=3.0)
    vent = CAUSES.index("vent_blocked")

    def log_odds(found: Mixture) -> float:
        causes = weighed(found, look, prior, 0).causes
        return math.log(causes[vent] / causes[0])

    before = math.log(prior["vent_blocked"] / prior["none"])
    alone = log_odds(mixture({"vent_blocked": {COLLECTOR: 4.0}})) - before
    assert log_odds(both(slope=2.0, counts=(0.5, 0.25))) - before == pytest.approx(0.5 * alone + 0.25 * 6.0, rel=1e-6)


def test_weights_and_that_of_the_net_add_up_from_prior_to_result() -> None:
    prior, look = alike(none=0.5, vent_blocked=0.5), seen(draft_collector__hot__high=3.0)
    found = weighed(both(), look, prior, 0)
    total = found.weights().sum(axis=1)
    for name in ("none", "vent_blocked"):
        place = CAUSES.index(name)
        assert total[place] == pytest.approx(math.log2(found.causes[place] / found.prior[place]), abs=1e-3)
    assert found.weights()[CAUSES.index("vent_blocked"), -1] > 0.3


def test_what_the_net_adds_stands_in_the_evidence() -> None:
    prior, look = alike(none=0.5, vent_blocked=0.5), seen(draft_collector__hot__high=3.0)
    said = {
        one.cause: [each.text for each in one.evidence]
        for one in diagnosed(both(), look, prior, kind=0).diagnosis.causes
    }
    assert any("taken together are more like" in text for text in said["vent_blocked"])
    assert any("taken together are less like" in text for text in said["none"])


def test_nothing_seen_changes_nothing() -> None:
    prior = Priors().probabilities()
    found = weighed(library(), seen(), prior)
    assert found.causes == pytest.approx([prior[cause] for cause in CAUSES], rel=1e-9)


def test_the_net_of_the_program_is_one_and_reads_as_it_was_written() -> None:
    kept = net()
    again = Net.read(kept.arrays())
    assert np.array_equal(again.weight_in, kept.weight_in)
    assert (again.mixture_counts, again.net_counts) == (kept.mixture_counts, kept.net_counts)
    assert 0.0 < kept.net_counts <= 1.0
    assert 0.0 < kept.mixture_counts <= 1.0
    assert np.exp(kept.log_share).sum() == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("spoil", ["version", "features", "mean"])
def test_a_net_of_another_version_is_refused_in_one_sentence(spoil: str) -> None:
    arrays = small().arrays()
    if spoil == "mean":
        del arrays["mean"]
    else:
        arrays[spoil] = np.array("other") if spoil == "version" else arrays[spoil][1:]
    with pytest.raises(ValueError, match="net") as caught:
        Net.read(arrays)
    assert "\n" not in str(caught.value)


def test_logarithms_of_shares_add_up_to_one() -> None:
    assert np.exp(log_softmax(np.array([[1.0, 2.0, 900.0], [0.0, 0.0, 0.0]]))).sum(axis=1) == pytest.approx([1.0, 1.0])
