"""From messages on a broker to lines for a server: which call a topic is, which channels it has, what is in a message.

A message is read by a decoder and written by the same `Writer` as a recording's readings, so that whoever sends the
recording itself afterwards sends the same points.
"""

from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from analysis.model import Channel
from collector.rows import Rows
from collector.sinks.lines import Writer
from drivers.base import InputError

MOST_CALLS = 20_000
"""Calls whose channels are remembered; of more, those that said nothing for longest are forgotten. [1]"""


@dataclass(frozen=True, slots=True)
class Described:
    """What a call says of its channels."""

    channels: Mapping[str, Channel]
    """By the names that its readings have for them."""
    equipment: str = ""
    """Model and serial number of the unit, where its job says them."""


class Decoder(Protocol):
    """Reads the two kinds of message; InputError where one cannot be read."""

    def channels(self, payload: bytes) -> Described:
        """The channels of a call."""
        ...

    def readings(self, payload: bytes) -> Sequence[tuple[str, Rows]]:
        """Readings by the name of their channel, in any order of time."""
        ...


class Place(NamedTuple):
    """Whose call it is."""

    company: str
    technician: str
    call: str


class UnknownChannelError(InputError):
    """Readings of a channel that the call has not described, or not yet."""


Parts = list[tuple[Writer, Rows]]
"""Readings with what makes lines of them."""


@dataclass(slots=True)
class _Call:
    channels: dict[str, tuple[Channel, str]]
    """With the unit that they are of."""
    writers: dict[str, Writer]


class Calls:
    """The calls that were heard of, and their channels."""

    def __init__(self, decoder: Decoder, most: int = MOST_CALLS) -> None:
        self._decoder = decoder
        self._most = most
        self._calls: OrderedDict[Place, _Call] = OrderedDict()

    def __len__(self) -> int:
        """Calls whose channels are known. [1]"""
        return len(self._calls)

    def learn(self, place: Place, payload: bytes) -> None:
        """The channels of a call; an empty message (the call is over) takes nothing back, since readings may follow."""
        if not payload:
            return
        said = self._decoder.channels(payload)
        call = self._calls.setdefault(place, _Call({}, {}))
        self._calls.move_to_end(place)
        about = {"call": place.call, "company": place.company, "technician": place.technician}
        about |= {"equipment": said.equipment} if said.equipment else {}
        for name, channel in said.channels.items():
            if call.channels.get(name) != (channel, said.equipment):
                call.channels[name], call.writers[name] = (channel, said.equipment), Writer(channel, about)
        while len(self._calls) > self._most:
            self._calls.popitem(last=False)

    def read(self, place: Place, payload: bytes) -> Parts:
        """Readings of a message; UnknownChannelError where one is of a channel that was not described."""
        found = self._decoder.readings(payload)
        call = self._calls.get(place)
        missing = [name for name, _ in found if call is None or name not in call.writers]
        if missing:
            what = f"readings of '{missing[0][:60]}' came from {place.technician} and no description of that channel"
            raise UnknownChannelError(what, "its technician's program says it again when it connects anew")
        if call is None:
            return []
        self._calls.move_to_end(place)
        return [(call.writers[name], rows) for name, rows in found]


class Written(NamedTuple):
    """Lines of several messages."""

    text: list[str]
    refused: int
    """Readings of which no line can be made. [1]"""


def written(parts: Iterable[tuple[Writer, Rows]]) -> Written:
    """Lines message by message, each channel in the order of time; what came twice stands there twice."""
    text: list[str] = []
    refused = 0
    for writer, rows in parts:
        lines = writer.lines(_in_order(rows))
        text += lines.text
        refused += len(lines.refused)
    return Written(text, refused)


def _in_order(rows: Rows) -> Rows:
    """Without what stands there twice."""
    if rows.time.size < 2 or bool((rows.time[1:] > rows.time[:-1]).all()):
        return rows
    _, places = np.unique(rows.time, return_index=True)
    return rows.at(places)
