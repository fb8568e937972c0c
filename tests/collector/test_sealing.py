"""When readings are sealed, and what happens when that fails."""

import math
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Reading
from collector.recording import Recording
from collector.rows import Many, Rows
from collector.store import Store
from collector.verify import verified
from tests.collector.recordings import DRAFT, SUPPLY


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "call.lightoff"


def test_sealing_that_fails_costs_nothing_but_room_and_is_tried_again(path, monkeypatch, caplog):
    with Store(path, sealed_after=10) as store:
        store.append([DRAFT])

        def fails(*_: object) -> None:
            raise RuntimeError("no room for the block")

        monkeypatch.setattr("collector.sealing.encoded", fails)
        for number in range(40):
            store.append([Reading(DRAFT.key, number, float(number))])
        assert caplog.text.count("readings stay unsealed for now") == 1, "told once"
        with Recording(path) as recording:
            assert recording.read(DRAFT.key).value.tolist() == list(range(40))
            assert recording.db.execute("SELECT count(*) FROM block").fetchone() == (0,)
        monkeypatch.undo()
        store.append([Reading(DRAFT.key, 40, 40.0)])
        with Recording(path) as recording:
            assert recording.read(DRAFT.key).value.tolist() == list(range(41))
            assert recording.db.execute("SELECT count(*) FROM batch").fetchone() == (0,)
    assert verified(path).faults == ()


def test_a_channel_that_is_slow_is_sealed_with_the_others(path):
    """Its few readings would keep every batch since in the file, and each reader would read them."""
    with Store(path, sealed_after=50) as store:
        store.append([DRAFT, SUPPLY, Reading(SUPPLY.key, 0, 1.0)])
        for number in range(400):
            store.append([Reading(DRAFT.key, number, float(number))])
        with Recording(path) as recording:
            (batches,) = recording.db.execute("SELECT count(*) FROM batch").fetchone()
            assert batches <= 101
            assert recording.read(SUPPLY.key).time.tolist() == [0]
    with Recording(path) as recording:
        assert recording.db.execute("SELECT count(*) FROM block WHERE channel=2").fetchone() == (1,)


def test_the_bits_of_a_value_that_is_none_come_back_too(path):
    odd = np.array([0x7FF8000000001234, 0xFFF8000000000000, 0x7FF0000000000001], np.uint64).view(np.float64)
    time = np.arange(3, dtype=np.int64)
    with Store(path) as store:
        store.append([DRAFT, Many(DRAFT.key, Rows(time, odd, np.zeros(3, np.int8)))])
        with Recording(path) as recording:
            assert recording.read(DRAFT.key).value.tobytes() == odd.tobytes()
    with Recording(path) as recording:
        assert recording.read(DRAFT.key).value.tobytes() == odd.tobytes()
    with Store(path) as store:
        assert store.append([Reading(DRAFT.key, 0, math.nan)]) == [], "none and none is the same"
