"""A recording's way in and out as Parquet, streaming: a channel after the other, in row groups of bounded size."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Event, EventKind, Quality
from collector.attachments import pieces
from collector.exchange import Imported, Progress, Span, Wanted, share
from collector.exchange_pictures import pictures_in, put_pictures
from collector.recording import Recording
from collector.rows import Many, Rows
from collector.shifts import Shifts
from collector.store import Store, Written
from collector.unread import Unread, unread
from collector.whole_files import whole_file, whole_recording
from collector.windows import windows
from drivers.arrow import Group, ParquetReader, ParquetWriter, Slice, Texts
from drivers.base import InputError
from drivers.codecs import recording_parquet as codec
from drivers.codecs.recording_csv import Problem
from drivers.csv_file import opened

GROUP = 131_072
"""Most readings in a row group. [1]"""


def export_parquet(
    recording: Recording, target: Path | None, *, span: Span | None = None, progress: Progress | None = None
) -> int:
    """Write a recording as Parquet to a file or to standard output; readings written.

    docs/exchange.md has the layout. The file appears under its name only when it is complete.
    """
    count = 0
    with whole_file(target) as file, recording.still(), ParquetWriter(file, codec.QUALITIES) as writer:
        channels = recording.channels
        begin, end = span or recording.span() or (0, -1)
        withdrawn = recording.withdrawn()
        for number, channel in enumerate(channels):
            gone = np.array(sorted(withdrawn.get(channel.key, ())), np.int64)
            for rows, at in _groups(recording, channel, begin, end):
                texts = (channel.point, channel.instrument, channel.unit)
                writer.write(Group(texts, rows.time, rows.value, rows.quality, np.isin(rows.time, gone)))
                count += rows.time.size
                if progress:
                    progress((number + share(at, begin, end)) / len(channels))
        pictures = put_pictures(writer, recording)
        writer.finish(codec.texts_of(channels, recording.events(), pictures))
    return count


def _groups(recording: Recording, channel: Channel, begin: int, end: int) -> Iterator[tuple[Rows, int]]:
    """Readings of a channel, `GROUP` at a time, and up to when they go. [ns]"""
    held: list[Rows] = []
    for window in windows(recording, [channel.key], begin, end):
        held.append(window.rows[channel.key])
        if sum(one.time.size for one in held) >= GROUP:
            rows = _joined(held)
            whole = rows.time.size // GROUP * GROUP
            for first in range(0, whole, GROUP):
                yield _part(rows, first, first + GROUP), window.end
            held = [_part(rows, whole, rows.time.size)]
    if (rows := _joined(held)).time.size:
        yield rows, end


def _joined(held: list[Rows]) -> Rows:
    if not held:
        return Rows(np.zeros(0, np.int64), np.zeros(0), np.zeros(0, np.int8))
    return Rows(*(np.concatenate([getattr(one, name) for one in held]) for name in ("time", "value", "quality")))


def _part(rows: Rows, first: int, last: int) -> Rows:
    return Rows(rows.time[first:last], rows.value[first:last], rows.quality[first:last])


def import_parquet(
    source: Path,
    target: Path,
    *,
    job: Event | None,
    now: int,
    shifts: Shifts | None = None,
    bad: Path | None = None,
    progress: Progress | None = None,
) -> Imported:
    """Make a recording of a Parquet file; what cannot be read is reported and kept as an event, and all in `bad`.

    A file that was exported gives the recording that it was exported from, and nothing is added where nothing was
    asked for and all could be read. The recording appears under its name only when it is complete. InputError:
    nothing was made.
    """
    with opened(source):  # says in words why a file cannot be opened
        pass
    wanted = Wanted(now, job, 0, shifts or Shifts({}))
    with ParquetReader(source) as reader, unread(bad) as told, whole_recording(target) as store:
        return _Importing(source, reader, store, wanted, told).run(progress)


class _Place(NamedTuple):
    """What stands for a point, instrument and unit of the file."""

    channel: Channel | None
    why: str = ""
    """Why there is no channel."""


class _Importing:
    """One file on its way in."""

    def __init__(self, source: Path, reader: ParquetReader, store: Store, wanted: Wanted, told: Unread) -> None:
        self._source, self._reader, self._store, self._told = source, reader, store, told
        self._wanted, self._shifts = wanted, wanted.shifts
        self._ours = codec.is_recording(reader.texts, str(source))
        self._channels: dict[str, Channel] = {}
        self._places: dict[tuple[str, str, str], _Place] = {}
        self._batch: list[Written] = []
        self._readings = self._conflicts = 0
        self._row = 0
        """Rows before those that are looked at. [1]"""

    def run(self, progress: Progress | None) -> Imported:
        texts, name, now = self._reader.texts, str(self._source), self._wanted.now
        for channel in codec.channels_in(texts, name) if self._ours else []:
            self._meet(channel)
        if self._ours:
            self._shifts.check([*self._channels.values()], name)
        events, lost = codec.events_in(texts, name)
        self._batch += map(self._shifts.followed, events)
        for problem in lost:
            self._told.add(problem)
        if self._wanted.job:
            self._batch.append(self._wanted.job)
        before = 0
        for number, rows in enumerate(self._reader.groups):
            self._row = before
            try:
                for one in self._reader.slices(number):
                    self._take(one)
                    self._row += one.time.size
                    if progress:
                        progress(self._row / max(self._reader.rows, 1))
            except InputError as error:  # the other row groups are whole all the same
                self._told.add(Problem(self._row + 1, f"{error.what}; rows up to {before + rows} are lost", "row"))
            before += rows
        self._shifts.check([*self._channels.values()], name)
        if not self._ours and not self._readings:
            first = f" ({self._told.first[0]})" if self._told.first else ""
            raise InputError(f"{self._source} has no reading that could be read{first}", "name another file")
        lacking = self._pictures(codec.attachments_in(texts, name) if self._ours else [])
        text = f"imported from {self._source.name}: {self._readings} readings, {self._told.count} problems"
        if not self._ours or self._told.count or self._shifts:
            self._batch.append(Event(now, EventKind.RECORDER, text, None, {"from": self._source.name}))
        self._batch += self._shifts.events(self._source.name, now)
        self._batch += self._told.events(self._source.name, now)
        self._write()
        return Imported(
            self._readings, self._store.kept, self._conflicts, self._told.first, self._told.count, lacking=lacking
        )

    def _pictures(self, told: list[dict[str, Any]]) -> str:
        """Take the photographs in, each in a batch of its own; what of them is not in the file, in words."""
        lacking = 0
        for number, one in enumerate(pictures_in(self._source, told), start=1):
            if one is None:
                lacking += 1
            elif one.why:
                self._told.add(Problem(number, one.why, "photograph"))
            else:
                self._store.append([*pieces(one.attachment, one.content), one.attachment])
        many = "1 photograph of the recording is" if lacking == 1 else f"{lacking} photographs of the recording are"
        return f"{many} not in it" if lacking else ""

    def _meet(self, channel: Channel) -> None:
        self._channels[channel.key] = channel
        self._places[channel.point, channel.instrument, channel.unit] = _Place(channel)
        self._shifts.meet(channel)
        self._batch.append(channel)

    def _write(self) -> None:
        self._conflicts += len(self._store.append(self._batch))
        self._batch.clear()

    def _take(self, one: Slice) -> None:
        """Record the rows of a slice."""
        good = self._checked(one.timed, "there is no time, or one that nanoseconds since 1970 cannot say")
        quality = self._quality(one, good)
        texts = [one.texts[name] for name in ("point", "instrument", "unit")]
        for places, alike in _alike(texts):
            place = self._place(*(text.text[at] if at >= 0 else "" for text, at in zip(texts, places, strict=True)))
            rows = alike[good[alike]]
            if place.channel is None:
                for row in rows.tolist():
                    self._bad(row, place.why)
                continue
            key = place.channel.key
            moved, far = self._shifts.moved(key, Rows(one.time[rows], one.value[rows], quality[rows]))
            for row in rows[far].tolist():
                self._bad(row, f"{key}: its time is out of range when it is moved")
            self._readings += rows.size
            self._batch.append(Many(key, moved))
            if not self._ours and one.withdrawn is not None:
                self._withdraw(key, one.time[rows[one.withdrawn[rows]]])
        self._write()

    def _withdraw(self, key: str, times: NDArray[np.int64]) -> None:
        """A number that counts as never read must not come back as a good one."""
        for time in times.tolist():
            event = Event(self._wanted.now, EventKind.WITHDRAWN, f"withdrawn: {key}, as {self._source.name} says", key)
            at = {"channel": key, "at": time + self._shifts.of(key)}
            self._batch.append(Event(event.time, event.kind, event.text, event.subject, at))

    def _quality(self, one: Slice, good: NDArray[np.bool_]) -> NDArray[np.int8]:
        """Quality of each row; where the file says none, good with a number and bad without."""
        none = np.where(np.isnan(one.value), np.int8(Quality.BAD), np.int8(Quality.GOOD))
        said = one.texts.get("quality")
        if said is None:
            return none
        known = [codec.QUALITIES.index(word) if word in codec.QUALITIES else -1 for word in said.text]
        number = np.append(np.array(known, np.int8), np.int8(-1))[said.place]
        unknown = (number < 0) & (said.place >= 0)
        for row in np.flatnonzero(unknown & good).tolist():
            word = said.text[said.place[row]]
            self._bad(row, f"quality '{word[:40]}' is none of {', '.join(codec.QUALITIES)}")
        good &= ~unknown
        return np.where(number < 0, none, number)

    def _checked(self, good: NDArray[np.bool_], why: str) -> NDArray[np.bool_]:
        for row in np.flatnonzero(~good).tolist():
            self._bad(row, why)
        return good.copy()

    def _bad(self, row: int, why: str) -> None:
        self._told.add(Problem(self._row + row + 1, why, "row"))

    def _place(self, point: str, instrument: str, unit: str) -> _Place:
        """The channel of these three, which becomes one of the recording where it was not."""
        found = self._places.get((point, instrument, unit))
        if found is None:
            try:
                channel = codec.foreign_channel(point, instrument, unit)
                if (known := self._channels.get(channel.key)) is not None:
                    raise ValueError(f"{channel.key} is in {unit} here and in {known.unit} before")
                self._meet(channel)
                found = _Place(channel)
            except ValueError as error:
                found = _Place(None, str(error))
            self._places[point, instrument, unit] = found
        return found


def _alike(texts: list[Texts]) -> Iterator[tuple[tuple[int, ...], NDArray[np.intp]]]:
    """Rows that have the same texts, together: the places of these texts, and the rows."""
    code = np.zeros(texts[0].place.size, np.int64)
    for text in texts:
        code = code * (len(text.text) + 1) + text.place + 1
    for one in np.unique(code).tolist():
        rows = np.flatnonzero(code == one)
        yield tuple(int(text.place[rows[0]]) for text in texts), rows
