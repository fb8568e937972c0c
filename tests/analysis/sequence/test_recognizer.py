"""The recognizer while readings come: small courses word for word, and what is settled never changes."""

import math
import time as clocks
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise

import numpy as np
import pytest

from analysis.model import Plate, Quality, Timing
from analysis.sequence.attempts import Attempt, Progress
from analysis.sequence.courses import KEPT as CHANGES
from analysis.sequence.following import Standing
from analysis.sequence.readings import MOST, Readings
from analysis.sequence.recognizer import Recognizer
from tests.sequence.recordings import EPOCH, recording

Reading = tuple[str, float, float]
Steps = Mapping[str, Iterable[tuple[float, float]]]

THREE = 3.0
"""Nothing is settled that is younger. [s]"""
CONTACTS: Steps = {
    "call_heat": [(0, 0), (10, 1), (300, 0)],
    "switch_closed": [(0, 0), (14, 1), (315, 0)],
    "gas_valve": [(0, 0), (46, 1), (300, 0)],
    "blower_on": [(0, 0), (76, 1), (435, 0)],
    "limit_closed": [(0, 1)],
}
"""One call that heats, with the usual timings."""
FAILS: Steps = {
    "call_heat": [(0, 0), (10, 1)],
    "switch_closed": [(0, 0), (14, 1), (75, 0), (80, 1), (141, 0), (146, 1), (207, 0)],
    "gas_valve": [(0, 0), (46, 1), (51, 0), (112, 1), (117, 0), (178, 1), (183, 0)],
    "flame_current": [(0, 0.0)],
    "amps_igniter": [(0, 0), (29, 3), (51, 0), (95, 3), (117, 0), (161, 3), (183, 0)],
    "limit_closed": [(0, 1)],
}
"""Three trials without a flame."""


def polled(steps: Steps, seconds: float, every: float = 0.5, begin: float = 0.0) -> Iterator[Reading]:
    """What one reads of the steps; the channels one after the other."""
    for turn in range(round(seconds / every)):
        for number, (point, course) in enumerate(steps.items()):
            at = turn * every
            value = [level for when, level in course if when <= at][-1]
            yield point, EPOCH + begin + at + 0.001 * number, value


def fed(recognizer: Recognizer, readings: Iterable[Reading]) -> list[tuple[float, Progress]]:
    """What was said at each reading, without repetitions."""
    said: list[tuple[float, Progress]] = []
    for point, time, value in readings:
        progress = recognizer.step(point, time, value, Quality.GOOD)
        if not said or said[-1][1] is not progress:
            said.append((time - EPOCH, progress))
    return said


def phases(one: Attempt) -> list[tuple[str, int]]:
    return [(span.phase, round(span.start - EPOCH)) for span in one.phases]


def test_contacts_alone() -> None:
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    fed(recognizer, polled(CONTACTS, 465.0))
    (one,) = recognizer.attempts
    assert one.outcome == "heat"
    assert round(one.deciding_time - EPOCH) == 300
    starts = dict(phases(one))
    assert (starts["prepurge"], starts["ignition_trial"], starts["post_purge"]) == (14, 46, 300)
    assert starts["igniter_warmup"] == pytest.approx(29, abs=2)
    assert starts["run_high"] == 76
    assert one.end - EPOCH == pytest.approx(435, abs=1)


def test_what_is_said_while_it_goes_on() -> None:
    turning = {"amps_inducer": [(0, 0.0), (11, 1.5), (315, 0.0)]}
    said = fed(Recognizer(Timing(), Plate(input=(20e3,))), polled({**CONTACTS, **turning}, 465.0))
    shown = [(at, progress) for at, progress in said if progress.attempt]
    assert shown[0][1].phase == "inducer_start"
    assert shown[0][0] == pytest.approx(11, abs=3)
    running = next(progress for at, progress in shown if progress.phase == "run_high" and at > 100.0)
    assert running == Progress("run_high", running.since, None, 1, 1, 1, "", 0.0, settled=True)
    assert running.since - EPOCH == pytest.approx(76, abs=0.5)
    over = next(progress for at, progress in shown if at > 312.0)
    assert (over.phase, over.outcome, over.settled, over.attempt) == ("post_purge", "heat", True, 1)
    assert over.expected == Timing().post_purge
    assert over.deciding_time - EPOCH == pytest.approx(300, abs=0.5)
    assert (said[-1][1].attempt, said[-1][1].phase) == (0, "standby")


