"""The sequence of a call that runs: what is told of it, of its attempts, and what a defect leaves."""

from dataclasses import replace
from functools import partial

import pytest

from analysis.model import NANOSECONDS, Plate, Quality, Timing
from analysis.sequence.attempts import Attempt, Progress
from collector.attempt_rows import KEPT, AttemptsTold, attempt_row
from collector.sequence import LiveSequence, Told
from collector.sequence_words import OUTCOME_WORDS
from collector.stop_signs import FRESH
from tests.collector.scripted import Scripted, attempts_of

BEGAN = 1_768_372_280.0
TIMING = Timing(prepurge=16.0)


class Unit:
    """A call whose sequence is known; a contact is read when a test says so."""

    def __init__(self, name: str) -> None:
        self.script = attempts_of(name, BEGAN)
        self.failures: list[str] = []
        self.made: list[Scripted] = []
        self.sequence = LiveSequence(TIMING, recognizer=self._make, failed=self.failures.append)

    def _make(self, timing: Timing | None, plate: Plate) -> Scripted:
        self.made.append(Scripted(self.script, timing, plate))
        return self.made[-1]

    def at(self, seconds: float, point: str = "volts_control", value: float = 25.0) -> Told | None:
        """What is told so long after the beginning, when this was read."""
        time = round((BEGAN + seconds) * NANOSECONDS)
        self.sequence.step(f"{point}@meter", point, time, value, Quality.GOOD)
        return self.sequence.told(time)


def test_a_phase_is_told_with_its_try_its_times_and_what_comes_next():
    unit = Unit("igniter_aged")
    first, second = unit.script[:2]
    (purge,) = first.spans("prepurge")
    told = unit.at(purge.start + 5 - BEGAN)
    assert told == Told(
        "prepurge",
        "prepurge: pressure switch closed, gas off",
        round(purge.start * NANOSECONDS),
        16.0,
        "igniter",
        trials=3,
        attempt=1,
        call=1,
    )
    (trial,) = second.spans("ignition_trial")
    unit.at(trial.start - 1 - BEGAN)
    told = unit.at(trial.start + 0.5 - BEGAN)
    assert told is not None
    assert (told.trial, told.trials, told.attempt, told.settled) == (2, 3, 2, False)
    told = unit.at(first.deciding_time - BEGAN)
    assert told is not None
    unit = Unit("igniter_aged")
    told = unit.at(first.deciding_time + 0.1 - BEGAN)
    assert told is not None
    assert (told.outcome, told.outcome_text) == ("no_ignition", "gas valve on, no flame proved")
    assert told.deciding_time == round(first.deciding_time * NANOSECONDS)


def test_without_an_attempt_the_contacts_say_that_it_rests():
    unit = Unit("igniter_aged")
    assert unit.at(1) is None, "no contact is known"
    unit.at(2, "gas_valve", 0.0)
    told = unit.at(3)
    assert told is not None
    assert (told.phase, told.text) == ("gas_off", "gas off, the call is not measured")
    unit.at(4, "call_heat", 0.0)
    told = unit.at(9)
    assert told is not None
    assert (told.phase, told.text, told.next) == ("rest", "no call for heat", "a call for heat")
    assert told.since == round((BEGAN + 4) * NANOSECONDS)


def test_gas_that_is_on_is_never_told_as_rest():
    """Whatever the recognizer knows: no call, no attempt, and gas."""
    unit = Unit("igniter_aged")
    unit.at(1, "call_heat", 0.0)
    unit.at(1, "switch_closed", 1.0)
    assert unit.at(2, "gas_valve", 1.0) is None
    now = round((BEGAN + 6) * NANOSECONDS)
    assert [sign.name for sign in unit.sequence.warnings(now)] == ["gas_without_call"]


def test_a_flame_that_is_not_measured_is_said():
    unit = Unit("igniter_aged")
    run = unit.script[1].spans("run_high")[0]
    unit.at(run.start + 2 - BEGAN, "gas_valve", 1.0)
    told = unit.at(run.start + 3 - BEGAN)
    assert told is not None
    assert told.text == "firing, high stage (flame not measured)"
    told = unit.at(run.start + 4 - BEGAN, "flame_current", 3e-6)
    assert told is not None
    assert told.text == "firing, high stage"


