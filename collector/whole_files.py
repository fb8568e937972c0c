"""Files that are there whole or not at all: written under another name, and given theirs at the end."""

import io
import os
import sys
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, TextIO, cast

from collector.store import Store
from drivers.base import InputError


@contextmanager
def whole_file(target: Path | None) -> Generator[BinaryIO, None, None]:
    """A binary file, or standard output where there is no target; InputError in one sentence where it takes no more."""
    if target is None:
        try:
            yield sys.stdout.buffer
            sys.stdout.buffer.flush()
        except OSError as error:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or Python complains once more at its end
            raise InputError(f"cannot write to standard output ({error.strerror})", "export to a file") from error
        return
    part = target.with_name(f"{target.name}.part")
    try:
        with part.open("wb") as file:
            yield cast(BinaryIO, file)
        part.replace(target)
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise InputError(f"cannot write {target} ({reason})", "choose another folder or free some space") from error
    finally:
        with suppress(OSError):
            part.unlink()


@contextmanager
def text_of(file: BinaryIO, errors: str = "strict") -> Iterator[TextIO]:
    """A binary file that text is written to; it stays open."""
    wrapped = io.TextIOWrapper(file, encoding="utf-8", errors=errors, newline="")
    try:
        yield wrapped
        wrapped.flush()
    finally:
        with suppress(OSError):  # said already, where it could not be written
            wrapped.detach()


@contextmanager
def whole_recording(target: Path) -> Iterator[Store]:
    """A new recording; what was left of an earlier attempt to make it goes."""
    part = target.with_name(f"{target.name}.part")
    half_made = [part, *(Path(f"{part}{ending}") for ending in ("-wal", "-shm"))]

    _clear(half_made)
    try:
        with Store(part) as store:
            yield store
        part.rename(target)
    finally:
        _clear(half_made)  # the log too: a stop may come while the recording is being opened


def _clear(paths: Sequence[Path]) -> None:
    for path in paths:
        path.unlink(missing_ok=True)