def test_trials_are_counted_in_their_call() -> None:
    recognizer = Recognizer(Timing())
    said = fed(recognizer, polled(FAILS, 300.0))
    assert [one.outcome for one in recognizer.attempts] == ["no_ignition"] * 3
    assert {one.call for one in recognizer.attempts} == {1}
    trials = [progress.trial for _, progress in said if progress.phase == "ignition_trial"]
    assert sorted(set(trials)) == [1, 2, 3]
    assert said[-1][1].phase == "lockout"
    assert said[-1][1].expected is None


def draft(seconds: float, every: float = 0.5) -> Iterator[Reading]:
    """Draft alone: two runs of the inducer."""
    generator = np.random.default_rng(3)
    level = 0.0
    for turn in range(round(seconds / every)):
        at = turn * every
        on = 30.0 <= at < 400.0 or 700.0 <= at < 1000.0
        level += ((240.0 if on else 0.0) - level) * (1.0 - math.exp(-every / 2.0))
        yield "draft_collector", EPOCH + at, -level + float(generator.normal(0.0, 1.0))


def test_draft_alone_tells_starts_and_leaves_the_rest_probable() -> None:
    recognizer = Recognizer()
    said = fed(recognizer, draft(1100.0))
    assert [round(one.start - EPOCH) for one in recognizer.attempts] == pytest.approx([30, 700], abs=1)
    purging = [progress for time, progress in said if 40.0 < time < 60.0]
    assert not any(progress.settled for progress in purging), "nothing tells how far it is"


@pytest.mark.parametrize(("seed", "point"), [(229, "draft_burner_box"), (283, "draft_transition")])
def test_no_rest_is_heard_where_a_part_of_the_readings_begins(seed: int, point: str) -> None:
    """Courses are made anew over the newest readings; half a minute after each change these begin in its middle."""
    recorded, recognizer = recording(seed), Recognizer()
    said = set[int]()
    for own, time, value, quality in recorded.readings():
        if time > recorded.start + 95.0:
            break
        recognizer.step(own, time, value, quality)
        if time > recorded.start + 40.0 and own == point:
            course = recognizer._hearings[point]._said
            said |= {round(float(at) - EPOCH) for at in course.time[course.changes].tolist()}
    assert min(said) == 12
    assert not any(35 < at < 60 for at in said)


@pytest.mark.parametrize("what", ["Hearing.again", "Following.anew"])
def test_nothing_is_settled_that_does_not_stand_a_second_look(monkeypatch: pytest.MonkeyPatch, what: str) -> None:
    """Channels that say something else with their newest levels; and all that is remembered, that has no attempt."""
    name, method = what.split(".")
    answer = True if method == "again" else Standing()
    monkeypatch.setattr(f"analysis.sequence.{name.lower()}.{name}.{method}", lambda *_: answer)
    turning = {"amps_inducer": [(0, 0.0), (11, 1.5), (315, 0.0)]}
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    said = fed(recognizer, polled({**CONTACTS, **turning}, 465.0))
    assert [one.outcome for one in recognizer.attempts] == ["heat"]
    assert recognizer.settled == 0
    assert not any(progress.settled for _, progress in said if progress.outcome)


