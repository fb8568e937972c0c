"""Lines of results in a file: what stands there is taken up, what was cut off in writing is healed."""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, BinaryIO, cast

from collector.analysis_line import Same, same
from collector.whole_files import whole_file
from drivers.base import InputError

_BEGINNING = b'{"file": "'
"""Of every line; what ends without an end of line and begins otherwise is no line that was cut off."""


class ResultLines:
    """The file while a run writes to it; `result_lines` opens it."""

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._path, self._file = path, file
        self._place: dict[str, tuple[int, int]] = {}
        """Where the last line of each file is, and its length. [bytes]"""
        self._count = 0
        self.known: dict[str, Same] = {}
        """What the line of each file rests on, where it has a result; a line with an error is tried again."""
        self.unread: set[str] = set()
        """Files in whose results rows are missing."""
        self.healed = 0
        """Bytes at the end that a killed run left behind, cut off. [bytes]"""
        self._take_up()

    def add(self, line: str) -> None:
        """Write a line; it is in the file when this returns."""
        text = f"{line}\n".encode()
        place = self._file.tell()
        try:
            self._file.write(text)
            self._file.flush()
        except OSError as error:
            reason = os.strerror(error.errno) if error.errno else str(error)
            raise InputError(f"cannot write {self._path} ({reason})", "free some space, and say it again") from error
        self._note(json.loads(line), place, len(text))

    def _note(self, line: dict[str, Any], place: int, length: int) -> None:
        name = line["file"]
        self._place[name] = place, length
        self._count += 1
        self.known.pop(name, None)
        self.unread.discard(name)
        if "analysis" in line:
            self.known[name] = same(line)
            if line["analysis"]["recording"]["rows_not_read"]:
                self.unread.add(name)

    def _take_up(self) -> None:
        place = 0
        for number, text in enumerate(self._file, start=1):
            if not text.endswith(b"\n") and (text.startswith(_BEGINNING) or _BEGINNING.startswith(text)):
                self.healed = len(text)
                self._file.truncate(place)
                break
            try:
                line = json.loads(text)
                self._note(line, place, len(text))
            except (ValueError, TypeError, KeyError, RecursionError):
                what = f"line {number} of {self._path} is no line of results"
                raise InputError(what, "choose another name with -o, or say --force") from None
            place += len(text)
        self._file.seek(place)

    def finish(self) -> None:
        """Leave one line for each file, the last one, where there are more."""
        if self._count == len(self._place):
            return
        with whole_file(self._path) as new:
            for place, length in sorted(self._place.values()):
                self._file.seek(place)
                new.write(self._file.read(length))


@contextmanager
def result_lines(path: Path, *, force: bool) -> Iterator[ResultLines]:
    """The file, its results taken up, or begun anew with `force`; InputError where it is none or another run has it."""
    try:
        file = path.open("r+b" if path.exists() else "w+b")
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise InputError(f"cannot write {path} ({reason})", "choose another folder") from error
    with file:
        _keep_others_out(path, cast(BinaryIO, file))
        if force:
            file.truncate(0)
        lines = ResultLines(path, cast(BinaryIO, file))
        yield lines
        lines.finish()


def _keep_others_out(path: Path, file: BinaryIO) -> None:
    """The system lets go of the lock when the process ends, however that is; where it knows none there is none."""
    with suppress(ImportError):
        import fcntl  # noqa: PLC0415 - not on every system

        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise InputError(f"{path} is being written by another run", "wait for it, or choose another name") from None
