"""The scorer sees every kind of mistake: what is made of the truth with known errors gets the score that is due."""

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.model import Channel, Plate, Series, Timing
from analysis.sequence.attempts import OUTCOMES, PHASES, Attempt, PhaseSpan
from tests.sequence.evidence import Evidence
from tests.sequence.matching import matched, score
from tests.sequence.recordings import Recorded, made
from tests.sequence.scores import scores, table, totals
from tests.sequence.tellable import right_outcomes

SEEDS = (4, 6, 18)
START = 1_768_372_200.0
PHASED = (
    ("inducer_start", 0.0),
    ("prepurge", 6.0),
    ("igniter_warmup", 21.0),
    ("ignition_trial", 38.0),
    ("blower_on_delay", 40.0),
    ("run_low", 70.0),
    ("post_purge", 300.0),
    ("blower_off_delay", 315.0),
)
LENGTH = 435.0
CONTACTS = {
    "call_heat": ((-1.6, 1.0), (300.0, 0.0)),
    "switch_closed": ((6.0, 1.0), (317.0, 0.0)),
    "gas_valve": ((38.0, 1.0), (300.0, 0.0)),
    "limit_closed": ((-30.0, 1.0),),
    "blower_on": ((70.0, 1.0), (435.0, 0.0)),
}


@cache
def bench() -> tuple[Recorded, ...]:
    """Simulated recordings with enough in them."""
    found = [one for one in map(made, SEEDS) if one.truth]
    assert sum(len(one.truth) for one in found) > 20
    return tuple(found)


def attempt(at: float, outcome: str = "heat") -> Attempt:
    """An attempt of the made recording; `at`: when it starts. [s]"""
    begin = START + at
    times = [begin + when for _, when in PHASED] + [begin + LENGTH]
    spans = (PhaseSpan(name, times[n], times[n + 1], 0.5, 0.5) for n, (name, _) in enumerate(PHASED))
    return Attempt(1, 1, begin, begin + LENGTH, 0.5, 0.5, "low", outcome, 1.0, begin + 300.0, 0.5, tuple(spans))


def written(points: Sequence[str], *starts: float, timing: Timing | None = None, outcome: str = "heat") -> Recorded:
    """A made recording: two readings a second of what happens in attempts at these times. [s]"""
    time = START + np.arange(0.0, starts[-1] + LENGTH + 120.0, 0.5)
    series = []
    for point in points:
        value = np.zeros(time.size)
        for at in starts:
            for when, level in CONTACTS.get(point, ((0.0, 1.0), (315.0, 0.0))):
                value[time >= START + at + when - 1e-9] = level * (250.0 if point.startswith("draft") else 1.0)
        series.append(Series(Channel(point, "meter", "1"), time, value))
    truth = tuple(replace(attempt(at, outcome), number=number) for number, at in enumerate(starts, 1))
    end = float(time[-1])
    return Recorded(0, tuple(series), timing, Plate(), truth, START, end, {"causes": [], "spoiled": [], "kit": ""})


EVERYTHING = ("draft_collector", *CONTACTS)


def test_the_truth_scores_full_marks() -> None:
    """Also where the recordings are spoiled: what is demanded can be fulfilled."""
    whole = totals(scores(bench(), lambda one: one.truth), "AB")
    assert (whole.precision, whole.recall, whole.outcomes, whole.covered) == (1, 1, 1, 1)
    assert (whole.p95, whole.all_p95, whole.missing, whole.extra) == (0, 0, 0, 0)


def test_nothing_found_scores_nothing() -> None:
    whole = totals(scores(bench(), lambda _: ()), "AB")
    assert whole.recall == 0
    assert np.isnan(whole.precision)


def test_groups_are_made_of_what_is_measured() -> None:
    assert Evidence(written(EVERYTHING, 60.0)).group == "A"
    assert Evidence(written(("draft_collector", "temp_supply"), 60.0)).group == "B"
    assert Evidence(written(tuple(CONTACTS), 60.0)).group == "B"
    still = written(EVERYTHING, 60.0)
    flat = Series(still.series[0].channel, still.series[0].time, 0 * still.series[0].value)
    assert Evidence(replace(still, series=(flat, *still.series[1:]))).group == "B", "a draft that never moves is none"


@pytest.mark.parametrize("lost", [1, 2])
def test_lost_attempts_are_recall_and_invented_ones_precision(lost: int) -> None:
    recorded = written(EVERYTHING, 60.0, 600.0, 1200.0, 1800.0)
    missing = score(recorded, recorded.truth[lost:])
    assert (missing.needed, len(missing.missed), len(missing.wrong)) == (4, lost, 0)
    assert totals([missing], "A").recall == 1 - lost / 4
    more = [replace(attempt(2300.0 + n), phases=()) for n in range(lost)]
    invented = score(recorded, [*recorded.truth, *more])
    assert (len(invented.wrong), invented.found) == (lost, 4 + lost)
    assert totals([invented], "A").precision == 4 / (4 + lost)