def watched(recognizer: Recognizer, readings: Iterable[Reading]) -> tuple[dict[object, object], int]:
    """Feed readings and hold every word that was called settled against all that follow."""
    stands: dict[object, object] = {}
    early = 0

    def hold(key: object, value: object) -> None:
        assert stands.setdefault(key, value) == value, key

    for count, (point, time, value) in enumerate(readings):
        progress = recognizer.step(point, time, value, Quality.GOOD)
        if progress.settled:
            hold(("phase", progress.attempt, progress.since), progress.phase)
            early += time - progress.since < THREE
            if progress.outcome and progress.attempt:
                hold(("outcome", progress.attempt), progress.outcome)
                early += time - progress.deciding_time < THREE
        if count % 50 == 0:
            for one in recognizer.attempts:
                if one.number <= recognizer.settled:
                    hold(("outcome", one.number), one.outcome)
                    hold(("attempt", one.number), one)
    over = [one for one in recognizer.attempts if one.number <= recognizer.settled]
    assert all(before.end <= after.start + 1e-6 < after.end for before, after in pairwise(over))
    return stands, early


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_what_is_settled_never_changes_and_is_three_seconds_old(seed: int | None) -> None:
    readings = list(polled(FAILS, 300.0))
    if seed is not None:
        generator = np.random.default_rng(seed)
        kept = generator.random(len(readings)) > 0.1
        turned = generator.random(len(readings)) < 0.01
        readings = [
            (point, time, 1.0 - value if turn and value in (0.0, 1.0) else value)
            for (point, time, value), keep, turn in zip(readings, kept, turned, strict=True)
            if keep
        ]
    recognizer = Recognizer(Timing())
    stands, early = watched(recognizer, [*readings, *polled(CONTACTS, 465.0, begin=400.0)])
    assert early == 0
    assert len(stands) > 6


@pytest.mark.parametrize(("margin", "soon"), [(1.0, 5.0), (None, 12.0)])
def test_contacts_settle_soon_and_no_sooner_than_three_seconds(
    monkeypatch: pytest.MonkeyPatch, margin: float | None, soon: float
) -> None:
    if margin is not None:  # age alone holds it back
        monkeypatch.setattr("analysis.sequence.recognizer.MARGIN", margin)
    turning = {"amps_inducer": [(0, 0.0), (11, 1.5), (315, 0.0)]}
    said = fed(Recognizer(Timing(), Plate(input=(20e3,))), polled({**CONTACTS, **turning}, 330.0))
    ages: dict[str, float] = {}
    for at, progress in said:
        if progress.settled and progress.phase in ("run_high", "post_purge"):
            ages.setdefault(progress.phase, at - (progress.since - EPOCH))
    assert len(ages) == 2
    assert all(THREE <= age < soon for age in ages.values()), ages


def test_a_phase_that_is_settled_stays_whatever_comes_after() -> None:
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    said = fed(recognizer, polled(CONTACTS, 110.0))
    assert (said[-1][1].phase, said[-1][1].settled) == ("run_high", True)
    for point in CONTACTS:
        recognizer.forget(point)
    recognizer._hearings.clear()  # so that nothing speaks for it any more
    fed(recognizer, polled({"gas_valve": [(0, 0)], "switch_closed": [(0, 0)]}, 60.0, begin=110.0))
    (one,) = recognizer.attempts
    assert ("run_high", 76) in phases(one)


def test_a_look_does_not_move_time() -> None:
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    for point, time, value in polled(CONTACTS, 465.0):
        recognizer.step(point, time, value, Quality.GOOD)
        if point == "limit_closed":
            recognizer.look(time + 1.5)
    assert [one.outcome for one in recognizer.attempts] == ["heat"]


def test_an_open_phase_goes_on_when_nothing_is_read() -> None:
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    fed(recognizer, polled(CONTACTS, 200.0))
    before = recognizer.look(EPOCH + 202.0)
    after = recognizer.look(EPOCH + 230.0)
    assert (before.phase, before.since) == (after.phase, after.since)
    assert before.phase == "run_high"


def test_a_time_that_goes_back_begins_anew_and_a_little_disorder_does_not() -> None:
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    readings = list(polled(CONTACTS, 465.0))
    late = np.random.default_rng(1).uniform(0.0, 1.9, len(readings))
    order = np.argsort([time + late[place] for place, (_, time, _) in enumerate(readings)])
    fed(recognizer, [readings[place] for place in order])
    assert [one.outcome for one in recognizer.attempts] == ["heat"]
    recognizer.step("call_heat", EPOCH + 100.0, 0.0, Quality.GOOD)
    assert not recognizer.attempts
    fed(recognizer, polled(CONTACTS, 465.0, begin=101.0))
    assert [one.number for one in recognizer.attempts] == [1]


