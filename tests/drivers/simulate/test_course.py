"""Courses of causes: since when, growing while it burns, there now and then; set and mended by hand."""

import numpy as np
import pytest

from analysis.diagnosis.causes import CAUSES
from drivers.base import InputError
from drivers.simulate.causes import Cause
from drivers.simulate.course import AWAY, GROWING, MOST_CAUSES, RECOVERING, RESETS, THERE, Courses
from drivers.simulate.plant import Plant
from tests.drivers.simulate.plant_bench import typical

STEP = 0.5


def followed(courses: Courses, cause: str, seconds: float, *, burning: bool, start: float = 0.0) -> list[float]:
    """Severity after each half second."""
    found = []
    for count in range(1, round(seconds / STEP) + 1):
        courses.step(start + count * STEP, STEP, burning=burning)
        found.append(courses.severities.get(cause, 0.0))
    return found


def test_constant_is_all_there_from_its_onset() -> None:
    courses = Courses([Cause("vent_blocked", 0.4, onset=30.0)], 1)
    found = followed(courses, "vent_blocked", 60.0, burning=False)
    assert set(found[:59]) == {0.0}
    assert set(found[59:]) == {0.4}


def test_growing_grows_with_flame_and_recovers_at_rest() -> None:
    courses = Courses([Cause("drain_blocked", 0.8, course="growing")], 1)
    assert set(followed(courses, "drain_blocked", 100.0, burning=False)) == {0.0}
    grown = followed(courses, "drain_blocked", GROWING, burning=True, start=100.0)
    assert np.all(np.diff(grown) > 0)
    assert grown[len(grown) // 2 - 1] == pytest.approx(0.4, rel=1e-6)
    assert grown[-1] == pytest.approx(0.8)
    assert set(followed(courses, "drain_blocked", 50.0, burning=True, start=700.0)) == {0.8}
    rested = followed(courses, "drain_blocked", RECOVERING, burning=False, start=750.0)
    assert np.all(np.diff(rested) <= 0)
    assert rested[len(rested) // 2 - 1] == pytest.approx(0.4, rel=1e-3)
    assert rested[-1] == pytest.approx(0.0, abs=1e-9)


def test_intermittent_is_there_and_away() -> None:
    """Mean lengths as they are set, within what chance allows over a long time."""
    courses = Courses([Cause("switch_faulty", 0.7, onset=20.0, course="intermittent")], 5)
    found = np.array(followed(courses, "switch_faulty", 200_000.0, burning=False))
    assert set(found.tolist()) == {0.0, 0.7}
    assert not found[:39].any()
    turns = np.flatnonzero(np.diff(found))
    spans = np.diff(turns) * STEP
    there = found[turns[:-1] + 1] > 0
    assert there.sum() > 300
    assert np.mean(spans[there]) == pytest.approx(THERE, rel=0.2)
    assert np.mean(spans[~there]) == pytest.approx(AWAY, rel=0.2)


def test_other_seeds_come_at_other_times_and_causes_apart() -> None:
    causes = [Cause("switch_faulty", 0.7, course="intermittent"), Cause("no_call", 0.7, course="intermittent")]
    runs = []
    for seed in (1, 1, 2):
        courses, found = Courses(causes, seed), list[tuple[float, ...]]()
        for count in range(1, 8000):
            courses.step(count * STEP, STEP, burning=False)
            found.append((courses.severities["switch_faulty"], courses.severities["no_call"]))
        runs.append(found)
    assert runs[0] == runs[1] != runs[2]
    first, second = zip(*runs[0], strict=True)
    assert first != second


def test_begin_and_end_are_remembered() -> None:
    courses = Courses([Cause("vent_blocked", 0.4)], 1)
    courses.step(10.0, STEP, burning=True)
    courses.end("vent_blocked", 10.0)
    assert courses.step(10.5, STEP, burning=True), "a change that is to be acted on"
    assert courses.severities == {}
    courses.begin(Cause("vent_blocked", 0.9, 20.0))
    followed(courses, "vent_blocked", 15.0, burning=False, start=10.5)
    assert courses.severities == {"vent_blocked": 0.9}
    assert [(one.severity, one.onset, one.until) for one in courses.causes] == [
        (0.4, 0.0, 10.0),
        (0.9, 20.0, float("inf")),
    ]


def test_what_cannot_be_mended_or_set_is_said_in_one_sentence() -> None:
    courses = Courses([Cause("vent_blocked", 0.4)], 1)
    with pytest.raises(InputError, match="no_call cannot be repaired: it is not set") as caught:
        courses.end("no_call", 5.0)
    assert "vent_blocked" in str(caught.value)
    for _ in range(MOST_CAUSES - 1):
        courses.begin(Cause("other", 0.1))
    with pytest.raises(InputError, match="100 causes were set"):
        courses.begin(Cause("other", 0.1))
    assert len(courses.causes) == MOST_CAUSES


@pytest.mark.parametrize(
    ("words", "values"),
    [
        ("unknown cause 'vent_blockd'", ("vent_blockd", 0.5)),
        ("severity 1.2 of no_call is outside 0 to 1", ("no_call", 1.2)),
        ("severity -0.1 of no_call", ("no_call", -0.1)),
        ("severity nan of no_call", ("no_call", float("nan"))),
        ("onset -1 s of no_call is before the beginning", ("no_call", 0.5, -1.0)),
        ("unknown course 'sudden' of no_call", ("no_call", 0.5, 0.0, "sudden")),
    ],
)
def test_a_cause_that_makes_no_sense_is_one_sentence(words: str, values: tuple[object, ...]) -> None:
    with pytest.raises(InputError) as caught:
        Cause(*values)  # type: ignore[arg-type]
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("share", [0.25, 0.5, 0.8])
def test_a_call_is_missing_for_its_share(share: float) -> None:
    courses = Courses([Cause("no_call", share)], 3)
    missing = []
    for count in range(1, 120_000):
        courses.step(count * STEP, STEP, burning=False)
        missing.append(courses.call_missing(share))
    assert np.mean(missing) == pytest.approx(share, abs=0.05)
    assert courses.call_missing(0.0) == 0
    assert courses.call_missing(1.0) == 1


def test_a_bad_board_restarts_at_its_rate_and_is_dead_beyond() -> None:
    courses = Courses([], 3)
    assert courses.dead_outputs(0.5) == frozenset()
    assert sum(courses.resets(STEP) for _ in range(100_000)) == pytest.approx(100_000 * STEP * 0.5 * RESETS, rel=0.15)
    (dead,) = courses.dead_outputs(0.6)
    assert dead in ("inducer", "igniter", "blower")
    assert not any(courses.resets(STEP) for _ in range(1000))
    assert {next(iter(Courses([], seed).dead_outputs(1.0))) for seed in range(20)} == {"inducer", "igniter", "blower"}


def test_a_plant_follows_a_course_and_is_changed_by_hand() -> None:
    """Inject and repair act at once, are events, and stand in the truth."""
    plant = Plant(typical(), [Cause("intake_blocked", 0.3, onset=40.0)], seed=1, calls=((1.0, 1e5, 1),))
    before = plant.advance(39.0).values["draft_burner_box"][-1]
    assert plant.advance(3.0).values["draft_burner_box"][-1] < 1.5 * before < 0
    plant.inject("flame_sensor_weak", 0.5)
    block = plant.advance(40.0)
    assert 1e-6 < block.values["flame_current"][-1] < 2.2e-6
    plant.repair("intake_blocked")
    plant.repair("flame_sensor_weak")
    block = plant.advance(60.0)
    assert block.values["flame_current"][-1] > 2.5e-6
    assert [(one.cause, one.until < 1e9) for one in plant.causes] == [
        ("intake_blocked", True),
        ("flame_sensor_weak", True),
    ]
    texts = [text for _, text in plant.events]
    assert "flame_sensor_weak set to severity 0.5" in texts
    assert "intake_blocked repaired" in texts
    with pytest.raises(InputError, match="not set"):
        plant.repair("intake_blocked")
    with pytest.raises(InputError, match="unknown cause"):
        plant.inject("gremlins", 0.5)


def test_mended_plants_are_as_good_as_new() -> None:
    """Every cause set in full and mended again leaves all knobs as they were."""
    plant = Plant(typical(), seed=1, calls=())
    parts = plant.parts
    plant.advance(1.0)

    def turned() -> tuple[float, ...]:
        draft, gas, fire, air = parts.draft, parts.gas, parts.fire, parts.air
        return (
            *(draft.intake_factor, draft.vent_factor, draft.speed_factor, draft.exchanger_hole, parts.false_air),
            *(gas.manifold_factor, gas.supply_factor, fire.rod_factor, fire.igniter_factor, air.filter_factor),
            *(parts.switch.contact_open, parts.limit.limit_open, parts.electric.power, parts.call_lost, parts.board),
            *(plant.inputs.door, plant.inputs.float_ok, plant.thermostat.no_call, len(plant.control.dead)),
        )

    sound = turned()
    for cause in CAUSES[1:]:
        plant.inject(cause, 1.0)
        plant.advance(1.0)
        plant.repair(cause)
        plant.advance(1.0)
        assert turned() == sound, cause