def test_one_found_twice_is_one_too_many() -> None:
    recorded = written(EVERYTHING, 60.0)
    result = score(recorded, [recorded.truth[0], recorded.truth[0]])
    assert len(result.wrong) == 1


def test_one_found_attempt_belongs_to_one_true_one() -> None:
    """Two starts nine seconds apart, and one found between them."""
    true = [attempt(60.0), attempt(69.0)]
    assert len(matched(true, [attempt(64.0)], [True, True], START)) == 1
    assert len(matched(true, [attempt(64.0), attempt(66.0)], [True, True], START)) == 2


def test_two_found_as_one_is_one_missed() -> None:
    recorded = written(EVERYTHING, 60.0, 60.0 + LENGTH)
    whole = replace(recorded.truth[0], end=recorded.truth[1].end)
    assert len(score(recorded, [whole]).missed) == 1


@pytest.mark.parametrize(("late", "missed"), [(9.0, 0), (11.0, 1), (-11.0, 1)])
def test_a_start_that_shows_belongs_to_one_within_ten_seconds(late: float, missed: int) -> None:
    recorded = written(EVERYTHING, 60.0)
    result = score(recorded, [moved(recorded.truth[0], late)])
    assert (len(result.missed), len(result.wrong)) == (missed, missed)


def test_a_start_that_no_channel_shows_is_matched_by_overlap() -> None:
    recorded = written(("gas_valve", "flame_current"), 60.0)
    assert not score(recorded, [moved(recorded.truth[0], 20.0)]).missed
    assert score(recorded, [moved(recorded.truth[0], 300.0)]).missed


def moved(one: Attempt, by: float) -> Attempt:
    """The same, later. [s]"""
    spans = (replace(span, start=span.start + by, end=span.end + by) for span in one.phases)
    return replace(one, start=one.start + by, end=one.end + by, phases=tuple(spans))


@pytest.mark.parametrize("by", [0.25, -0.75, 2.0])
def test_boundary_errors_are_what_they_are(by: float) -> None:
    recorded = written(EVERYTHING, 60.0, 600.0, timing=Timing(prepurge=16.0))
    whole = totals([score(recorded, [moved(one, by) for one in recorded.truth])], "A")
    assert whole.median == pytest.approx(abs(by), abs=1e-6)
    assert whole.p95 == pytest.approx(abs(by), abs=1e-6)
    assert whole.covered == (abs(by) <= 1.0), "0.5 s was said, and twice that is covered"
    assert whole.spread == pytest.approx((by / 0.5) ** 2 / 0.4549, rel=1e-3)


def test_the_far_tail_is_seen_and_the_median_is_not_moved_by_it() -> None:
    recorded = written(EVERYTHING, *(60.0 + 600.0 * n for n in range(10)))
    whole = totals([score(recorded, [moved(recorded.truth[0], 8.0), *recorded.truth[1:]])], "A")
    assert whole.median == 0
    assert whole.p95 == pytest.approx(8.0, abs=1e-6)


def test_an_uncertainty_of_nothing_covers_nothing() -> None:
    recorded = written(EVERYTHING, 60.0)
    exact = replace(recorded.truth[0], end_u=0.0)
    sure = replace(exact, phases=tuple(replace(one, start_u=0.0) for one in moved(exact, 0.1).phases))
    whole = totals([score(recorded, [sure])], "A")
    assert whole.covered < 0.2
    assert np.isinf(whole.spread)


def test_honest_uncertainties_are_calibrated_and_narrow_ones_are_not() -> None:
    """Errors drawn normal with the uncertainty that is said: 95 % within twice that, and a square of one."""
    chance = random.Random(5)
    recorded = written(EVERYTHING, *(60.0 + 600.0 * n for n in range(60)))

    def shaken(said: float) -> list[Attempt]:
        found = []
        for one in recorded.truth:
            spans = [replace(span, start=span.start + chance.gauss(0, 0.5), start_u=said) for span in one.phases]
            found.append(replace(one, end=one.end + chance.gauss(0, 0.5), end_u=said, phases=tuple(spans)))
        return found

    honest, narrow = (totals([score(recorded, shaken(said))], "A") for said in (0.5, 0.2))
    assert honest.covered == pytest.approx(0.954, abs=0.03)
    assert honest.spread == pytest.approx(1.0, abs=0.25)
    assert narrow.covered < 0.7
    assert narrow.spread > 4


def test_missing_and_extra_phases_are_counted() -> None:
    recorded = written(EVERYTHING, 60.0)
    true = recorded.truth[0]
    without = replace(true, phases=tuple(span for span in true.phases if span.phase != "blower_on_delay"))
    assert [phase for _, phase in score(recorded, [without]).missing] == ["blower_on_delay"]
    renamed = tuple(replace(span, phase="run_high" if span.phase == "run_low" else span.phase) for span in true.phases)
    result = score(recorded, [replace(true, phases=renamed)])
    assert [phase for _, phase in result.missing] == ["run_low"]
    assert [phase for _, phase in result.extra] == ["run_high"]


