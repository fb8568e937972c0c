"""Learning of the net: its gradient, what kits leave of the cases, how counts are chosen, and whose net it is."""

import numpy as np
import pytest

from analysis.diagnosis.cases import UNTOLD
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, NUMBER
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.net import log_softmax
from collector.diagnosing import cases, net
from drivers.simulate import learning
from drivers.simulate.kits import PLACES, as_read, drawn_kits, needs
from drivers.simulate.learning import chosen


def loss(layers, given, kept, cause) -> float:
    (weight_in, bias_in), (weight_out, bias_out) = layers
    hidden = np.maximum(given @ weight_in + bias_in, 0.0) * kept
    return -float(np.mean(log_softmax(hidden @ weight_out + bias_out)[np.arange(cause.size), cause]))


def test_the_gradient_is_that_of_the_loss() -> None:
    random = np.random.default_rng(4)
    layers = [
        (random.normal(size=(5, 4)), random.normal(size=4)),
        (random.normal(size=(4, len(CAUSES))), random.normal(size=len(CAUSES))),
    ]
    given, cause = random.normal(size=(6, 5)), random.integers(0, len(CAUSES), 6)
    kept = (random.random((6, 4)) > 0.25) / 0.75
    found = learning._gradients(layers, given, kept, cause)
    for layer, pull in zip(layers, found, strict=True):
        for value, gradient in zip(layer, pull, strict=True):
            for place in np.ndindex(value.shape):
                before = value[place]
                ends = []
                for step in (1e-6, -1e-6):
                    value[place] = before + step
                    ends.append(loss(layers, given, kept, cause))
                value[place] = before
                assert gradient[place] == pytest.approx((ends[0] - ends[1]) / 2e-6, abs=1e-7)


def test_a_kit_shows_no_feature_and_no_flag_of_a_point_that_it_does_not_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """One kit, of the collector's draft and the supply air alone."""
    only = np.array([[place in ("draft_collector", "temp_supply") for place in PLACES]])
    monkeypatch.setattr("drivers.simulate.kits.drawn_kits", lambda: only)
    monkeypatch.setattr("drivers.simulate.kits.KITS", 1)
    monkeypatch.setattr("drivers.simulate.kits.FULL", 0.0)
    found, u = as_read(cases(), np.random.default_rng(1))
    there = {FEATURES[place].name for place in np.flatnonzero(np.isfinite(found.values).any(axis=0))}
    assert "draft_collector.hot.high" in there
    assert all(set(needs(name)) <= {"draft_collector", "temp_supply"} for name in there)
    assert "temp_rise.high" not in there
    assert (found.flags[:, list(FLAGS).index("limit")] == UNTOLD).all()
    assert (found.flags[:, list(FLAGS).index("worst")] != UNTOLD).any()
    assert (u[:, NUMBER["plate.input"]] == 0.0).all()


def test_kits_leave_what_technicians_own_and_papers_are_missing_as_often_as_said() -> None:
    found, _ = as_read(cases(), np.random.default_rng(2))
    share = float(np.mean(found.kind == UNTOLD))
    assert share == pytest.approx(0.15, abs=0.03)
    assert 0.2 < drawn_kits().mean() < 0.8
    assert np.isfinite(found.values).sum() < 0.9 * np.isfinite(cases().values).sum()


def test_what_tells_the_cause_counts_and_what_is_chance_does_not() -> None:
    random = np.random.default_rng(3)
    cause = np.repeat(np.arange(len(CAUSES)), 40)
    true = 4.0 * (np.arange(len(CAUSES))[None] == cause[:, None]) + random.normal(size=(cause.size, len(CAUSES)))
    chance = random.normal(size=true.shape)
    said: list[str] = []
    mixture, beside = chosen(chance, true, cause, said.append)
    assert beside > 0.5
    assert mixture <= 0.15
    mixture, beside = chosen(true, chance, cause, said.append)
    assert mixture > 0.5
    assert beside <= 0.15
    assert said[0].startswith("mixture counts")


def test_the_net_of_the_program_learned_from_its_library() -> None:
    kept, library = net(), cases()
    share = np.bincount(library.cause, minlength=len(CAUSES)) / library.cause.size
    assert np.exp(kept.log_share) == pytest.approx(share)
    there = np.isfinite(library.values).any(axis=0)
    assert kept.mean[there] == pytest.approx(np.nanmean(library.values[:, there], axis=0), rel=2e-3, abs=2e-3)


def test_it_knows_cases_that_the_mixture_confuses() -> None:
    """The net of the program on its own library, all seen: far better than the most common cause."""
    library = cases()
    found = net().log_likelihood(library.values, library.flags, library.kind)
    assert np.mean(found.argmax(axis=1) == library.cause) > 0.6
