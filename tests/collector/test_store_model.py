"""The store against a plain dict: late, doubled and contradicting readings, sealing and reopening; always equal."""

import math
import os
import struct
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from analysis.model import Channel, EventKind, Quality, Reading
from collector.recording import Recording
from collector.rows import Many, Rows
from collector.store import Store
from collector.verify import verified

CHANNELS = [Channel("draft_collector", f"meter {number}", "inH2O") for number in range(3)]
VALUES = st.one_of(
    st.sampled_from([math.nan, -0.0, 0.0, math.inf, -math.inf, 5e-324, 7.0, float(2**53), -1.25]),
    st.integers(-9, 9).map(lambda number: number / 8),
)
SECOND = 1_000_000_000
EXAMPLES = int(os.environ.get("LIGHTOFF_KILLS", "20"))
TIMES = st.one_of(st.integers(-40, 400).map(lambda at: at * SECOND), st.integers(-(2**62), 2**62))
READINGS = st.lists(
    st.tuples(st.integers(0, 2), TIMES, VALUES, st.sampled_from(list(Quality))), min_size=1, max_size=12
)


def bits(value: float) -> bytes:
    return b"" if math.isnan(value) else struct.pack(">d", value)


class StoreMachine(RuleBasedStateMachine):
    """Whatever is done to the store, a reader sees what the dict has."""

    @initialize(sealed_after=st.integers(1, 12))
    def begin(self, sealed_after: int) -> None:
        self.folder = TemporaryDirectory()
        self.path = Path(self.folder.name) / "call.lightoff"
        self.sealed_after = sealed_after
        self.store = Store(self.path, sealed_after=sealed_after)
        self.store.append(CHANNELS)
        self.reader: Recording | None = None
        self.model: dict[tuple[str, int], tuple[float, Quality]] = {}
        self.conflicts: list[tuple[str, int]] = []
        self.clock = 500 * SECOND

    def expect(self, readings: list[Reading]) -> int:
        before = len(self.conflicts)
        for one in readings:
            there = self.model.setdefault((one.channel, one.time), (one.value, one.quality))
            if bits(there[0]) != bits(one.value):
                self.conflicts.append((one.channel, one.time))
        return len(self.conflicts) - before

    @rule(rows=READINGS)
    def anything(self, rows: list[tuple[int, int, float, Quality]]) -> None:
        readings = [Reading(CHANNELS[number].key, *rest) for number, *rest in rows]  # type: ignore[arg-type]
        expected = self.expect(readings)
        assert len(self.store.append(readings)) == expected

    @rule(values=st.lists(VALUES, min_size=1, max_size=8), apart=st.sampled_from([1, SECOND // 10, 40 * SECOND]))
    def in_order(self, values: list[float], apart: int) -> None:
        """What a recorder mostly does."""
        readings = []
        for value in values:
            self.clock += apart
            readings += [Reading(channel.key, self.clock, value) for channel in CHANNELS[:2]]
        self.expect(readings)
        assert self.store.append(readings) == []

    @rule(values=st.lists(VALUES, max_size=40), at=st.integers(-50, 400), number=st.integers(0, 2))
    def many(self, values: list[float], at: int, number: int) -> None:
        time = (at + np.arange(len(values), dtype=np.int64) // 2 * 3) * SECOND  # every second one twice
        key = CHANNELS[number].key
        expected = self.expect([Reading(key, *one) for one in zip(time.tolist(), values, strict=True)])
        rows = Rows(time, np.array(values), np.zeros(len(values), np.int8))
        assert len(self.store.append([Many(key, rows)])) == expected

    @precondition(lambda self: self.model)
    @rule(data=st.data(), value=VALUES)
    def again(self, data: st.DataObject, value: float) -> None:
        """A key that is there: with the same value nothing, with another one a conflict, also when it is sealed."""
        key, time = data.draw(st.sampled_from(sorted(self.model)))
        readings = [Reading(key, time, self.model[key, time][0]), Reading(key, time, value)]
        expected = self.expect(readings)
        assert len(self.store.append(readings)) == expected

    @rule()
    def reopen(self) -> None:
        self.store.close()
        with Recording(self.path) as closed:
            assert closed.db.execute("SELECT count(*) FROM batch").fetchone() == (0,), "all is sealed at closing"
        assert verified(self.path).faults == ()
        self.store = Store(self.path, sealed_after=self.sealed_after)

    @rule()
    def keep_a_reader(self) -> None:
        self.let_the_reader_go()
        self.reader = Recording(self.path)

    def let_the_reader_go(self) -> None:
        if self.reader:
            self.reader.close()
        self.reader = None

    @rule(start=st.integers(-60, 600), length=st.integers(0, 300))
    def part(self, start: int, length: int) -> None:
        low, high = start * SECOND, (start + length) * SECOND
        with Recording(self.path) as recording:
            for channel in CHANNELS:
                expected = sorted(t for key, t in self.model if key == channel.key and low <= t <= high)
                assert recording.read(channel.key, low, high).time.tolist() == expected

    @invariant()
    def all_is_there(self) -> None:
        if not hasattr(self, "store"):
            return
        with Recording(self.path) as recording:
            self.compare(recording)
        if self.reader:
            self.compare(self.reader)

    def compare(self, recording: Recording) -> None:
        for channel in CHANNELS:
            expected = sorted((t, *kept) for (key, t), kept in self.model.items() if key == channel.key)
            rows = recording.read(channel.key)
            assert rows.time.tolist() == [time for time, _, _ in expected]
            assert list(map(bits, rows.value.tolist())) == [bits(value) for _, value, _ in expected]
            assert rows.quality.tolist() == [int(quality) for _, _, quality in expected]
        times = [time for _, time in self.model]
        assert recording.span() == ((min(times), max(times)) if times else None)
        latest = {key: max(t for k, t in self.model if k == key) for key, _ in self.model}
        assert {key: reading.time for key, reading in recording.latest().items()} == latest
        middle = 100 * SECOND
        earlier = {
            key: max(t for k, t in self.model if k == key and t < middle) for key, at in self.model if at < middle
        }
        assert {key: reading.time for key, reading in recording.latest(middle).items()} == earlier
        assert [reading.time for reading in recording.readings()] == sorted(times)
        assert recording.doubtful() == sum(quality is Quality.SUSPECT for _, quality in self.model.values())
        assert sum(recording.counts().values()) == len(self.model) == self.kept_in(recording)
        told = recording.events({EventKind.CONFLICT})
        assert sorted((str(event.data["channel"]), event.time) for event in told) == sorted(self.conflicts)

    def kept_in(self, recording: Recording) -> int:
        return sum(recording.read(channel.key).time.size for channel in recording.channels)

    def teardown(self) -> None:
        if hasattr(self, "store"):
            self.let_the_reader_go()
            self.store.close()
            self.folder.cleanup()


StoreMachine.TestCase.settings = settings(max_examples=EXAMPLES, stateful_step_count=20, deadline=None)
TestStore = StoreMachine.TestCase
