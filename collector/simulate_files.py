"""The three files of a simulated call beside each other: the recording, its job, and apart from both what was true."""

import csv
import gzip
import io
import json
import os
import secrets
import shutil
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO, cast

from analysis.model import Channel, Event, EventKind, Reading
from collector.database import is_recording
from collector.exchange import BATCH
from collector.store import Store
from drivers.base import Emission, InputError
from drivers.codecs.recording_csv import encode_head, encode_rows
from drivers.replay import stem

LIVE_ENDING = ".lightoff"
ENDINGS = (".csv", ".csv.gz", LIVE_ENDING)

DIGITS = 3
"""Digits after the decimal point of the numbers in the truth. [1]"""


@dataclass(frozen=True, slots=True)
class Places:
    """Where the three files go."""

    recording: Path
    job: Path
    truth: Path

    @classmethod
    def beside(cls, recording: Path) -> "Places":
        """Places of a recording and its companions."""
        name = stem(recording)
        return cls(recording, recording.with_name(f"{name}.toml"), recording.with_name(f"{name}.truth.json"))

    def all(self) -> tuple[Path, ...]:
        """The recording last: who sees it finds the others there."""
        return self.truth, self.job, self.recording

    def check(self, *, given_job: Path | None, force: bool) -> None:
        """InputError where a file is in the way; the job file that was given may be the one beside."""
        if not self.recording.parent.is_dir():
            raise InputError(f"there is no folder {self.recording.parent}", "make it, or name another")
        for place in self.all():
            if place.is_dir():
                raise InputError(f"{place} is a folder", "name a file in it")
            if place.exists() and not force and not (place == self.job and is_same(place, given_job)):
                raise InputError(f"{place} is there already", "choose another name or say --force")
        if self.recording.exists() and is_recording(self.recording):
            # refused while it is being recorded; and no log of it stays that would be taken for the new one's
            Store(self.recording).close()


@dataclass(frozen=True, slots=True)
class Content:
    """What the files hold."""

    channels: Sequence[Channel]
    readings: Iterable[Reading | Event]
    """In the order of their time; taken once."""
    digits: Mapping[str, int]
    """Digits after the decimal point that the instrument of a channel shows, by the channel's key. [1]"""
    job: str
    """Text of the job file."""
    truth: Callable[[], Mapping[str, object]]
    """What was true; asked for when the readings are over."""
    start: int
    """[ns]"""
    about: str
    """One sentence on where the recording comes from."""


def write(places: Places, content: Content, *, given_job: Path | None = None) -> int:
    """Write the three files; readings written. They appear under their names when all of them are complete."""
    name, beside = places.recording.name, places.recording.parent
    with (
        _said(places.recording),
        _folder(beside / f"simulated-{secrets.token_hex(4)}.part") as folder,
    ):
        parts = {place: folder / place.name for place in places.all()}
        into = _write_store if has_ending(name, LIVE_ENDING) else _write_csv
        count = into(parts[places.recording], content, compressed=has_ending(name, ".csv.gz"))
        parts[places.truth].write_text(truth_text(content.truth()), "utf-8")
        if is_same(places.job, given_job):
            del parts[places.job]  # it is there, as it was given
        else:
            parts[places.job].write_text(content.job, "utf-8")
        for place, part in parts.items():
            part.replace(place)
    return count


def has_ending(name: str, *endings: str) -> bool:
    """Whether a file's name has one of these endings, and something before it."""
    return name.endswith(endings) and name not in ENDINGS


def truth_text(truth: Mapping[str, object]) -> str:
    """The truth as JSON, always in the same order."""
    return json.dumps(_rounded(truth), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def is_same(place: Path, given: Path | None) -> bool:
    """Whether a place is that of a file that was given."""
    return given is not None and place.exists() and given.exists() and place.samefile(given)


def _rounded(value: object) -> object:
    if isinstance(value, float):
        return round(value, DIGITS) + 0.0
    if isinstance(value, Mapping):
        return {key: _rounded(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(one) for one in value]
    return value


def _write_csv(path: Path, content: Content, *, compressed: bool) -> int:
    count = 0

    def counted() -> Iterator[Reading]:
        nonlocal count
        for item in content.readings:
            if isinstance(item, Reading):
                count += 1
                yield item

    with _text_file(path, compressed=compressed) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(encode_head(content.channels))
        writer.writerows(encode_rows(content.channels, counted(), content.digits))
    return count


@contextmanager
def _text_file(path: Path, *, compressed: bool) -> Iterator[TextIO]:
    """A text file, the same bytes for the same text: a compressed one without the time of its making."""
    with path.open("wb") as raw:
        packed = cast(io.RawIOBase, gzip.GzipFile("", "wb", 6, raw, mtime=0)) if compressed else raw
        with io.TextIOWrapper(cast(io.BufferedWriter, packed), encoding="utf-8", newline="") as file:
            yield file


def _write_store(path: Path, content: Content, *, compressed: bool) -> int:  # noqa: ARG001
    count = 0
    with Store(path) as store:
        batch: list[Emission] = [
            Event(content.start, EventKind.RECORDER, content.about),
            Event(content.start, EventKind.JOB, "job file of the simulated unit", None, {"text": content.job}),
            *content.channels,
        ]
        for reading in content.readings:
            if isinstance(reading, Event):
                batch.append(reading)
                continue
            digits = content.digits.get(reading.channel)
            value = reading.value if digits is None else round(reading.value, digits) + 0.0
            batch.append(Reading(reading.channel, reading.time, value, reading.quality))
            count += 1
            if len(batch) >= BATCH:
                store.append(batch)
                batch.clear()
        store.append(batch)
    return count


@contextmanager
def _folder(path: Path) -> Iterator[Path]:
    """A folder that is there while the block runs and gone afterwards, whenever it is interrupted."""
    try:
        path.mkdir()
        yield path
    finally:
        shutil.rmtree(path, ignore_errors=True)


@contextmanager
def _said(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise InputError(f"cannot write {target} ({reason})", "choose another folder or free some space") from error
