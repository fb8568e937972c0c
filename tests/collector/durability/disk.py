"""What a power loss may leave of a folder: a disk that promises no more than SQLite asks of one.

What is asked of it, from SQLite's own documents: *Atomic Commit In SQLite*, section 2 "Hardware Assumptions"
(https://www.sqlite.org/atomiccommit.html): what was written before a sync is there after it; without one the system
may keep writes in any order or none; a file may have grown before its new bytes are there, which are anything then;
a name is deleted or not, nothing between. *Powersafe Overwrite* (https://www.sqlite.org/psow.html): a write does not
change bytes beside it. *WAL-mode File Format* (https://www.sqlite.org/walformat.html): frames have checksums over all
before them, so that a torn log ends at its last whole commit; the index `-shm` is not needed and is made anew.

The model goes as far as that, and further where a disk may: each sector of a file holds any one of its versions since
the file's last sync, whatever the others hold; the size is any since then; of the names that came and went since the
folder's last sync any may be kept or not, whatever the order. A rename is one change. What a refused sync left out is
counted as written by the system, and no later sync brings it back.
"""

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from tests.collector.durability.trace import Cut, Names, Operation, Run, Said, Sync, SyncFailed, SyncFolder, Write

SECTORS = (512, 4096)
"""Bytes that are written as one; chosen anew for each state."""

TRIES = 8
"""How often another state is looked for at an instant before one is taken that was there already. [1]"""


@dataclass(frozen=True, slots=True)
class State:
    """What lies in the folder when the power is back."""

    files: Mapping[str, bytes]
    said: str
    """What the program had said before the power went."""
    after: int
    """Operations done by then. [1]"""
    why: str
    """How it was chosen."""


@dataclass(slots=True)
class _File:
    durable: bytes = b""
    """What is certainly on the medium."""
    read: bytes = b""
    """What a program reads, but for what is pending: other than that only after a sync that was refused."""
    pending: list[Write | Cut] = field(default_factory=list)

    def now(self) -> bytes:
        return _after(self.read, self.pending)


class Disk:
    """A folder while a program works in it."""

    def __init__(self, run: Run, chance: random.Random) -> None:
        self._chance = chance
        self._files = [_File(content, content) for content in run.before.values()]
        self._durable: dict[str, int] = {name: number for number, name in enumerate(run.before)}
        self._pending: list[Names] = []
        self.said = ""

    def step(self, operation: Operation) -> None:
        """Do one thing more."""
        match operation:
            case Write(file) | Cut(file):
                self._files[file].pending.append(operation)
            case Sync(file):
                one = self._files[file]
                self._files[file] = _File(_after(one.durable, one.pending), one.now())
            case SyncFailed(file):  # the system counts it as written from then on, and does not try again
                one = self._files[file]
                self._files[file] = _File(_remains(one, self._chance.choice(SECTORS), self._chance)[0], one.now())
            case SyncFolder():
                self._durable, self._pending = self._named(self._pending), []
            case Names(changes):
                self._files.extend(_File() for _, number in changes if number == len(self._files))
                self._pending.append(operation)
            case Said(text):
                self.said += text

    def now(self) -> dict[str, bytes]:
        """What a program reads in the folder."""
        return {name: self._files[number].now() for name, number in self._named(self._pending).items()}

    def lost(self, after: int) -> State:
        """A state that a power loss at this instant may leave."""
        chance = self._chance
        sector = chance.choice(SECTORS)
        kept, how = self._kept_names()
        files, whys = {}, [f"names: {how}"]
        for name, number in self._named(kept).items():
            if name.endswith("-shm"):  # written through memory, which no trace shows: anything may be there
                if chance.random() < 0.5:
                    files[name] = chance.choice((bytes(32768), chance.randbytes(32768)))
                continue
            files[name], how = _remains(self._files[number], sector, chance)
            if self._files[number].pending:
                whys.append(f"{name}: {how}")
        return State(files, self.said, after, f"sectors of {sector}; {'; '.join(whys)}")

    def _kept_names(self) -> tuple[Sequence[Names], str]:
        chance = self._chance
        how = chance.choice(("all", "none", "first", "any"))
        if how == "first":
            return self._pending[: chance.randint(0, len(self._pending))], how
        if how == "any":
            return [change for change in self._pending if chance.random() < 0.5], how
        return (self._pending if how == "all" else []), how

    def _named(self, pending: Sequence[Names]) -> dict[str, int]:
        names = dict(self._durable)
        for change in pending:
            for name, number in change.changes:
                if number is None:
                    names.pop(name, None)
                else:
                    names[name] = number
        return names


