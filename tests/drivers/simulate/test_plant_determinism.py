"""The same unit, causes, seed and steps give the same values to the last bit, in whatever pieces, in any process."""

import hashlib
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from drivers.simulate import population
from drivers.simulate.causes import Cause
from drivers.simulate.plant import Plant
from drivers.simulate.unit import random_unit
from tests.drivers.simulate.plant_bench import Array, same

ROOT = Path(__file__).parents[3]
SECONDS = 240.0
CAUSES_OF_ALL_COURSES = (
    Cause("drain_blocked", 0.95),
    Cause("flame_sensor_weak", 0.3, course="growing"),
    Cause("switch_faulty", 0.3, course="intermittent"),
    Cause("no_call", 0.2, onset=220.0),
    Cause("control_board_faulty", 0.1),
    Cause("other", 0.5),
)
ELSEWHERE = """
from tests.drivers.simulate.test_plant_determinism import digest, visit, SECONDS
print(digest(visit(3).advance(SECONDS).values))
"""


def visit(seed: int, unit: int = 3) -> Plant:
    return Plant(random_unit(unit), CAUSES_OF_ALL_COURSES, seed=seed, calls=((2.0, 230.0, 2),))


def digest(values: Mapping[str, Array]) -> str:
    whole = hashlib.sha256()
    for name in sorted(values):
        whole.update(name.encode() + values[name].tobytes())
    return whole.hexdigest()


@pytest.fixture(scope="module")
def first() -> tuple[Plant, Mapping[str, Array]]:
    plant = visit(3)
    return plant, plant.advance(SECONDS).values


def test_again_the_same(first: tuple[Plant, Mapping[str, Array]]) -> None:
    plant, values = first
    again = visit(3)
    assert same(values, again.advance(SECONDS).values)
    assert plant.events == again.events
    assert plant.attempts == again.attempts
    assert plant.parts.water.slosh > 0, "waves on the water are random too"


@pytest.mark.parametrize("pieces", [(0.1,), (0.3, 0.5, 0.7), (7.3, 0.1, 61.4)])
def test_pieces_change_nothing(first: tuple[Plant, Mapping[str, Array]], pieces: tuple[float, ...]) -> None:
    plant = visit(3)
    blocks, turn = [], 0
    while plant.now < SECONDS - 0.05:
        blocks.append(plant.advance(min(pieces[turn % len(pieces)], SECONDS - plant.now)))
        turn += 1
    values = {point: np.concatenate([block.values[point] for block in blocks]) for point in blocks[0].values}
    assert same(first[1], values)
    time = np.concatenate([block.time for block in blocks])
    assert time.tobytes() == visit(3).advance(SECONDS).time.tobytes()


def test_no_time_is_no_rows() -> None:
    plant = visit(3)
    block = plant.advance(0.0)
    assert block.time.size == 0
    assert set(block.values) == set(plant.points)
    assert all(column.size == 0 for column in block.values.values())


@pytest.mark.parametrize("other", [{"seed": 4}, {"seed": 3, "unit": 4}], ids=["seed", "unit"])
def test_another_seed_or_unit_is_another_run(first: tuple[Plant, Mapping[str, Array]], other: dict[str, int]) -> None:
    values = visit(**other).advance(SECONDS).values
    different = [point for point in values if not np.array_equal(values[point], first[1][point])]
    assert {"draft_collector", "temp_outdoor", "flame_current", "temp_supply"} <= set(different)


def test_one_cause_more_does_not_move_the_others_or_the_weather() -> None:
    """Each has its own stream: until something else shows, the runs are the same."""
    calls = ((5.0, 400.0, 1),)
    causes = [Cause("switch_faulty", 0.5, course="intermittent"), Cause("other", 0.3)]
    more = [
        *causes,
        Cause("flame_sensor_weak", 0.2, course="intermittent", onset=1.0),
        Cause("no_call", 0.2, onset=39.0),
    ]
    one, other = (Plant(random_unit(5), given, seed=2, calls=calls).advance(30.0).values for given in (causes, more))
    assert same(one, other)


def test_neither_hashing_nor_the_process_matters(first: tuple[Plant, Mapping[str, Array]]) -> None:
    expected = digest(first[1])
    for seed in ("0", "12345"):
        environment = os.environ | {"PYTHONHASHSEED": seed}
        found = subprocess.run(
            [sys.executable, "-c", ELSEWHERE], cwd=ROOT, env=environment, capture_output=True, text=True, check=True
        )
        assert found.stdout.strip() == expected


def test_units_and_features_are_those_of_their_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Features over a much shortened run."""
    assert random_unit(11) == random_unit(11)
    assert random_unit(11) != random_unit(12)
    short = [(state, max(seconds // 30, 1), on) for state, seconds, on in population._SCHEDULE]
    monkeypatch.setattr(population, "_SCHEDULE", short)
    found = [population.features(40, seed) for seed in (1, 1, 2)]
    for name in ("values", "reached", "cause", "severity", "baseline", "switch"):
        one, again, other = (getattr(each, name) for each in found)
        assert one.tobytes() == again.tobytes(), name
        assert name == "reached" or one.tobytes() != other.tobytes(), name