def test_silent_meters_say_nothing_of_the_present():
    unit = Unit("igniter_aged")
    assert unit.at(20) is not None
    assert unit.sequence.told(round((BEGAN + 20 + FRESH - 1) * NANOSECONDS)) is not None
    assert unit.sequence.told(round((BEGAN + 20 + FRESH + 1) * NANOSECONDS)) is None
    assert unit.at(60) is not None


def test_a_decided_roll_out_stands_above_until_the_next_attempt():
    unit = Unit("igniter_aged")
    first, second = unit.script[:2]
    unit.script = (replace(first, outcome="rollout_open", end=first.deciding_time + 5), second)
    unit.sequence.begin_anew()
    for now in (first.deciding_time + 1, first.deciding_time + 8):  # also when the attempt is over
        unit.at(now - BEGAN)
        (sign,) = unit.sequence.warnings(round(now * NANOSECONDS))
        assert sign.stop
        assert sign.text == OUTCOME_WORDS["rollout_open"].stop
    unit.at(now - BEGAN, "rollout_closed", 0.0)
    assert len(unit.sequence.warnings(round(now * NANOSECONDS))) == 1, "said once"
    unit.at(second.start + 1 - BEGAN, "rollout_closed", 1.0)
    assert unit.sequence.warnings(round((second.start + 1) * NANOSECONDS)) == ()


def test_attempts_are_told_whole_to_who_comes_late_and_else_only_what_changed():
    unit = Unit("igniter_aged")
    told = unit.sequence.attempts()
    empty = told.since(0)
    assert empty is not None
    assert (empty["whole"], empty["attempts"]) == (True, [])
    version = told.version
    unit.at(13)
    news = unit.sequence.attempts().since(version)
    assert news is not None
    assert not news["whole"]
    (row,) = news["attempts"]
    assert (row["number"], row["end"], row["outcome"], row["outcome_text"]) == (1, None, "", "under way")
    assert row["start"] == round(unit.script[0].start * 1000)
    assert row["phases"] == [{"phase": "inducer_start", "text": "inducer start", "start": row["start"], "end": None}]
    version = told.version
    unit.at(14)
    assert unit.sequence.attempts().since(version) is None, "time that passes is no news"
    unit.at(500)
    version = unit.sequence.attempts().version
    unit.at(501)
    unit.at(700)
    news = unit.sequence.attempts().since(version)
    assert news is not None
    assert [row["number"] for row in news["attempts"]] == [4], "those that are over are not told again"
    late = told.since(0)
    assert late is not None
    assert [(row["number"], row["outcome"]) for row in late["attempts"]] == [
        (1, "no_ignition"),
        (2, "heat"),
        (3, "no_ignition"),
        (4, "heat"),
    ]
    assert late["attempts"][0]["deciding_time"] == round(unit.script[0].deciding_time * 1000)


def test_of_many_attempts_the_newest_are_told_and_each_once():
    (first, *_) = attempts_of("igniter_aged", BEGAN)
    rows = [attempt_row(replace(first, number=number)) for number in range(1, KEPT + 51)]
    told = AttemptsTold()
    told.use(rows[:-1])
    version = told.version
    told.use(rows)
    news = told.since(version)
    assert news is not None
    assert (news["whole"], news["first"]) == (False, 51)
    assert [row["number"] for row in news["attempts"]] == [KEPT + 50]
    told.use(rows[:-3])
    news = told.since(told.version - 1)
    assert news is not None
    assert news["whole"], "some were revised away"
    assert news["attempts"][-1]["number"] == KEPT + 47


def test_a_replay_that_was_moved_begins_anew_and_counts_no_hole():
    unit = Unit("igniter_aged")
    unit.at(90)
    version = unit.sequence.attempts().version
    unit.sequence.begin_anew()
    assert unit.sequence.told(round((BEGAN + 90) * NANOSECONDS)) is None
    told = unit.at(200)
    assert told is not None
    assert len(unit.made) == 2
    assert [time - BEGAN for _, time, _ in unit.made[1].stepped] == [200], "nothing of before"
    news = unit.sequence.attempts().since(version)
    assert news is not None
    assert news["whole"]
    unit.at(100)
    assert len(unit.made) == 3, "a meter whose own time went back was moved"


