"""Which states make an attempt, what a call found, and what is known of a try beside its own states."""

import math
from collections.abc import Sequence

import pytest

from analysis.model import Timing
from analysis.sequence import build, ending
from analysis.sequence.attempts import PhaseSpan
from analysis.sequence.durations import Durations
from analysis.sequence.ending import Tried
from analysis.sequence.witness import Ending, Witness
from tests.analysis.sequence.spoken import built, segments, voice

FAILED = ("inducer_start", 10.0), ("prepurge", 14.0), ("igniter_warmup", 29.0), ("no_light", 46.0), ("interpurge", 51.0)


def test_a_limit_that_is_cooled_with_no_call_before_is_no_attempt() -> None:
    assert built(*segments(("idle", 0.0), ("limit_cooldown", 100.0), ("idle", 200.0))) == []


def test_it_does_not_take_the_next_attempt_with_it() -> None:
    (one,) = built(*segments(("idle", 0.0), ("limit_cooldown", 100.0), ("inducer_start", 200.0)))
    assert (one.start, [span.phase for span in one.phases]) == (200.0, ["inducer_start"])


def test_a_run_that_opens_the_limit_keeps_what_cools_it() -> None:
    states = ("idle", 0.0), ("inducer_start", 10.0), ("run_low", 77.0), ("limit_cooldown", 150.0), ("idle", 300.0)
    (one,) = built(*segments(*states))
    assert [span.phase for span in one.phases] == ["inducer_start", "run_low", "limit_cooldown"]
    assert (one.start, one.deciding_time, one.end) == (10.0, 150.0, 300.0)


@pytest.mark.parametrize(
    ("state", "outcome"),
    [("limit_cooldown", "limit_open"), ("rollout", "rollout_open"), ("found_closed", "switch_found_closed")],
)
def test_a_call_that_finds_a_contact_wrong_is_an_attempt_in_vain(state: str, outcome: str) -> None:
    (one,) = built(*segments(("idle", 0.0), ("waiting", 100.0), (state, 103.0), ("idle", 200.0)))
    assert (one.outcome, one.start, one.deciding_time, one.end) == (outcome, 103.0, 103.0, 200.0)
    assert one.probability > 0.9
    assert "heat was called" in one.why


@pytest.mark.parametrize("state", ["limit_cooldown", "rollout", "post_purge", "lockout"])
def test_what_was_there_when_the_recording_began_was_decided_before(state: str) -> None:
    (one,) = built(*segments((state, 0.0), ("idle", 100.0)))
    assert (one.outcome, one.probability, one.start) == ("unknown", 0.0, 0.0)


def test_a_lockout_in_the_middle_is_nothing_that_a_call_found() -> None:
    (one,) = built(*segments(("idle", 0.0), ("waiting", 100.0), ("lockout", 103.0), ("idle", 200.0)))
    assert (one.outcome, one.probability) == ("unknown", 0.0)


@pytest.fixture
def tries(monkeypatch: pytest.MonkeyPatch) -> list[Tried]:
    """What was known of each try when its outcome was asked for."""
    seen: list[Tried] = []

    def ended(spans: Sequence[PhaseSpan], tried: Tried, *_: object) -> tuple[str, float, str, float]:
        seen.append(tried)
        return "heat", 1.0, "", spans[-1].end

    monkeypatch.setattr(build, "ended", ended)
    return seen


def test_the_first_try_after_a_rest_is_fresh_and_knows_when_the_next_begins(tries: list[Tried]) -> None:
    states = [("idle", 0.0), *FAILED, ("interpurge_rest", 71.0)]
    states += [(name, at + 64.0) for name, at in FAILED] + [("unlit_purge", 120.0), ("idle", 140.0)]
    states += [(name, at + 190.0) for name, at in FAILED]
    built(*segments(*states))
    assert [(one.fresh, one.next, one.call) for one in tries] == [
        (True, 74.0, 1),
        (False, 200.0, 1),
        (True, math.inf, 2),
    ]
    assert [one.cut for one in tries] == [False, False, True]


def test_where_a_call_is_measured_it_makes_the_try_fresh(tries: list[Tried]) -> None:
    """The second try follows the first without a rest, but heat was called anew; the third is of the second call."""
    states = [("idle", 0.0), *FAILED, ("interpurge_rest", 71.0), *((name, at + 64.0) for name, at in FAILED)]
    states += [("interpurge_rest", 135.0), *((name, at + 128.0) for name, at in FAILED)]
    built(*segments(*states), voices=[voice("call_heat", (9, 1), (60, 0), (70, 1))])
    assert [(one.fresh, one.call) for one in tries] == [(True, 1), (True, 2), (False, 2)]


@pytest.fixture
def endings(monkeypatch: pytest.MonkeyPatch) -> list[Ending]:
    """What the signs were asked about."""
    seen: list[Ending] = []

    def decided(one: Ending, _: Witness) -> tuple[str, float, str]:
        seen.append(one)
        return "unknown", 0.0, ""

    monkeypatch.setattr(ending, "decided", decided)
    return seen


def test_the_rest_of_a_try_runs_from_its_end_to_the_next_begin(endings: list[Ending]) -> None:
    states = [("idle", 0.0), *FAILED, ("interpurge_rest", 71.0), ("inducer_start", 74.0), ("idle", 90.0)]
    built(*segments(*states))
    first, second = endings
    assert (first.phase, first.time, first.since, first.spun) == ("ignition_trial", 51.0, 46.0, 10.0)
    assert (first.following, first.then, first.again, first.fresh) == ("interpurge", "interpurge_rest", True, True)
    assert (first.rest, second.rest) == (23.0, math.inf)
    assert (second.again, second.fresh) == (False, False)


@pytest.mark.parametrize(("timing", "told"), [(None, (0.0, 0.0)), (Timing(blower_on_delay=33.0), (33.0, 5.0))])
def test_delay_and_trial_are_those_of_the_job_file_or_nothing(
    endings: list[Ending], timing: Timing | None, told: tuple[float, float]
) -> None:
    built(*segments(("idle", 0.0), *FAILED, ("idle", 80.0)), durations=Durations(timing))
    assert (endings[0].delay, endings[0].trial) == told
