"""The recorder: batches in order, a failing store is heard and outlived, what is dropped is counted."""

import asyncio
import threading
import time
from collections.abc import Sequence
from contextlib import asynccontextmanager
from functools import partial
from itertools import pairwise
from pathlib import Path

import pytest

from analysis.model import Channel, Event, EventKind, Reading
from collector.database import RecordingError
from collector.recorder import ENOUGH, MOST_AT_ONCE, PERIOD, Recorder
from collector.recording import Recording
from collector.store import Store
from drivers.base import Emission
from tests.support import StillClock, until

CHANNEL = Channel("draft_collector", "draft meter", "inH2O")


class Shaky:
    """A store that can be told to fail and to wait."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.batches: list[list[Emission]] = []
        self.failing: Exception | None = None
        self.gate, self.sealing = threading.Event(), threading.Event()
        self.gate.set()
        self.sealing.set()
        self.sealings: list[int] = []
        """Batches that were there each time sealing was asked for."""
        self.sealing_fails: Exception | None = None
        self.takes = 0.0
        """So long a batch takes. [s]"""
        self.began: list[float] = []
        """When each batch began. [s]"""

    def append(self, batch: Sequence[Emission], *, seal: bool = True) -> list[Event]:
        assert not seal, "who waits for a batch must not wait for sealing"
        self.began.append(time.monotonic())
        time.sleep(self.takes)
        self.gate.wait()
        if self.failing:
            raise self.failing
        self.batches.append(list(batch))
        return []

    def seal(self) -> None:
        self.sealings.append(len(self.batches))
        self.sealing.wait()
        if self.sealing_fails:
            raise self.sealing_fails

    @property
    def items(self) -> list[Emission]:
        return [item for batch in self.batches for item in batch]


@asynccontextmanager
async def running(recorder: Recorder):
    task = asyncio.create_task(recorder.run(), name="recorder")
    try:
        yield task
    finally:
        if isinstance(recorder._store, Shaky):
            recorder._store.gate.set()  # a test that fails must not wait for it
            recorder._store.sealing.set()
        recorder.stop()
        await task


def _has(found: Sequence[object], count: int) -> bool:
    return len(found) >= count


def readings(start: int, stop: int) -> list[Reading]:
    return [Reading(CHANNEL.key, number, float(number)) for number in range(start, stop)]


async def test_everything_put_is_written_in_order(tmp_path):
    heard: list[Event] = []
    with Store(tmp_path / "call.lightoff") as store:
        recorder = Recorder(store, now=StillClock(), announce=heard.append)
        async with running(recorder):
            recorder.put(CHANNEL)
            for reading in readings(0, 1000):
                recorder.put(reading)
            await recorder.caught_up()
            with Recording(store.path) as recording:
                assert recording.read(CHANNEL.key).time.tolist() == list(range(1000))
            recorder.put(Reading(CHANNEL.key, 1000, 1.0))
    with Recording(tmp_path / "call.lightoff") as recording:
        assert recording.read(CHANNEL.key).time.size == 1001
    assert heard == []


async def test_a_conflict_is_announced(tmp_path):
    heard: list[Event] = []
    with Store(tmp_path / "call.lightoff") as store:
        recorder = Recorder(store, now=StillClock(), announce=heard.append)
        async with running(recorder):
            for item in (CHANNEL, Reading(CHANNEL.key, 1, 1.0), Reading(CHANNEL.key, 1, 2.0)):
                recorder.put(item)
            await recorder.caught_up()
    assert [event.kind for event in heard] == [EventKind.CONFLICT]


async def test_who_waits_for_a_batch_does_not_wait_for_sealing(tmp_path):
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None)  # type: ignore[arg-type]
    store.sealing.clear()
    async with running(recorder):
        recorder.put(readings(0, 1)[0])
        async with asyncio.timeout(30):
            await recorder.caught_up()
        await until(lambda: store.sealings == [1], what="sealing is asked for after the batch")
        assert recorder.written == 1
        store.sealing.set()


async def test_sealing_that_fails_is_no_failed_batch(tmp_path):
    store = Shaky(tmp_path / "x")
    store.sealing_fails = RecordingError("cannot record to x (full)", "free some space")
    heard: list[Event] = []
    recorder = Recorder(store, now=StillClock(), announce=heard.append)  # type: ignore[arg-type]
    async with running(recorder):
        for number, reading in enumerate(readings(0, 3), start=1):
            recorder.put(reading)
            await until(partial(_has, store.sealings, number), what="sealing is tried")
    assert store.items == readings(0, 3)
    assert (recorder.failure, heard) == (None, [])


async def test_batches_begin_at_an_even_pace_however_long_one_takes(tmp_path):
    """A batch that began only so long after the end of the one before would be at least both times apart."""
    store, took = Shaky(tmp_path / "x"), 0.06
    store.takes = took
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None)  # type: ignore[arg-type]
    async with running(recorder):
        for reading in readings(0, 10):
            recorder.put(reading)
            await until(partial(_has, store.began, len(store.began) + 1), what="the next batch begins")
    assert min(late - early for early, late in pairwise(store.began)) < PERIOD + took


async def test_a_batch_of_enough_does_not_wait_for_its_time(tmp_path, monkeypatch):
    monkeypatch.setattr("collector.recorder.PERIOD", 3600.0)
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None)  # type: ignore[arg-type]
    async with running(recorder):
        for count in (ENOUGH, 2 * ENOUGH):
            for reading in readings(count - ENOUGH, count):
                recorder.put(reading)
            await until(partial(_has, store.batches, count // ENOUGH), what="they are written")
            assert len(store.items) == count


async def test_a_failing_store_is_heard_and_outlived_without_loss(tmp_path):
    heard: list[Event] = []
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=heard.append, retry=0.01)  # type: ignore[arg-type]
    async with running(recorder):
        store.failing = RecordingError("cannot record to x (full)", "free some space")
        given = readings(0, 50)
        for reading in given:
            recorder.put(reading)
        await until(lambda: recorder.failure is not None, what="the failure is known")
        assert [event.text for event in heard] == ["recording stands still: cannot record to x (full); free some space"]
        store.failing = None
        await until(lambda: recorder.failure is None, what="recording goes on")
        await recorder.caught_up()
    assert [item for item in store.items if isinstance(item, Reading)] == given
    assert recorder.lost == 0
    assert heard[-1].text == "recording goes on; 0 readings were lost"


async def test_beyond_the_buffer_the_oldest_readings_are_dropped_counted_and_the_gap_is_recorded(tmp_path):
    heard: list[Event] = []
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=heard.append, retry=0.01, most_waiting=10)  # type: ignore[arg-type]
    async with running(recorder):
        store.failing = RecordingError("cannot record to x (full)")
        recorder.put(CHANNEL)
        recorder.put(Event(0, EventKind.NOTE, "kept"))
        await until(lambda: recorder.failure is not None, what="the failure is known")
        for reading in readings(0, 30):
            recorder.put(reading)
        assert recorder.lost == 22
        assert recorder.queued == 10
        store.failing = None
        await until(lambda: recorder.failure is None, what="recording goes on")
        await recorder.caught_up()
    assert [item.time for item in store.items if isinstance(item, Reading)] == list(range(22, 30))
    assert store.items[0] == CHANNEL
    (gap,) = [item for item in store.items if isinstance(item, Event) and item.kind is EventKind.GAP]
    assert dict(gap.data) == {"from": 0, "to": 21, "count": 22}


async def test_readings_older_than_the_patience_are_dropped_and_counted(tmp_path):
    store, time = Shaky(tmp_path / "x"), [0.0]
    recorder = Recorder(
        store,  # type: ignore[arg-type]
        now=StillClock(),
        announce=lambda event: None,
        monotonic=lambda: time[0],
        retry=0.01,
    )
    async with running(recorder):
        store.failing = RecordingError("cannot record to x (full)")
        for reading in readings(0, 5):
            recorder.put(reading)
        time[0] = 599.0
        for reading in readings(5, 8):
            recorder.put(reading)
        await until(lambda: recorder.failure is not None, what="the failure is known")
        assert recorder.lost == 0
        time[0] = 601.0
        await until(lambda: recorder.lost == 5, what="five readings are given up")
        store.failing = None
        await recorder.caught_up()
    assert [item.time for item in store.items if isinstance(item, Reading)] == [5, 6, 7]


async def test_a_defect_in_the_store_ends_the_recorder(tmp_path):
    store = Shaky(tmp_path / "x")
    store.failing = ZeroDivisionError("a defect")
    recorder = Recorder(store, now=StillClock(), announce=lambda event: None)  # type: ignore[arg-type]
    recorder.put(CHANNEL)
    with pytest.raises(ZeroDivisionError):
        await asyncio.wait_for(recorder.run(), 5)


async def test_cancelling_in_the_middle_of_a_write_waits_for_it(tmp_path):
    """A writer thread left with a batch would collide with the next transaction."""
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=lambda event: None)  # type: ignore[arg-type]
    store.gate.clear()
    recorder.put(CHANNEL)
    task = asyncio.create_task(recorder.run())
    await until(lambda: recorder.queued == 0, what="the batch is in the writer's hands")
    task.cancel()
    for _ in range(50):
        await asyncio.sleep(0)
    assert not task.done()
    store.gate.set()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert store.items == [CHANNEL]


async def test_stopping_while_the_store_fails_counts_what_is_lost(tmp_path):
    store = Shaky(tmp_path / "x")
    store.failing = RecordingError("cannot record to x (full)")
    recorder = Recorder(store, now=StillClock(), announce=lambda event: None)  # type: ignore[arg-type]
    async with running(recorder):
        for reading in readings(0, 7):
            recorder.put(reading)
    assert recorder.lost == 7


async def test_who_wants_to_know_is_told_of_what_is_durable_and_of_nothing_else(tmp_path):
    told: list[object] = []
    store = Shaky(tmp_path / "call.lightoff")
    store.failing = RecordingError("full")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None, retry=0.01)  # type: ignore[arg-type]
    recorder.committed.append(told.extend)
    async with running(recorder):
        for reading in readings(0, 5):
            recorder.put(reading)
        await until(lambda: recorder.failure, what="the failure")
        assert told == []
        store.failing = None
        await until(lambda: recorder.written, what="its end")
        assert [item for item in told if isinstance(item, Reading)] == readings(0, 5)


async def test_what_waits_behind_a_channel_is_given_up_by_its_own_age(tmp_path):
    """A channel is never given up: that it is old says nothing about the readings after it."""
    store, time = Shaky(tmp_path / "x"), [0.0]
    store.failing = RecordingError("cannot record to x (full)")
    recorder = Recorder(
        store,  # type: ignore[arg-type]
        now=StillClock(),
        announce=lambda event: None,
        monotonic=lambda: time[0],
        retry=0.01,
    )
    async with running(recorder):
        recorder.put(CHANNEL)
        recorder.put(Reading(CHANNEL.key, 0, 0.0))
        recorder.put(Event(0, EventKind.NOTE, "kept"))
        time[0] = 700.0
        for reading in readings(1, 4):
            recorder.put(reading)
        await until(lambda: recorder.lost, what="the old reading is given up")
        store.failing = None
        await recorder.caught_up()
    assert recorder.lost == 1
    assert [item.time for item in store.items if isinstance(item, Reading)] == [1, 2, 3]
    assert [item.text for item in store.items if isinstance(item, Event) and item.kind is EventKind.NOTE] == ["kept"]


async def test_what_is_dropped_while_a_write_takes_too_long_is_a_gap_too(tmp_path):
    """The store does not fail, it hangs, as a medium does that is about to be gone."""
    heard: list[Event] = []
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=heard.append, most_waiting=10)  # type: ignore[arg-type]
    async with running(recorder):
        store.gate.clear()
        recorder.put(CHANNEL)
        await until(lambda: recorder.queued == 0, what="the batch is in the writer's hands")
        for reading in readings(0, 30):
            recorder.put(reading)
        store.gate.set()
        await recorder.caught_up()
    (gap,) = [item for item in store.items if isinstance(item, Event)]
    assert dict(gap.data) == {"from": 0, "to": 19, "count": recorder.lost}
    assert heard == [gap]


async def test_what_is_dropped_during_the_try_that_succeeds_is_counted_in_a_gap(tmp_path):
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None, retry=0.01, most_waiting=10)  # type: ignore[arg-type]
    async with running(recorder):
        store.failing = RecordingError("cannot record to x (full)")
        for reading in readings(0, 12):
            recorder.put(reading)
        await until(lambda: recorder.failure is not None, what="the failure is known")
        store.gate.clear()
        await until(lambda: recorder.queued == 0, what="the next try is in the writer's hands")
        for reading in readings(12, 25):
            recorder.put(reading)
        store.failing = None
        store.gate.set()
        await recorder.caught_up()
    gaps = [item for item in store.items if isinstance(item, Event) and item.kind is EventKind.GAP]
    assert sum(int(str(gap.data["count"])) for gap in gaps) == recorder.lost
    written = [item.time for item in store.items if isinstance(item, Reading)]
    assert len(written) + recorder.lost == 25
    assert min(recorder.lost, written.count(11), written.count(24)) > 0, "the newest of both are there"


async def test_the_buffer_stays_within_its_bound_while_tries_fail(tmp_path):
    """What came during a try counts together with the batch that comes back."""
    store = Shaky(tmp_path / "x")
    store.failing = RecordingError("cannot record to x (full)")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None, retry=0.01, most_waiting=10)  # type: ignore[arg-type]
    async with running(recorder):
        for reading in readings(0, 10):
            recorder.put(reading)
        await until(lambda: recorder.failure is not None, what="the failure is known")
        store.gate.clear()
        await until(lambda: recorder.queued == 0, what="the next try is in the writer's hands")
        for reading in readings(10, 20):
            recorder.put(reading)
        assert recorder.lost == 0
        store.gate.set()
        await until(lambda: recorder.lost == 10, what="the oldest are dropped")
        assert recorder.queued <= 10
        store.failing = None
        await until(lambda: recorder.failure is None, what="recording goes on")
    assert {item.time for item in store.items if isinstance(item, Reading)} <= set(range(10, 20))


async def test_what_waits_is_written_in_batches_of_a_bounded_size(tmp_path):
    store = Shaky(tmp_path / "x")
    recorder = Recorder(store, now=StillClock(), announce=lambda _: None)  # type: ignore[arg-type]
    given = readings(0, 2 * MOST_AT_ONCE + 5)
    for reading in given:
        recorder.put(reading)
    async with running(recorder):
        await recorder.caught_up()
    assert [len(batch) for batch in store.batches] == [MOST_AT_ONCE, MOST_AT_ONCE, 5]
    assert store.items == given