def test_what_nothing_tells_is_not_demanded() -> None:
    """Without the igniter's amps and without the job's timings the warm-up begins somewhere; with them it is known."""
    untimed, timed = written(EVERYTHING, 60.0), written(EVERYTHING, 60.0, timing=Timing(prepurge=16.0))
    without = [replace(one, phases=one.spans("inducer_start", "prepurge", "run_low")) for one in untimed.truth]
    assert "igniter_warmup" not in [phase for _, phase in score(untimed, without).missing]
    assert "igniter_warmup" in [phase for _, phase in score(timed, without).missing]


@pytest.mark.parametrize(
    ("outcome", "points", "firm"),
    [
        ("heat", EVERYTHING, True),
        ("heat", ("flame_current",), False),
        ("heat", ("draft_collector",), False),
        ("heat", ("draft_collector", "flame_current", "blower_on"), True),
        ("call_ended", EVERYTHING, True),
        ("call_ended", ("draft_collector", "gas_valve"), False),
        ("call_ended", ("call_heat", "flame_current", "draft_collector"), True),  # it burned for four minutes
        ("draft_not_proved", ("draft_collector", "switch_closed", "call_heat"), True),
        ("draft_not_proved", ("draft_collector", "switch_closed"), False),  # nothing tries again
        ("draft_not_proved", ("draft_collector", "call_heat"), False),
        ("no_ignition", ("gas_valve", "flame_current"), True),
        ("no_ignition", ("switch_closed", "flame_current"), False),
        ("gas_off_unexplained", ("draft_collector", "gas_valve", "call_heat"), True),
        ("gas_off_unexplained", ("gas_valve", "call_heat"), False),
        ("no_blower", ("blower_on", "gas_valve"), True),
        ("no_blower", ("gas_valve", "draft_collector"), False),
        ("flame_lost", (*EVERYTHING, "flame_current"), True),
        ("flame_lost", ("gas_valve", "flame_current", "draft_collector"), False),
        ("flame_lost", ("flame_current", "draft_collector"), False),
        ("limit_open", EVERYTHING, False),  # its contact stays closed there
        ("draft_lost", EVERYTHING, False),
        ("no_start", ("draft_collector", "call_heat"), True),
        ("no_start", ("call_heat",), False),
    ],
)
def test_unknown_is_right_only_where_it_cannot_be_told(outcome: str, points: tuple[str, ...], firm: bool) -> None:
    recorded = written(points, 60.0, outcome=outcome)
    right = right_outcomes(recorded.truth[0], Evidence(recorded))
    assert outcome in right
    assert ("unknown" not in right) is firm


def test_another_outcome_is_wrong_whatever_is_measured() -> None:
    for points in (EVERYTHING, ("draft_collector",)):
        recorded = written(points, 60.0)
        for said in set(OUTCOMES) - {"heat", "unknown"}:
            result = score(recorded, [replace(recorded.truth[0], outcome=said)])
            assert [right for *_, right in result.outcomes] == [False], (points, said)


def test_an_opened_contact_makes_the_outcome_tellable() -> None:
    recorded = written(EVERYTHING, 60.0, outcome="limit_open")
    at = recorded.truth[0].deciding_time
    opened = [
        Series(one.channel, one.time, np.where((one.time > at) & (one.time < at + 100), 0.0, one.value))
        if one.channel.point == "limit_closed"
        else one
        for one in recorded.series
    ]
    assert "unknown" not in right_outcomes(recorded.truth[0], Evidence(replace(recorded, series=tuple(opened))))


ERRORS: dict[str, tuple[Callable[[Attempt], Attempt], Callable[[Sequence[Attempt]], Sequence[Attempt]]]] = {
    "late": (lambda one: moved(one, 4.0), lambda all_: all_),
    "unknown": (lambda one: replace(one, outcome="unknown"), lambda all_: all_),
    "every other": (lambda one: one, lambda all_: all_[::2]),
}


@pytest.mark.parametrize("name", ERRORS)
def test_errors_show_over_simulated_recordings(name: str) -> None:
    """On what the recognizer is scored with: each kind of mistake lowers the figure that is meant for it."""
    each, some = ERRORS[name]
    whole = totals(scores(bench(), lambda one: some([each(found) for found in one.truth])), "AB")
    if name == "late":
        assert whole.median == pytest.approx(4.0, abs=0.01)
        assert whole.recall == 1
    elif name == "unknown":
        assert whole.outcomes < 0.7
    else:
        assert whole.recall < 0.75
        assert whole.precision == 1


def test_the_table_names_every_group() -> None:
    rows = table(scores(bench(), lambda one: one.truth)).splitlines()
    assert [row.split()[0] for row in rows] == ["group", "A", "B", "AB"]


def test_vocabularies_of_the_simulator_are_those_of_the_recognizer() -> None:
    for one in bench():
        for true in one.truth:
            assert true.outcome in OUTCOMES
            assert {span.phase for span in true.phases} <= set(PHASES)
