"""Whether a recording is whole: every block, every row with a checksum, the pyramid, and SQLite's own check."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from analysis.model import Event, EventKind
from collector.blocks import DamagedError, faults
from collector.database import DatabaseError, RecordingError, is_recording, said
from collector.parts import Damage, Place, SealedAndFresh
from collector.pyramid import SLOT, Pyramid
from collector.recording import Recording
from collector.rows import EMPTY, joined
from collector.slots import LEVELS, STEP, Slots, coarser, slots_of
from collector.slots import joined as joined_slots

MOST_TOLD = 100
"""Of SQLite's own findings. [1]"""


@dataclass(frozen=True, slots=True)
class Held:
    """What there is of one channel."""

    key: str
    count: int
    """Readings. [1]"""
    first: int | None
    """[ns]"""
    last: int | None
    """[ns]"""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that is wrong, in words, and where."""

    text: str
    channel: str | None = None
    """Key of the channel, where it is known."""
    first: int | None = None
    """Span of the readings that cannot be had. [ns]"""
    last: int | None = None
    """[ns]"""
    count: int | None = None
    """Of them. [1]"""


@dataclass(frozen=True, slots=True)
class Verified:
    """What was found."""

    format: int
    size: int
    """[bytes]"""
    channels: tuple[Held, ...]
    events: Mapping[str, int]
    """Number of each kind. [1]"""
    attachments: int
    gaps: tuple[Event, ...]
    """Spans of which readings were lost when they were recorded."""
    faults: tuple[Fault, ...]


def verified(path: Path, progress: Callable[[float], None] | None = None) -> Verified:
    """Look at all of a recording; RecordingError where not even its beginning can be read."""
    if path.is_file() and not is_recording(path):
        raise RecordingError(f"{path} is no recording, or its first bytes are damaged", "keep it as it is")
    tell = progress or (lambda _: None)
    with Recording(path, past_damage=True) as recording:
        looking = _Looking(recording)
        try:
            with said(path, "read"), recording.still():
                looking.at_all(tell)
        except RecordingError as error:
            looking.found.append(Fault(error.what))
        return Verified(
            recording.format,
            path.stat().st_size,
            tuple(looking.held),
            dict(sorted(looking.kinds.items())),
            looking.attachments,
            tuple(looking.gaps),
            tuple(dict.fromkeys(looking.found)),
        )


class _Looking:
    """Goes through a recording and gathers what it finds."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording
        self.found: list[Fault] = []
        self.held: list[Held] = []
        self.kinds: Counter[str] = Counter()
        self.gaps: list[Event] = []
        self.attachments = 0

    def at_all(self, tell: Callable[[float], None]) -> None:
        """The file as a database, then what is in it; what cannot be looked at does not end the rest."""
        for look in (self._sqlite, self._small_tables, self._contents):
            self._tried(look)
        tell(0.1)
        keys = list(self._recording.numbers().items())
        for place, (key, number) in enumerate(keys, start=1):
            self._tried(partial(self._channel, key, number))
            tell(0.1 + 0.9 * place / len(keys))
        self._told(self._recording.damage)

    def _tried(self, look: Callable[[], object]) -> None:
        try:
            look()
        except RecordingError as error:
            self.found.append(Fault(error.what))
        except (DatabaseError, ValueError, TypeError) as error:
            self.found.append(Fault(f"part of the file cannot be read ({error})"))

    def _sqlite(self) -> None:
        db = self._recording.db
        for query in (f"PRAGMA integrity_check({MOST_TOLD})", "PRAGMA foreign_key_check"):
            for row in db.execute(query).fetchall():
                if row != ("ok",):
                    said = " ".join(str(one) for one in row).replace("\n", "; ")
                    self.found.append(Fault(f"the file is damaged as a database: {said}"))

    def _small_tables(self) -> None:
        events = self._recording.events()
        self.kinds.update(str(event.kind) for event in events)
        self.gaps += [event for event in events if event.kind is EventKind.GAP]
        self._recording.channels  # noqa: B018 - looks at each

    def _contents(self) -> None:
        attachments = self._recording.attachments()
        self.attachments = len(attachments)
        for one in attachments:
            self._tried(partial(self._recording.content, one.id))

    def _channel(self, key: str, number: int) -> None:
        parts = self._recording.parts
        whole = True
        if isinstance(parts, SealedAndFresh):
            whole = self._blocks(parts, number)
            self._pyramid(parts, key, number, whole=whole)
        count, ends = 0, None
        for part in parts.chunks(number):
            if part.time.size:
                count += part.time.size
                ends = (ends[0] if ends else int(part.time[0]), int(part.time[-1]))
        self.held.append(Held(key, count, *(ends or (None, None))))

    def _blocks(self, parts: SealedAndFresh, number: int) -> bool:
        whole, until = True, None
        for place in parts.places(number):
            wrong = list(_wrong(parts, number, place))
            if until is not None and place.first <= until:
                wrong.append("it begins before the one before it ends")
            until = place.last
            whole = whole and not wrong
            for why in wrong:
                damage = Damage("block", why, number, place.first, place.last, place.count)
                self._told([damage])
        return whole

    def _pyramid(self, parts: SealedAndFresh, key: str, number: int, *, whole: bool) -> None:
        """Each level against the one below, the lowest against the readings; where these are damaged only itself."""
        pyramid, places = Pyramid(self._recording.db, parts, number), parts.places(number)
        if not places:
            return
        first, last = places[0].first >> SLOT, max(place.last for place in places) >> SLOT
        try:
            slots = _made(parts, places, number) if whole else pyramid.stored(0, first, last)
            for level in range(LEVELS):
                if not pyramid.stored(level, first, last).equals(slots):
                    self.found.append(Fault(f"the overview of {key} differs from its readings (level {level})", key))
                    return
                slots, first, last = coarser(slots), first >> STEP, last >> STEP
        except DamagedError as error:
            self.found.append(Fault(f"part of the overview of {key} is damaged: {error}", key))

    def _told(self, damage: list[Damage]) -> None:
        keys = {number: key for key, number in self._recording.numbers().items()}
        for one in damage:
            key = None if one.channel is None else keys.get(one.channel)
            self.found.append(Fault(self._recording.told(one), key, one.first, one.last, one.count))


def _made(parts: SealedAndFresh, places: list[Place], number: int) -> Slots:
    """Slots of level 0 as the sealed readings make them, a block at a time."""
    made, open_, before = [], EMPTY, None
    for place in places:
        open_ = joined([open_, parts.rows(number, place)])
        if not open_.time.size:
            continue
        done = int(np.searchsorted(open_.time, open_.time[-1] >> SLOT << SLOT))  # the last slot may go on
        made.append(slots_of(open_.at(slice(0, done)), before))
        before = int(open_.time[done - 1]) if done else before
        open_ = open_.at(slice(done, None))
    return joined_slots([*made, slots_of(open_, before)])


def _wrong(parts: SealedAndFresh, number: int, place: Place) -> Iterator[str]:
    try:
        yield from faults(parts.block(number, place))
    except DamagedError as error:
        yield str(error)
