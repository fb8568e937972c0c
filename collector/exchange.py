"""A recording's way in and out as CSV, streaming: memory stays flat whatever the length."""

import csv
import gzip
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, NamedTuple, cast

import numpy as np

from analysis.model import Event, EventKind
from collector.opened_csv import column_rows
from collector.recording import Recording
from collector.rows import Many, Rows
from collector.shifts import Shifts
from collector.store import Store, Written
from collector.unread import Unread, unread
from collector.whole_files import text_of, whole_file, whole_recording
from collector.windows import Window, windows
from drivers.base import InputError
from drivers.codecs.csv_block import Block
from drivers.codecs.recording_csv import Problem, encode_head, encode_value, format_time
from drivers.csv_file import BlockReader, open_blocks

BATCH = 20_000
"""Readings that are written at once. [1]"""

Progress = Callable[[float], None]
"""Told which share of the work is done, from 0 to 1."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did."""

    readings: int
    """Readings of the file."""
    kept: int
    """Of them, without those that stood there twice."""
    conflicts: int
    """Second values for the same channel and instant; the first stayed."""
    problems: list[Problem]
    """The first of the rows and cells that could not be read."""
    problem_count: int
    damaged: str = ""
    """Why the file could not be read to its end, or nothing."""
    lacking: str = ""
    """What the file does not carry and the recording had, in a sentence; empty where nothing."""


class Wanted(NamedTuple):
    """How a file is to be imported."""

    now: int
    """Time of the events that tell of it. [ns]"""
    job: Event | None
    """The job file to keep in the recording."""
    start: int
    """When second 0 of the file was. [ns]"""
    shifts: Shifts


class Span(NamedTuple):
    """From when to when, both included. [ns]"""

    start: int
    end: int


def import_csv(
    source: Path,
    target: Path,
    *,
    job: Event | None,
    start: int,
    now: int,
    shifts: Shifts | None = None,
    bad: Path | None = None,
    progress: Progress | None = None,
) -> Imported:
    """Make a recording of a CSV file; what cannot be read is reported and kept as an event, and all of it in `bad`.

    Seconds count from `start` [ns]. The recording appears under its name only when it is complete; a file that is
    damaged somewhere gives what stands before. InputError: nothing was made.
    """
    wanted = Wanted(now, job, start, shifts or Shifts({}))
    with unread(bad) as told, whole_recording(target) as store:
        return _import(source, store, wanted, told, progress)


def _import(source: Path, store: Store, wanted: Wanted, told: Unread, progress: Progress | None) -> Imported:
    readings = conflicts = 0
    damaged = ""
    reader = None
    batch: list[Written] = [wanted.job] if wanted.job else []
    try:
        with open_blocks(source, start=wanted.start, progress=progress) as reader:
            reader.careful.heard = told.add
            for channel in reader.channels:
                wanted.shifts.meet(channel)
            wanted.shifts.check(reader.channels, str(source))
            batch += reader.channels
            for block in reader:
                batch += _rows(reader, block, wanted.shifts, told)
                readings += sum(column.value.size for column in block.columns)
                conflicts += len(store.append(batch))
                batch.clear()
    except InputError as error:
        if reader is None or not readings:
            raise
        damaged = error.what
    text = f"imported from {source.name}: {readings} readings, {told.count} problems"
    batch.append(Event(wanted.now, EventKind.RECORDER, text, None, {"from": source.name}))
    batch += wanted.shifts.events(source.name, wanted.now)
    batch += told.events(source.name, wanted.now)
    if damaged:
        batch.append(Event(wanted.now, EventKind.PROBLEM, damaged, source.name))
    conflicts += len(store.append(batch))
    return Imported(readings, store.kept, conflicts, told.first, told.count, damaged)


def _rows(reader: BlockReader, block: Block, shifts: Shifts, told: Unread) -> Iterator[Many]:
    for place, channel in enumerate(reader.channels):
        rows, far = shifts.moved(channel.key, column_rows(block, place))
        own = block.columns[place].rows
        for number in (far if own is None else own[far]).tolist():
            told.add(Problem(int(block.line[number]), f"{channel.key}: its time is out of range when it is moved"))
        yield Many(channel.key, rows)


