"""A recording's way in and out as CSV, streaming: memory stays flat whatever the length."""

import csv
import gzip
import os
import sys
from collections.abc import Callable, Generator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO, cast

from analysis.model import Event, EventKind, Reading
from collector.opened_csv import column_rows
from collector.recording import Recording
from collector.rows import Many
from collector.store import Store, Written
from drivers.base import InputError
from drivers.codecs.recording_csv import Problem, encode_head, encode_rows, format_time
from drivers.csv_file import open_blocks

BATCH = 20_000
"""Readings between two signs of progress of an export. [1]"""

Progress = Callable[[int], None]


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


def import_csv(
    source: Path, target: Path, *, job: Event | None, start: int, now: int, progress: Progress | None = None
) -> Imported:
    """Make a recording of a CSV file; what cannot be read is reported and kept as an event.

    The recording appears under its name only when it is complete; a file that is damaged somewhere gives what stands
    before. InputError: nothing was made.
    """
    part = target.with_name(f"{target.name}.part")
    half_made = [part, *(Path(f"{part}{ending}") for ending in ("-wal", "-shm"))]
    for left in half_made:
        left.unlink(missing_ok=True)
    try:
        with Store(part) as store:
            done = _import(source, store, job, start=start, now=now, progress=progress)
        part.rename(target)
    finally:
        for left in half_made:  # the log too: a stop may come while the recording is being opened
            left.unlink(missing_ok=True)
    return done


def _import(
    source: Path, store: Store, job: Event | None, *, start: int, now: int, progress: Progress | None
) -> Imported:
    readings = conflicts = 0
    damaged = ""
    reader = None
    batch: list[Written] = [job] if job else []
    try:
        with open_blocks(source, start=start) as reader:
            batch += reader.channels
            for block in reader:
                batch += [Many(one.key, column_rows(block, place)) for place, one in enumerate(reader.channels)]
                readings += sum(column.value.size for column in block.columns)
                conflicts += len(store.append(batch))
                batch.clear()
                if progress:
                    progress(readings)
    except InputError as error:
        if reader is None or not readings:
            raise
        damaged = error.what
    told = reader.careful
    text = f"imported from {source.name}: {readings} readings, {told.problem_count} problems"
    batch.append(Event(now, EventKind.RECORDER, text, None, {"from": source.name}))
    batch.extend(_problem_events(told.problems, source.name, now))
    if damaged:
        batch.append(Event(now, EventKind.PROBLEM, damaged, source.name))
    conflicts += len(store.append(batch))
    return Imported(readings, store.kept, conflicts, told.problems, told.problem_count, damaged)


def _problem_events(problems: list[Problem], name: str, now: int) -> list[Event]:
    return [
        Event(now, EventKind.PROBLEM, f"{name}: {problem}", name, {"line": problem.line, "reason": problem.reason})
        for problem in problems
    ]


def export_csv(recording: Recording, target: Path | None, *, progress: Progress | None = None) -> int:
    """Write a recording as CSV to a file (compressed when it ends in .gz), or to standard output; readings written.

    What was typed in and withdrawn is left out. The file appears under its name only when it is complete.
    """
    channels = recording.channels
    count = 0
    with _opened(target) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(encode_head(channels))

        def counted() -> Generator[Reading, None, None]:
            nonlocal count
            withdrawn = recording.withdrawn()  # a table has no place to say that a number counts as never read
            for reading in recording.readings():
                if reading.time in withdrawn.get(reading.channel, ()):
                    continue
                count += 1
                if progress and count % BATCH == 0:
                    progress(count)
                yield reading

        writer.writerows(encode_rows(channels, counted()))
    return count


def export_events(recording: Recording, target: Path) -> int:
    """Write what happened as CSV, every event with its time, kind, instrument and sentence; events written."""
    events = recording.events()
    with _opened(target) as file:
        writer = csv.writer(file, lineterminator="\n")
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
def _opened(target: Path | None) -> Generator[TextIO, None, None]:
    if target is None:
        try:
            yield sys.stdout
            sys.stdout.flush()
        except OSError as error:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or Python complains once more at its end
            raise InputError(f"cannot write to standard output ({error.strerror})", "export to a file") from error
        return
    part = target.with_name(target.name + ".part")
    opened = gzip.open if target.suffix == ".gz" else open
    try:
        with cast(TextIO, opened(part, "wt", encoding="utf-8", newline="")) as file:
            yield file
        part.replace(target)
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise InputError(f"cannot write {target} ({reason})", "choose another folder or free some space") from error
    finally:
        with suppress(OSError):
            part.unlink()
