"""A recording read back: what was recorded, as it was recorded."""

import json
import math
from collections.abc import Collection, Generator, Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from heapq import merge
from pathlib import Path
from typing import Any

import numpy as np

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Quality, Reading
from collector.attachments import Attachment
from collector.database import Closing, RecordingError, checksum_of, format_of, open_for_reading, roll_back, said
from collector.older import OlderParts
from collector.overview import Overview, Wanted, overview
from collector.parts import Damage, Parts, SealedAndFresh
from collector.rows import EARLIEST, EMPTY, LATEST, Rows, joined
from collector.rows import Many as Many  # noqa: PLC0414

_CHANNEL = "id, key, point, instrument, unit, low, high, accuracy, response_time"
_EVENT = "id, time, kind, text, subject, data"
_ATTACHMENT = "id, time, name, media_type, text, size"


class Recording(Closing):
    """A recording opened for reading, finished or still being written by another process.

    A part that is damaged ends what reads it with a RecordingError that names it; opened with `past_damage`, reading
    goes on without it and `damage` has it.
    """

    def __init__(self, path: Path, *, past_damage: bool = False) -> None:
        self.path = path
        self.name = path.name.removesuffix(".lightoff")
        self.damage: list[Damage] = []
        """What was left out so far."""
        self.past_damage = past_damage
        """Whether what is damaged is left out instead of ending what reads it."""
        self.db = open_for_reading(path)
        """For `collector.verify`, which looks at the file itself."""
        self._held = 0
        with said(path, "open"):
            self.format = format_of(self.db)
        """Of the file; `collector.database.FORMAT` is written now."""
        self._checked = self.format >= 3
        self.parts: Parts = SealedAndFresh(self.db, self._damaged) if self._checked else OlderParts(self.db)

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Every channel, in the order in which it was first recorded."""
        with self._moment():
            return tuple(Channel(*row[2:]) for row in self._rows("channel", _CHANNEL, "id"))

    def read(self, channel: str, start: int | None = None, end: int | None = None) -> Rows:
        """Readings of a channel from `start` to `end` [ns], both included; empty for a channel that is not there."""
        with self._moment():
            number = self.numbers().get(channel)
            if number is None:
                return EMPTY
            return joined([part for part in self.parts.chunks(number, *_bounds(start, end)) if part.time.size])

    def pieces(self, channel: str) -> Generator[Rows, None, None]:
        """All readings of a channel in pieces in the order of time; never held in memory as a whole."""
        with self._moment():
            number = self.numbers().get(channel)
            if number is not None:
                yield from self.parts.chunks(number)

    def overview(self, channel: str, start: int | None = None, end: int | None = None, points: int = 2000) -> Overview:
        """Smallest and largest value of each of many short spans from `start` to `end` [ns], `points` at the most.

        A time that does not grow with the length of what is looked at. Where no line is to be drawn stands a NaN.
        """
        with self._moment():
            number = self.numbers().get(channel)
            ends = None if number is None else self.parts.ends(number)
            if number is None or ends is None:
                return Overview.empty()
            return overview(self.db, self.parts, Wanted(number, ends, *_bounds(start, end), points))

    @contextmanager
    def still(self) -> Generator[None, None, None]:
        """All that is read within the block is of one moment, also while somebody records; its errors stay its own."""
        if not self._held:
            with said(self.path, "read"):
                self.db.execute("BEGIN")
                self.parts.renew()
        self._held += 1
        try:
            yield
        finally:
            self._held -= 1
            if not self._held:
                roll_back(self.db)

    @contextmanager
    def _moment(self) -> Generator[None, None, None]:
        """Blocks and fresh readings must be of one moment, or one that is sealed in between is read twice or never."""
        with said(self.path, "read"), self.still():
            yield

    def latest(self, before: int | None = None) -> dict[str, Reading]:
        """Last reading of each channel that has one, at all or `before` a time [ns]; none that was withdrawn."""
        found = {}
        with self._moment():
            withdrawn = self.withdrawn()
            for key, number in self.numbers().items():
                gone = withdrawn.get(key, ())
                for part in self.parts.before(number, LATEST if before is None else before):
                    stays = np.flatnonzero(~np.isin(part.time, list(gone))) if gone else None
                    place = part.time.size - 1 if stays is None else stays[-1] if stays.size else -1
                    if place >= 0:
                        found[key] = next(_readings(key, part.at(slice(place, place + 1))))
                        break
        return found

    def withdrawn(self) -> dict[str, set[int]]:
        """Times [ns] of the readings of each channel that count as never read; `read` gives them all the same."""
        found: dict[str, set[int]] = {}
        for event in self.events({EventKind.WITHDRAWN}):
            found.setdefault(str(event.data["channel"]), set()).add(int(str(event.data["at"])))
        return found

    def span(self) -> tuple[int, int] | None:
        """First and last time of any reading [ns], or None when there is none."""
        with self._moment():
            ends = [pair for number in self.numbers().values() if (pair := self.parts.ends(number))]
        return (min(first for first, _ in ends), max(last for _, last in ends)) if ends else None

    def counts(self) -> dict[str, int]:
        """Readings of each channel. [1]"""
        with self._moment():
            return {key: self.parts.count(number) for key, number in self.numbers().items()}

    def about(self, channel: str, start: int | None = None, end: int | None = None) -> int:
        """About so many readings of a channel between two times [ns], as if each block's were evenly spread. [1]"""
        with self._moment():
            number = self.numbers().get(channel)
            return 0 if number is None else self.parts.about(number, *_bounds(start, end))

    def doubtful(self) -> int:
        """Readings that have a value and are not to be trusted as they stand. [1]"""
        with self._moment():
            return self.parts.doubtful()

    def readings(self, start: int | None = None) -> Generator[Reading, None, None]:
        """All readings from `start` [ns] on, in the order of their time; never held in memory as a whole."""
        with self._moment():
            streams = [self._stream(number, key, start) for key, number in self.numbers().items()]
            yield from merge(*streams, key=lambda reading: reading.time)

    def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:
        """All readings from `start` [ns] on with what people did and said among them, in the order of time.

        What is in force at `start` comes first: each channel's last reading before it, zeroings, changes of unit,
        checks, what was done, and withdrawals.
        """
        in_force = {EventKind.ZEROED, EventKind.UNIT_CHANGED, EventKind.CHECK, EventKind.WITHDRAWN, EventKind.DONE}
        told = {EventKind.NOTE, EventKind.MARK, EventKind.ENTRY, EventKind.PHOTO, EventKind.POINT_CHANGED}
        events = self.events(told | in_force)
        if start is not None:
            yield from sorted(self.latest(start).values(), key=lambda reading: reading.time)
            events = [event for event in events if event.time >= start or event.kind in in_force]
        items: list[Iterable[Reading | Event]] = [events, self.readings(start)]
        yield from merge(*items, key=lambda item: item.time)

    def _stream(self, number: int, key: str, start: int | None) -> Iterator[Reading]:
        for part in self.parts.chunks(number, *_bounds(start, None)):
            yield from _readings(key, part)

    def events(self, kinds: Collection[EventKind] | None = None) -> list[Event]:
        """Events of the given kinds, or all, in the order of their time."""
        chosen = {str(kind) for kind in EventKind if kinds is None or kind in kinds}
        with self._moment():
            rows = [row[1:] for row in self._rows("event", _EVENT, "time, id", chosen) if row[2] in chosen]
        return [
            Event(time, EventKind(kind), text, subject, json.loads(data)) for time, kind, text, subject, data in rows
        ]

    def _rows(
        self, table: str, columns: str, order: str, kinds: Collection[str] | None = None
    ) -> list[tuple[Any, ...]]:
        """Rows of a small table, whole ones only; `kinds` are those of events, and a damaged one may be of any."""
        more = ", checksum" if self._checked else ""
        where, parameters = "", tuple[str, ...]()
        if kinds is not None and not self._checked:
            where, parameters = " WHERE kind IN (SELECT value FROM json_each(?))", (json.dumps(sorted(kinds)),)
        query = f"SELECT {columns}{more} FROM {table}{where} ORDER BY {order}"
        rows = self.db.execute(query, parameters).fetchall()
        if not self._checked:
            return rows
        whole = []
        for *row, checksum in rows:
            if checksum_of(*row) == checksum:
                whole.append(tuple(row))
            else:
                self._damaged(Damage(table, f"row {row[0]} of the table of {table}s: its checksum differs"))
        return whole

    def attachments(self) -> tuple[Attachment, ...]:
        """What is attached, in the order of time."""
        if self.format < 2:
            return ()
        with self._moment():
            return tuple(Attachment(*row) for row in self._rows("attachment", _ATTACHMENT, "time, id"))

    def content(self, attachment: str) -> bytes:
        """Bytes of an attachment; RecordingError where there is none of that identity, or it is not whole."""
        known = next((one for one in self.attachments() if one.id == attachment), None)
        if known is None:
            raise RecordingError(f"{self.path} has no attachment '{attachment[:40]}'", "look at its list again")
        columns = "bytes, checksum" if self._checked else "bytes, NULL"
        query = f"SELECT number, {columns} FROM attachment_piece WHERE attachment=? ORDER BY number"
        with self._moment():
            rows = self.db.execute(query, (attachment,)).fetchall()
        content = b"".join(row[1] for row in rows)
        if len(content) != known.size:
            what = f"{known.name} in {self.path} has {len(content)} of its {known.size} bytes"
            raise RecordingError(what, "the file is damaged; keep it as it is")
        if self._checked and any(checksum_of(attachment, n, content=piece) != told for n, piece, told in rows):
            raise RecordingError(f"{known.name} in {self.path} is damaged", "keep the file as it is")
        return content

    def job(self) -> str | None:
        """Text of the job file in force at the end of the recording, or None."""
        jobs = self.events({EventKind.JOB})
        return str(jobs[-1].data["text"]) if jobs else None

    def told(self, damage: Damage) -> str:
        """What is damaged, in words."""
        keys = {number: key for key, number in self.numbers().items()}
        who = f" of {keys.get(damage.channel, f'channel {damage.channel}')}" if damage.channel is not None else ""
        if damage.first is None or damage.last is None:
            return f"{damage.why}{who}"
        many = "" if damage.count is None else f"{damage.count} "
        return f"{many}readings{who} from {moment(damage.first)} to {moment(damage.last)} are damaged: {damage.why}"

    def _damaged(self, damage: Damage) -> None:
        if not self.past_damage:
            hint = "lightoff verify says what else is; analyze and export go on without it"
            raise RecordingError(f"{self.path}: {self.told(damage)}", hint)
        if damage not in self.damage:
            self.damage.append(damage)

    def numbers(self) -> Mapping[str, int]:
        """Number of each channel in the file by its key, in the order of the numbers."""
        return {key: number for number, key in self.db.execute("SELECT id, key FROM channel ORDER BY id")}

    def close(self) -> None:
        """Close the file."""
        self.db.close()


def _bounds(start: int | None, end: int | None) -> tuple[int, int]:
    """Bounds that SQLite takes."""
    low, high = EARLIEST if start is None else start, LATEST if end is None else end
    return max(low, EARLIEST), min(high, LATEST)


def _readings(key: str, rows: Rows) -> Iterator[Reading]:
    for time, value, quality in zip(rows.time.tolist(), rows.value.tolist(), rows.quality.tolist(), strict=True):
        yield Reading(key, time, value if value == value else math.nan, _QUALITIES[quality])  # noqa: PLR0124 - NaN


_QUALITIES = {int(quality): quality for quality in Quality}


def moment(time: int) -> str:
    """A time [ns] in words."""
    try:
        return f"{datetime.fromtimestamp(time / NANOSECONDS, UTC):%Y-%m-%dT%H:%M:%S.%f}"[:-3] + "Z"
    except (ValueError, OverflowError, OSError):
        return f"{time / NANOSECONDS:g} s"