def losses(run: Run, count: int, chance: random.Random) -> Iterator[State]:
    """States that power losses all over a run may leave, hardly one of them twice, in the order of the instants.

    A quarter of the instants lies where names change.
    """
    anywhere = range(run.certain, len(run.operations) + 1)
    named = [place for place, one in enumerate(run.operations) if isinstance(one, Names | SyncFolder)]
    near = [place + step for place in named for step in range(-2, 4) if place + step in anywhere] or anywhere
    instants = sorted(chance.choice(anywhere if number % 4 else near) for number in range(count))
    disk, done = Disk(run, chance), 0
    seen: set[int] = set()
    for instant in instants:
        while done < instant:
            disk.step(run.operations[done])
            done += 1
        for _ in range(TRIES):
            state = disk.lost(instant)
            if (mark := hash((state.said, *sorted(state.files.items())))) not in seen:
                break
        seen.add(mark)
        yield state


def _after(content: bytes, operations: Sequence[Write | Cut]) -> bytes:
    changed = bytearray(content)
    for operation in operations:
        _apply(changed, operation)
    return bytes(changed)


def _apply(content: bytearray, operation: Write | Cut) -> None:
    if isinstance(operation, Cut):
        del content[operation.size :]
        content.extend(bytes(operation.size - len(content)))
        return
    content.extend(bytes(max(0, operation.offset - len(content))))
    content[operation.offset : operation.offset + len(operation.data)] = operation.data


def _remains(file: _File, sector: int, chance: random.Random) -> tuple[bytes, str]:
    """A content that a file may have when nothing but what was synced is certain."""
    how = chance.choice(("none", "all", "torn", "any", "any", "most", "few"))
    if how == "none" or not file.pending:
        return file.durable, how
    if how == "all":
        return _after(file.durable, file.pending), how
    if how == "torn":
        return _torn(file, sector, chance), how
    return _mixed(file, sector, {"any": 0.5, "most": 0.9, "few": 0.1}[how], chance), how


def _torn(file: _File, sector: int, chance: random.Random) -> bytes:
    """The first few writes, the last of them up to the end of a sector."""
    count = chance.randint(1, len(file.pending))
    content = bytearray(_after(file.durable, file.pending[: count - 1]))
    last = file.pending[count - 1]
    if isinstance(last, Write):
        ends = range(last.offset // sector * sector + sector, last.offset + len(last.data) + sector, sector)
        last = Write(last.file, last.offset, last.data[: chance.choice(ends) - last.offset])
    _apply(content, last)
    return bytes(content)


def _mixed(file: _File, sector: int, newest: float, chance: random.Random) -> bytes:
    """Each sector as it was after any of the writes that touched it; `newest` is how likely the last of them is."""
    sizes = [len(file.durable)]
    touching: dict[int, list[Write]] = {}
    for operation in file.pending:
        if isinstance(operation, Cut):  # what is cut off counts as overwritten by nothing
            write = Write(operation.file, operation.size, bytes(max(0, sizes[-1] - operation.size)))
            sizes.append(operation.size)
        else:
            write = operation
            sizes.append(max(sizes[-1], operation.offset + len(operation.data)))
        for number in range(write.offset // sector, -(-(write.offset + len(write.data)) // sector)):
            touching.setdefault(number, []).append(write)
    size = sizes[-1] if chance.random() < newest else chance.choice(sizes)
    content = bytearray(file.durable.ljust(max(sizes), b"\0"))
    garbage = chance.random() < 0.5
    for number, writes in touching.items():
        kept = len(writes) if chance.random() < newest else chance.randrange(len(writes))
        start = number * sector
        if garbage and not kept and start >= len(file.durable):
            content[start : start + sector] = chance.randbytes(sector)
        for write in writes[:kept]:
            low, high = max(start, write.offset), min(start + sector, write.offset + len(write.data))
            content[low:high] = write.data[low - write.offset : high - write.offset]
    return bytes(content[:size])