def export_csv(
    recording: Recording, target: Path | None, *, span: Span | None = None, progress: Progress | None = None
) -> int:
    """Write a recording as CSV to a file (compressed when it ends in .gz), or to standard output; readings written.

    What was typed in and withdrawn is left out. The file appears under its name only when it is complete.
    """
    count = 0
    with _opened(target) as file, recording.still():
        channels = recording.channels
        keys = [channel.key for channel in channels]
        file.write(f"{_line(encode_head(channels))}\n".encode())
        withdrawn = {key: np.array(sorted(own), np.int64) for key, own in recording.withdrawn().items()}
        begin, end = span or recording.span() or (0, -1)
        for window in windows(recording, keys, begin, end):
            rows = [_read(window, key, withdrawn) for key in keys]
            for piece in _pieces(rows):
                file.write(piece)
            count += sum(one.time.size for one in rows)
            if progress:
                progress(share(window.end, begin, end))
    return count


def share(at: int, begin: int, end: int) -> float:
    """Which part of a span is done at a time within it. [1]"""
    return min((at - begin + 1) / max(end - begin + 1, 1), 1.0)


def _read(window: Window, key: str, withdrawn: Mapping[str, np.typing.NDArray[np.int64]]) -> Rows:
    """Readings of a channel without those that count as never read: a table has no place to say that of a number."""
    rows = window.rows[key]
    if key not in withdrawn:
        return rows
    kept = ~np.isin(rows.time, withdrawn[key])
    return Rows(rows.time[kept], rows.value[kept], rows.quality[kept])


def _pieces(rows: list[Rows]) -> Iterator[bytes]:
    """Lines of a window, some at a time: as text a reading takes many times its bytes."""
    times = np.unique(np.concatenate([one.time for one in rows]))
    for first in range(0, times.size, BATCH):
        part = times[first : first + BATCH]
        columns = [[format_time(time) for time in part.tolist()]]
        for one in rows:
            begin, end = np.searchsorted(one.time, part[0]), np.searchsorted(one.time, part[-1], side="right")
            cells = [""] * part.size
            places = np.searchsorted(part, one.time[begin:end]).tolist()
            for place, value in zip(places, one.value[begin:end].tolist(), strict=True):
                cells[place] = encode_value(value)
            columns.append(cells)
        yield "".join(f"{','.join(line)}\n" for line in zip(*columns, strict=True)).encode()


def _line(cells: list[str]) -> str:
    """A line of CSV, quoted where that is needed."""
    held: list[str] = []
    csv.writer(_Held(held), lineterminator="").writerow(cells)
    return held[0]


class _Held:
    """Takes what a CSV writer writes."""

    def __init__(self, held: list[str]) -> None:
        self.write = held.append


def export_events(recording: Recording, target: Path) -> int:
    """Write what happened as CSV, every event with its time, kind, instrument and sentence; events written."""
    events = recording.events()
    with _opened(target) as file, text_of(file) as text:
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(("time", "kind", "about", "text"))
        writer.writerows((format_time(event.time), event.kind, event.subject or "", event.text) for event in events)
    return len(events)


def untold(recording: Recording) -> str:
    """What a table of readings leaves out and whoever reads it has to know, in a sentence; empty where nothing."""
    told = len(recording.events({EventKind.PROBLEM, EventKind.GAP}))
    doubtful = recording.doubtful()
    parts = []
    if doubtful:
        parts.append("1 doubtful reading" if doubtful == 1 else f"{doubtful} doubtful readings")
    if told:
        parts.append("1 problem or gap" if told == 1 else f"{told} problems and gaps")
    return f"the table does not show {' and '.join(parts)}; write what happened with --events FILE" if parts else ""


@contextmanager
def _opened(target: Path | None) -> Iterator[BinaryIO]:
    with whole_file(target) as file:
        if target is not None and target.suffix == ".gz":
            with gzip.GzipFile("", "wb", fileobj=file) as packed:
                yield cast(BinaryIO, packed)
        else:
            yield file
