"""A recording played again: its readings keep their own time and come at the pace at which they were taken."""

import asyncio
import time as wall
from collections.abc import Awaitable, Callable, Generator
from contextlib import closing, suppress
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Reading, with_origin
from drivers.base import Emit, InputError
from drivers.codecs.recording_csv import Problem
from drivers.csv_file import open_csv as open_csv  # noqa: PLC0414
from drivers.csv_file import stem as stem  # noqa: PLC0414

SLOWEST, FASTEST = 0.1, 100.0
"""Bounds of the speed; beyond them only `as_fast_as_it_goes`. [1]"""

_SHORTEST_WAIT = 0.0005
"""A reading due sooner is emitted at once. [s]"""

_BATCH = 500
"""Readings emitted between two looks at the loop. [1]"""


class Source(Protocol):
    """What can be played: a recording, whatever its form."""

    name: str

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Every channel there is."""
        ...

    def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:
        """Readings from `start` [ns] on and what was noted beside them, in the order of time.

        The last reading of each channel before `start` comes first; earlier ones may come too.
        """
        ...

    def span(self) -> tuple[int, int] | None:
        """First and last time [ns], or None when there is no reading."""
        ...


class CsvSource:
    """A CSV recording as a source: read from the file each time, never held in memory as a whole."""

    def __init__(self, path: Path, *, start: int = 0) -> None:
        self.path = path
        self.name = stem(path)
        self._start = start
        self._span: tuple[int, int] | None = None
        self.problems: list[Problem] = []
        self.problem_count = 0
        with open_csv(path, start=start) as reader:
            self.channels = reader.channels
            for reading in reader:
                low, high = self._span or (reading.time, reading.time)
                self._span = (min(low, reading.time), max(high, reading.time))
            self.problems, self.problem_count = reader.problems, reader.problem_count

    def span(self) -> tuple[int, int] | None:
        """First and last time [ns], or None when there is no reading."""
        return self._span

    def play(self, start: int | None = None) -> Generator[Reading | Event, None, None]:  # noqa: ARG002
        """Readings in the file's order, from its beginning whatever `start` is."""
        with open_csv(self.path, start=self._start) as reader:
            yield from reader


