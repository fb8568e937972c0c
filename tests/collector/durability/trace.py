"""What a program does to the files of one folder, as `strace` saw it: writes, syncs, names that come and go."""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

WATCHED = (
    "openat open creat close dup dup2 dup3 write pwrite64 writev pwritev pwritev2 lseek ftruncate truncate fallocate"
    " fsync fdatasync sync_file_range syncfs sync unlink unlinkat rename renameat renameat2 link linkat mkdir mkdirat"
    " rmdir symlink symlinkat sendfile copy_file_range"
)
"""Every call that changes what a file or a folder holds, or whether it lasts."""

OF_DESCRIPTORS = ("close", "write", "pwrite64", "lseek", "ftruncate", "fsync", "fdatasync")
"""Those that name no file."""


@dataclass(frozen=True, slots=True)
class Write:
    """Bytes into a file."""

    file: int
    offset: int
    data: bytes


@dataclass(frozen=True, slots=True)
class Cut:
    """A file made as long as this."""

    file: int
    size: int


@dataclass(frozen=True, slots=True)
class Sync:
    """A file's content and size are on the medium."""

    file: int


@dataclass(frozen=True, slots=True)
class SyncFailed:
    """A sync that the medium refused: what was written is on it or not, and no later sync changes that."""

    file: int


@dataclass(frozen=True, slots=True)
class SyncFolder:
    """The folder's names are on the medium."""


@dataclass(frozen=True, slots=True)
class Names:
    """Names that stand for other files from now on (None: for none), all at once."""

    changes: tuple[tuple[str, int | None], ...]


@dataclass(frozen=True, slots=True)
class Said:
    """Text on standard output."""

    text: str


Operation = Write | Cut | Sync | SyncFailed | SyncFolder | Names | Said


@dataclass(slots=True)
class Run:
    """What a program did to a folder."""

    before: Mapping[str, bytes]
    """Files that were there, all on the medium: number n is the n-th of them."""
    operations: list[Operation] = field(default_factory=list)
    certain: int = 0
    """Operations before the first instant at which the power may go. [1]"""


def strace() -> str:
    """The program that sees the file operations of another; skips where there is none or it may see nothing."""
    found = shutil.which("strace")
    if found is None:
        pytest.skip("no strace to see file operations with; run: sudo apt-get install -y strace")
    tried = subprocess.run([found, "-o", "/dev/null", "--", "true"], capture_output=True, text=True, check=False)
    if tried.returncode:
        pytest.skip(f"strace may not look at a program here: {tried.stderr.strip()}")
    return found


