"""The folder of recordings: which names are in it, and moving one out of the way and back; nothing is ever removed."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType

from collector.database import RecordingError, is_recording
from collector.store import kept_still
from drivers.base import InputError

ENDING = ".lightoff"
DELETED = "deleted"
"""Folder inside the library for what was deleted; it is emptied by hand and by nothing else."""
LONGEST_NAME = 200
"""Of a file, so that what stands beside it may have a name too. [bytes]"""
MOST_OF_ONE_NAME = 1000
"""Files of one name in the folder of deleted ones. [1]"""
BESIDE = ("", "-wal", "-shm", ".archive")
"""A recording that was not finished has its last readings in a log beside it; one that was sent to a server, an account
of what that has."""


def plain_name(name: object) -> str:
    """The name of a recording's file, which leads out of no folder; InputError where it is none."""
    hint = "choose one from the list of recordings"
    if not isinstance(name, str) or not name:
        raise InputError("no recording is named", hint)
    length = len(name.encode("utf-8", "surrogatepass"))
    usable = not any(sign in "/\\:" or ord(sign) < 32 or 0xD800 <= ord(sign) < 0xE000 for sign in name)
    if not usable or name.startswith(".") or not name.endswith(ENDING) or length > LONGEST_NAME:
        raise InputError(f"{name[:40]!r} is no name of a recording", hint)
    return name


def recording_in(folder: Path, name: object) -> Path:
    """The recording of that name in a folder; InputError where there is none."""
    path = folder / plain_name(name)
    if not is_recording(path):
        raise InputError(f"there is no recording {path.name} in {folder.name}", "look at the list of recordings again")
    return path


class Library:
    """Moves recordings of a folder to its folder `deleted` and back, but for those that are `held`: file and why."""

    def __init__(self, folder: Path, held: Mapping[Path, str] = MappingProxyType({})) -> None:
        self.folder = folder.absolute()
        self._held = dict(held)

    def path(self, name: object) -> Path:
        """The recording of that name; InputError where there is none."""
        return recording_in(self.folder, name)

    def delete(self, name: object) -> str:
        """Move a recording to the folder `deleted`; the name it has there. LightoffError: it is where it was."""
        path = self.path(name)
        for held, why in self._held.items():
            if held.exists() and path.samefile(held):
                raise InputError(f"{path.name} {why}", "stop that first")
        deleted = self.folder / DELETED
        with _said(path.name, "deleted"):
            deleted.mkdir(exist_ok=True)
        with _still(path):
            target = _free(deleted, path.stem)
            _move(path, target, "deleted")
        return target.name

    def restore(self, name: object, wished: object = None) -> str:
        """Move a deleted recording back, under another name where that is wished; the name it has now."""
        path = recording_in(self.folder / DELETED, name)
        target = self.folder / (path.name if wished is None else plain_name(wished))
        with _still(target):
            taken = next((one for one in _files(target) if one.exists() or one.is_symlink()), None)
            if taken is not None:
                what = f"{path.name} stays deleted: there is a file {taken.name} in {self.folder.name} again"
                raise InputError(what, "rename that one first")
            _move(path, target, "restored")
        return target.name


@contextmanager
def _still(path: Path) -> Iterator[None]:
    """Nobody records to it while the block runs; told by its name alone."""
    try:
        with kept_still(path):
            yield
    except RecordingError as error:
        raise InputError(error.what.replace(str(path), path.name), "stop that first, and try again") from error


def _files(path: Path) -> list[Path]:
    return [path.with_name(path.name + ending) for ending in BESIDE]


def _free(folder: Path, stem: str) -> Path:
    """A name that nothing in the folder has, as near to the wished one as can be."""
    for number in range(1, MOST_OF_ONE_NAME):
        place = folder / (f"{stem}{ENDING}" if number == 1 else f"{stem} ({number}){ENDING}")
        if not any(one.exists() or one.is_symlink() for one in _files(place)):
            return place
    raise InputError(f"{folder.name} is full of files named {stem}", "empty it by hand")


def _move(path: Path, target: Path, done: str) -> None:
    """Move a recording and what stands beside it; where that fails, all of it is where it was."""
    moved: list[tuple[Path, Path]] = []
    with _said(path.name, done):
        try:
            for old, new in zip(_files(path), _files(target), strict=True):
                if old.exists():
                    old.rename(new)
                    moved.append((old, new))
        except OSError:
            for old, new in reversed(moved):
                new.rename(old)
            raise


@contextmanager
def _said(name: str, done: str) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError(
            f"{name} could not be {done} ({reason})", "look whether its folder may be written to"
        ) from error
