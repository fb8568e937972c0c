"""Times of instruments whose clock was off, moved as somebody states it; the recording says so."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Event, EventKind
from analysis.points import nearest
from collector.rows import Rows
from drivers.base import InputError

_STATED = re.compile(r"(?P<name>.+)=(?P<sign>[-+]?)(?P<whole>\d{1,10})(?:\.(?P<fraction>\d{0,9}))?")
_FOLLOWING = (EventKind.ENTRY, EventKind.WITHDRAWN, EventKind.PHOTO)
"""Events that name a reading by its time."""


class Shifts:
    """How far the readings of some instruments or channels are moved [ns], by their names as stated."""

    def __init__(self, stated: Mapping[str, int]) -> None:
        self._stated = dict(stated)
        self._moved: dict[str, set[str]] = {name: set() for name in stated}
        self._by: dict[str, int] = {}

    @classmethod
    def parse(cls, texts: Iterable[str]) -> "Shifts":
        """From `INSTRUMENT=SECONDS` or `CHANNEL=SECONDS`; ValueError in words."""
        stated: dict[str, int] = {}
        for text in texts:
            match = _STATED.fullmatch(text.strip())
            if match is None:
                raise ValueError(f"'{text}' is not INSTRUMENT=SECONDS, such as \"draft meter=-12.5\"")
            name = match["name"].strip()
            if name in stated:
                raise ValueError(f"'{name}' is moved twice")
            size = int(match["whole"]) * NANOSECONDS + int(f"{match['fraction'] or ''}000000000"[:9])
            stated[name] = -size if match["sign"] == "-" else size
        return cls(stated)

    def __bool__(self) -> bool:
        """Whether anything is to be moved."""
        return bool(self._stated)

    def meet(self, channel: Channel) -> None:
        """A channel of the file: what is stated for it goes before what is stated for its instrument."""
        for name in (channel.key, channel.instrument):
            if name in self._stated:
                self._moved[name].add(channel.key)
                self._by[channel.key] = self._stated[name]
                break

    def check(self, channels: Sequence[Channel], file: str) -> None:
        """InputError where something is stated for what the file does not have."""
        for name, moved in self._moved.items():
            if not moved and not any(name == channel.instrument for channel in channels):
                known = sorted({channel.instrument for channel in channels} | {channel.key for channel in channels})
                raise InputError(
                    f"{file} has no instrument or channel '{name}'{nearest(name, known)}", "look at --shift"
                )

    def of(self, channel: str) -> int:
        """How far readings of a channel are moved. [ns]"""
        return self._by.get(channel, 0)

    def moved(self, channel: str, rows: Rows) -> tuple[Rows, NDArray[np.intp]]:
        """Readings of a channel at their new times, and the places of those whose new time is out of range."""
        by = self.of(channel)
        if not by:
            return rows, np.zeros(0, np.intp)
        far = rows.time > 2**63 - 1 - by if by > 0 else rows.time < -(2**63) - by
        kept = slice(None) if not far.any() else ~far
        return Rows(rows.time[kept] + by, rows.value[kept], rows.quality[kept]), np.flatnonzero(far)

    def followed(self, event: Event) -> Event:
        """An event that names a reading by its time, with the time where the reading is now; any other as it is."""
        by = self.of(str(event.data.get("channel")))
        if not by or event.kind not in _FOLLOWING or "at" not in event.data:
            return event
        return replace(event, data={**event.data, "at": int(str(event.data["at"])) + by})

    def events(self, source: str, now: int) -> list[Event]:
        """What the recording says of it, so that nobody takes the new times for those of the file."""
        return [
            Event(
                now,
                EventKind.CLOCK,
                f"{name}: its times were moved by {_seconds(by)} s when {source} was imported, as stated then",
                name,
                {"shift": by, "channels": sorted(self._moved[name]), "from": source},
            )
            for name, by in self._stated.items()
            if by and self._moved[name]
        ]


def _seconds(by: int) -> str:
    whole, rest = divmod(abs(by), NANOSECONDS)
    fraction = f".{rest:09d}".rstrip("0").rstrip(".")
    return f"{'-' if by < 0 else '+'}{whole}{fraction}"