def test_bad_readings_and_points_that_tell_nothing_are_left_alone() -> None:
    recognizer = Recognizer()
    for turn in range(100):
        time = EPOCH + turn
        assert recognizer.step("temp_outdoor", time, 5.0, Quality.GOOD) == Progress()
        assert recognizer.step("gas_valve", time, 1.0, Quality.BAD) == Progress()
        assert recognizer.step("gas_valve", time, math.nan, Quality.GOOD) == Progress()
        assert recognizer.step("draft_switch", time, math.inf, Quality.GOOD) == Progress()


def test_a_gap_leaves_what_was_before_and_what_comes_after() -> None:
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    fed(recognizer, polled(CONTACTS, 465.0))
    fed(recognizer, polled(CONTACTS, 465.0, begin=9000.0))
    assert [(one.number, one.outcome) for one in recognizer.attempts] == [(1, "heat"), (2, "heat")]
    assert recognizer.attempts[0].call < recognizer.attempts[1].call


def test_a_forgotten_point_tells_nothing_more() -> None:
    recognizer = Recognizer(Timing(), Plate(input=(20e3,)))
    fed(recognizer, polled(CONTACTS, 290.0))
    recognizer.forget("gas_valve")
    without = {point: course for point, course in CONTACTS.items() if point != "gas_valve"}
    readings = [one for one in polled(without, 465.0) if one[1] > EPOCH + 290.0]
    fed(recognizer, readings)
    assert [one.outcome for one in recognizer.attempts] == ["heat"]
    assert recognizer.attempts[0].deciding_time - EPOCH == pytest.approx(300, abs=2)


def test_attempts_are_bounded_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analysis.sequence.recognizer.KEPT", 5)
    recognizer = Recognizer(Timing(prepurge=2.0, igniter_warmup=3.0, post_purge=2.0, blower_off_delay=20.0))
    short: Steps = {
        "call_heat": [(0, 0), (5, 1), (40, 0)],
        "switch_closed": [(0, 0), (8, 1), (42, 0)],
        "gas_valve": [(0, 0), (14, 1), (40, 0)],
    }
    for turn in range(15):
        fed(recognizer, polled(short, 60.0, every=2.0, begin=60.0 * turn))
    numbers = [one.number for one in recognizer.attempts]
    assert len(numbers) == 5
    assert all(after == before + 1 for before, after in pairwise(numbers))
    assert numbers[-1] >= 14
    assert recognizer.dropped >= 8


def test_a_chattering_contact_is_bounded_and_costs_no_more_in_the_end() -> None:
    recognizer = Recognizer()
    spent = []
    for turn in range(3):
        began = clocks.process_time()
        for step in range(800):
            time = EPOCH + 160.0 * turn + 0.2 * step
            recognizer.step("switch_closed", time, float(step % 2), Quality.GOOD)
            recognizer.step("gas_valve", time + 0.01, 0.0, Quality.GOOD)
        spent.append(clocks.process_time() - began)
    assert spent[-1] < 3.0 * spent[1]
    assert recognizer.dropped > 0
    assert all(before.end <= after.start + 1e-6 for before, after in pairwise(recognizer.attempts)), "none twice"
    hearing = recognizer._hearings["switch_closed"]
    assert hearing.voices(time)[0].course.time.size <= CHANGES


def test_readings_are_bounded_counted_and_in_order() -> None:
    readings = Readings()
    generator = np.random.default_rng(0)
    for number in range(MOST + 500):
        readings.add(number + float(generator.uniform(0.0, 3.0)), 1.0)
        if number % 7 == 0:
            readings.take()
    readings.take()
    assert readings.time.size == MOST
    assert readings.dropped == 500
    assert (np.diff(readings.time) > 0).all()
    readings.add(float(readings.time[-1]), 9.0)
    readings.take()
    assert readings.value[-1] == 1.0, "of two of one time the first stays"


@pytest.mark.parametrize("seed", [34, 88])
def test_simulated_recordings_are_settled_as_they_were_announced(seed: int) -> None:
    recorded = recording(seed)
    recognizer = Recognizer(recorded.timing, recorded.plate)
    readings = ((point, time, value) for point, time, value, _ in recorded.readings())
    stands, early = watched(recognizer, readings)
    assert early == 0
    assert recognizer.settled > 0
    assert ("attempt", recognizer.settled) in stands