def test_what_is_dated_back_by_hand_or_late_is_no_present():
    unit = Unit("igniter_aged")
    unit.at(100)
    unit.at(20, "flame_current", 3e-6)
    unit.at(99.5, "call_heat", 1.0)
    unit.at(100.2, "gas_valve", 0.0)
    unit.at(101, "room_co", 0.0)
    for seconds in (102, 60):  # the entry before one that was withdrawn
        time = round((BEGAN + seconds) * NANOSECONDS)
        unit.sequence.step("flame_current@by hand: meter", "flame_current", time, 3e-6, Quality.GOOD)
    assert [(point, round(time - BEGAN, 3)) for point, time, _ in unit.made[0].stepped] == [
        ("volts_control", 100),
        ("call_heat", 100),
        ("gas_valve", 100.2),
        ("flame_current", 102),
    ]
    assert len(unit.made) == 1


def test_another_job_keeps_the_attempts_that_are_over():
    unit = Unit("igniter_aged")
    unit.at(90)
    unit.sequence.use(TIMING, Plate())
    assert len(unit.made) == 1, "the same again"
    unit.script = tuple(replace(one, number=one.number - 1) for one in unit.script[1:])
    unit.sequence.use(Timing(trials=5), Plate())
    told = unit.at(95)
    assert told is not None
    assert (told.trials, told.attempt, told.call) == (5, 2, 2)
    message = unit.sequence.attempts().since(0)
    assert message is not None
    assert [(row["number"], row["outcome"]) for row in message["attempts"]] == [(1, "no_ignition"), (2, "")]


def test_how_many_trials_there_are_is_told_only_where_the_file_says_it():
    unit = Unit("igniter_aged")
    unit.sequence = LiveSequence(None, recognizer=unit._make)
    second = unit.script[1].spans("ignition_trial")[0]
    unit.at(second.start - 1 - BEGAN)
    told = unit.at(second.start + 0.5 - BEGAN)
    assert told is not None
    assert (told.trial, told.trials) == (2, 0)
    assert unit.made[-1].given is None, "the recognizer is told of no timing"


def test_the_same_job_again_begins_nothing_anew_also_where_it_leaves_timings_open():
    unit = Unit("igniter_aged")
    for _ in range(2):
        unit.sequence.use(Timing(prepurge=15.0, post_purge=float("nan")), Plate())
    assert len(unit.made) == 2


class Broken:
    """A recognizer with a defect."""

    def __init__(self, at: str) -> None:
        self.at = at

    def step(self, point: str, time: float, value: float, quality: Quality) -> Progress:
        """Take a reading."""
        return self._answer("step")

    def look(self, now: float) -> Progress:
        """Where it stands."""
        return self._answer("look")

    def forget(self, point: str) -> None:
        """Nothing measures a point any more."""
        self._answer("forget")

    @property
    def attempts(self) -> tuple[Attempt, ...]:
        """What was found."""
        self._answer("attempts")
        return ()

    def _answer(self, what: str) -> Progress:
        if what == self.at:
            raise ZeroDivisionError("division by zero")
        return Progress("prepurge", BEGAN)


@pytest.mark.parametrize("at", ["step", "look", "forget", "attempts"])
def test_a_defect_of_the_recognizer_is_told_once_and_ends_no_instrument_and_no_stop(at: str):
    failures: list[str] = []
    sequence = LiveSequence(recognizer=lambda timing, plate: Broken(at), failed=failures.append)
    for second in range(10):
        time = round((BEGAN + second) * NANOSECONDS)
        sequence.step("gas_valve@logger", "gas_valve", time, 0.0, Quality.GOOD)
        sequence.step("flame_current@meter", "flame_current", time, 3e-6, Quality.GOOD)
        sequence.told(time)
        sequence.forget("volts_control")
        sequence.attempts()
    assert failures == [
        "the ignition sequence is not followed any more (ZeroDivisionError: division by zero); "
        "readings and alarms go on, report it"
    ]
    assert [sign.name for sign in sequence.warnings(time)] == ["flame_without_gas"]


def test_the_stand_in_has_what_a_recognizer_has():
    """So that a test with it is a test of the seam."""
    made = partial(Scripted, attempts_of("igniter_aged", BEGAN))
    assert LiveSequence(recognizer=made).told(0) is None