class Replay:
    """Plays a source; can be paused, moved, looped and given another speed while it runs."""

    def __init__(
        self,
        source: Source,
        *,
        speed: float = 1.0,
        as_fast_as_it_goes: bool = False,
        loop: bool = False,
        stay: bool = False,
        monotonic: Callable[[], float] = wall.monotonic,
        caught_up: Callable[[], Awaitable[None]] | None = None,
    ) -> None:
        self._source = source
        self._rename = {channel.key: self._renamed(channel) for channel in source.channels}
        self.name = with_origin("replay", source.name)
        self.channels = tuple(self._rename.values())
        self._loop = loop
        self._stay = stay
        self._monotonic = monotonic
        self._caught_up = caught_up
        self._hurry = as_fast_as_it_goes
        self._speed = self._checked(speed)
        self._paused = False
        self._changed = asyncio.Event()
        self._seek_to: int | None = None
        self._shift = 0
        self._told: set[tuple[int, EventKind, str]] = set()
        self._anchor: tuple[float, int] | None = None
        """When the playhead was set and where it stood: monotonic [s], recording time [ns]."""
        span = source.span() or (0, 0)
        self.start, self.end = span
        self.position = self.start
        """Where the playhead stands in the recording, without the shift of loops. [ns]"""

    @staticmethod
    def _renamed(channel: Channel) -> Channel:
        return replace(channel, instrument=with_origin("replay", channel.instrument))

    @property
    def path(self) -> Path | None:
        """File that is played, or None where what is played is none."""
        return getattr(self._source, "path", None)

    def _checked(self, speed: float) -> float:
        if not SLOWEST <= speed <= FASTEST:
            raise InputError(f"speed {speed:g} is outside {SLOWEST:g} to {FASTEST:g}", "choose a speed between them")
        return speed

    @property
    def speed(self) -> float:
        """How many seconds of the recording pass in one. [1]"""
        return self._speed

    @property
    def paused(self) -> bool:
        """Whether it stands still."""
        return self._paused

    @property
    def looping(self) -> bool:
        """Whether it starts again when it ends."""
        return self._loop

    def set_speed(self, speed: float) -> None:
        """Go on at another speed; InputError outside the bounds."""
        checked = self._checked(speed)
        self._hold()
        self._speed, self._hurry = checked, False
        self._changed.set()

    def pause(self) -> None:
        """Stand still."""
        self._hold()
        self._paused = True
        self._changed.set()

    def resume(self) -> None:
        """Go on."""
        self._hold()
        self._paused = False
        self._changed.set()

    def _hold(self) -> None:
        """Set the playhead anew where it stands now, so that what changes next counts from here."""
        if self._anchor is not None:
            began, at = self._anchor
            passed = 0.0 if self._paused else (self._monotonic() - began) * self._speed
            self._anchor = (self._monotonic(), at + round(passed * NANOSECONDS))

    def seek(self, position: float) -> None:
        """Go on from `position` after the start of the recording [s]; InputError outside it."""
        time = self.start + round(position * NANOSECONDS)
        if not self.start <= time <= self.end:
            length = (self.end - self.start) / NANOSECONDS
            raise InputError(f"{position:g} s is outside the recording", f"it is {length:.0f} s long")
        self._seek_to = time
        self._changed.set()

    def now(self) -> int:
        """Time of what is shown, with the shift of loops. [ns]"""
        return (self.position if self._seek_to is None else self._seek_to) + self._shift

    async def run(self, emit: Emit) -> None:
        """Emit the readings with their own time; at the end returns, begins again or stays until it is moved."""
        begin: int | None = None
        self._told.clear()
        while True:
            if self._seek_to is None:
                await self._play(emit, begin)
            if self._seek_to is not None:
                begin, self._seek_to = self._seek_to, None
                self.position = begin
                at = (begin - self.start) / NANOSECONDS
                emit(self._event(f"moved to {at:.0f} s from the start", "seek"))
            elif self._loop and self.end > self.start:
                emit(self._event("has come to its end and begins again", "loop"))
                begin = None
                self._shift += self.end - self.start + NANOSECONDS
                self.position = self.start
                self._told.clear()
                await asyncio.sleep(0)  # a loop too short to wait in must not hold up everyone else
            elif self._stay:
                emit(self._event("has come to its end", "end"))
                while self._seek_to is None:
                    self._changed.clear()
                    await self._changed.wait()
            else:
                return

    def _event(self, text: str, what: str) -> Event:
        return Event(self.now(), EventKind.REPLAY, f"{self.name}: {text}", self.name, {"what": what})

    async def _play(self, emit: Emit, begin: int | None) -> None:
        self._anchor = None
        before: dict[str, Reading] = {}
        """Last reading of each channel before the place where it begins: what the meters showed there."""
        with closing(self._source.play(begin)) as items:
            for count, item in enumerate(items, start=1):
                if count % _BATCH == 0:  # finding a place in a long file must not hold up the loop that records
                    await (self._caught_up() if self._hurry and self._caught_up else asyncio.sleep(0))
                if begin is not None and item.time < begin:  # what is in force where it begins
                    if isinstance(item, Reading):
                        before[item.channel] = item
                    else:
                        self._tell(item, emit)
                    continue
                if before:
                    self._show(before, emit)
                if self._paused or not self._hurry:
                    await self._due(item.time)
                if self._seek_to is not None:
                    return
                self.position = max(self.position, item.time)
                if isinstance(item, Reading):
                    emit(self._played(item))
                else:
                    self._tell(item, emit)
            self._show(before, emit)

    def _show(self, before: dict[str, Reading], emit: Emit) -> None:
        for reading in sorted(before.values(), key=lambda reading: reading.time):
            emit(self._played(reading))
        before.clear()

    def _played(self, reading: Reading) -> Reading:
        return replace(reading, channel=self._rename[reading.channel].key, time=reading.time + self._shift)

    def _tell(self, event: Event, emit: Emit) -> None:
        """Emit what was noted, once a round however often the replay is moved back."""
        known = (event.time + self._shift, event.kind, event.text)
        if known in self._told:
            return
        self._told.add(known)
        data = dict(event.data)
        for name in ("channel", "from", "to"):
            if (channel := self._rename.get(str(data.get(name)))) is not None:
                data[name] = channel.key
        if event.kind in (EventKind.ENTRY, EventKind.WITHDRAWN, EventKind.PHOTO) and "at" in data:
            data["at"] = int(str(data["at"])) + self._shift
        if "attachment" in data:  # its bytes are in the recording that is replayed, and only there
            data["replayed"] = data.pop("attachment")
        emit(replace(event, time=event.time + self._shift, data=data))

    async def _due(self, time: int) -> None:
        """Wait until `time` of the recording has come, whatever is changed meanwhile."""
        while self._seek_to is None:
            self._changed.clear()
            if self._paused:
                await self._changed.wait()
                continue
            if self._hurry:
                return
            if self._anchor is None:
                self._anchor = (self._monotonic(), time)
            began, at = self._anchor
            wait = (time - at) / NANOSECONDS / self._speed - (self._monotonic() - began)
            if wait < _SHORTEST_WAIT:
                return
            with suppress(TimeoutError):
                async with asyncio.timeout(wait):
                    await self._changed.wait()