def traced(folder: Path, *command: str, refused: str = "") -> Run:
    """Run a program and give what it did to the files of a folder; it must end well.

    `refused` names system calls that are answered with an error, as the option `inject` of strace has it.
    """
    before = {file.name: file.read_bytes() for file in sorted(folder.iterdir())}
    log = folder.with_name(f"{folder.name}.strace")
    options = ("-f", "-xx", "-s", str(2**24), "-e", f"trace={','.join(WATCHED.split())}", "-o", str(log))
    injected = ("-e", f"inject={refused}") if refused else ()
    done = subprocess.run([strace(), *options, *injected, "--", *command], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    run = Run(before, list(_Reading(folder, before).operations(log)))
    log.unlink()
    return run


_CALL = re.compile(r"(\w+)\((.*)\)\s+= (-?\d+)")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"(\.\.\.)?')
_FOLDER = -1
"""In place of a file's number: the folder itself."""


class _Reading:
    """Follows descriptors and names through the log."""

    def __init__(self, folder: Path, before: Mapping[str, bytes]) -> None:
        self._folder = folder
        self._names = {name: number for number, name in enumerate(before)}
        self._files = len(before)
        self._open: dict[int, int] = {}
        """Descriptor, and the file it stands for."""
        self._at: dict[int, int] = {}
        """Descriptor, and where the next write goes."""

    def operations(self, log: Path) -> Iterator[Operation]:
        cut_short: dict[str, str] = {}
        with log.open() as lines:
            for line in lines:
                process, _, call = line.rstrip("\n").partition(" ")
                call = call.strip()
                if call.endswith("<unfinished ...>"):
                    cut_short[process] = call.removesuffix("<unfinished ...>").rstrip()
                    continue
                if call.startswith("<... "):
                    call = cut_short.pop(process) + call.partition("resumed>")[2]
                if found := _CALL.match(call):
                    if (result := int(found[3])) >= 0:
                        yield from self._step(found[1], found[2], result)
                    elif found[1] in ("fsync", "fdatasync") and self._open.get(int(found[2]), _FOLDER) != _FOLDER:
                        yield SyncFailed(self._open[int(found[2])])

    def _step(self, call: str, arguments: str, result: int) -> Iterator[Operation]:
        texts = [bytes.fromhex(text.replace("\\x", "")) for text, _ in _TEXT.findall(arguments)]
        assert not any(more for _, more in _TEXT.findall(arguments)), "a write longer than the log has"
        rest = _TEXT.sub('""', arguments).split(", ")
        if call == "openat":
            yield from self._opened(texts[0].decode(), rest[2], result)
        elif call in ("unlink", "unlinkat", "rename", "renameat", "renameat2"):
            yield from self._renamed([text.decode() for text in texts])
        elif rest[0].isdigit() and int(rest[0]) == 1 and call == "write":
            yield Said(texts[0].decode())
        elif rest[0].isdigit() and int(rest[0]) in self._open:
            yield from self._changed(call, int(rest[0]), texts, rest, result)
        elif call not in OF_DESCRIPTORS and any(self._name(text.decode()) for text in texts):
            raise AssertionError(f"{call}({rest}) is not followed")

    def _name(self, path: str) -> str | None:
        """Name within the folder, or None for what is elsewhere."""
        whole = Path(path)
        return whole.name if whole.parent == self._folder else None

    def _opened(self, path: str, flags: str, descriptor: int) -> Iterator[Operation]:
        if Path(path) == self._folder:
            self._open[descriptor] = _FOLDER
        if (name := self._name(path)) is None:
            return
        if name not in self._names:
            self._names[name] = self._files
            self._files += 1
            yield Names(((name, self._names[name]),))
        elif "O_TRUNC" in flags:
            yield Cut(self._names[name], 0)
        assert "O_APPEND" not in flags, "where an appending write goes is not followed"
        self._open[descriptor], self._at[descriptor] = self._names[name], 0

    def _renamed(self, paths: list[str]) -> Iterator[Operation]:
        names = [self._name(path) for path in paths]
        if names[0] is None:
            assert not any(names), "a file from elsewhere is not followed"
            return
        changes: list[tuple[str, int | None]] = [(names[0], None)]
        number = self._names.pop(names[0])
        if len(names) > 1 and names[1] is not None:
            self._names[names[1]] = number
            changes.append((names[1], number))
        yield Names(tuple(changes))

    def _changed(
        self, call: str, descriptor: int, texts: list[bytes], rest: list[str], result: int
    ) -> Iterator[Operation]:
        file = self._open[descriptor]
        if call == "close":
            del self._open[descriptor]
        elif call in ("fsync", "fdatasync"):
            yield SyncFolder() if file == _FOLDER else Sync(file)
        elif call == "pwrite64":
            yield Write(file, int(rest[3]), texts[0][:result])
        elif call == "write":
            yield Write(file, self._at[descriptor], texts[0][:result])
            self._at[descriptor] += result
        elif call == "lseek":
            self._at[descriptor] = result
        elif call == "ftruncate":
            yield Cut(file, int(rest[1]))
        else:
            raise AssertionError(f"{call} on a file of the recording is not followed")


def writer(*arguments: object) -> tuple[str, ...]:
    """Command that starts the writer under load."""
    return (sys.executable, "-m", "tests.collector.durability.load", *map(str, arguments))
