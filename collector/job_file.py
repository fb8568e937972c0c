"""The job file on the disk, written so that it is there whole, as it was or as it is to be, whatever happens."""

import contextlib
import os
import secrets
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from collector.job_lines import read_text
from drivers.base import InputError


class ConflictError(InputError):
    """The file is no longer what it was when it was read."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A job file as it stands on the disk."""

    text: str
    """Without a mark at its beginning, lines ended by a line feed alone."""
    version: str
    """Of its content; empty where there is no file."""
    there: bool
    windows: bool = False
    """Its lines end as on Windows."""


NOT_THERE = Kept("", "", there=False)


def kept(path: Path) -> Kept:
    """What stands in a file, `NOT_THERE` where there is none; JobError when it cannot be read."""
    if not path.exists():
        return NOT_THERE
    text = read_text(path)
    plain = text.replace("\r\n", "\n")
    return Kept(plain, sha256(text.encode()).hexdigest(), there=True, windows=plain != text)


def write(path: Path, text: str, *, expected: str) -> Kept:
    """Put a text in the place of the one whose version is `expected`; a link stays one, permissions stay.

    ConflictError when another one stands there, InputError in one sentence when it cannot be written; then the file is
    as it was.
    """
    before = kept(path)
    if before.version != expected:
        what = f"{path.name} was changed meanwhile" if before.there else f"{path.name} was removed meanwhile"
        raise ConflictError(f"{what}, nothing was saved", "read it again")
    if before.windows:
        text = text.replace("\n", "\r\n")
    try:
        _replace(path.resolve(), text)
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(f"{path.name} cannot be written: {why}", "what was typed is still here") from error
    return kept(path)


def remove(path: Path, *, expected: str) -> None:
    """Take away a file that was not there before; ConflictError and InputError as `write`."""
    if kept(path).version != expected:
        raise ConflictError(f"{path.name} was changed meanwhile, nothing was undone", "read it again")
    try:
        path.unlink()
        _sync_folder(path.parent)
    except OSError as error:
        raise InputError(f"{path.name} cannot be removed: {error.strerror or error}", "it stays as it is") from error


def _replace(path: Path, text: str) -> None:
    if path.exists() and not os.access(path, os.W_OK):
        raise PermissionError(None, "it is write-protected")
    new = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    number = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        with os.fdopen(number, "wb") as file:
            _same_rights(path, new)
            file.write(text.encode())
            file.flush()
            os.fsync(file.fileno())
        new.replace(path)
    except BaseException:
        new.unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _same_rights(path: Path, new: Path) -> None:
    try:
        before = path.stat()
    except FileNotFoundError:
        return  # the user's own mask holds
    with contextlib.suppress(OSError, AttributeError):  # only who may give files away can keep a foreign owner
        os.chown(new, before.st_uid, before.st_gid)
    new.chmod(before.st_mode & 0o7777)


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every system can; the file itself is synced
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)
