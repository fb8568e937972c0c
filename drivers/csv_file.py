"""A recording's CSV file, compressed or not: read line by line, or many rows at once where it is plain."""

import gzip
import io
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from itertools import pairwise
from pathlib import Path
from typing import Any, BinaryIO, TextIO, cast

from drivers.base import InputError
from drivers.codecs.csv_block import Block, block_from, block_of
from drivers.codecs.recording_csv import CsvReader, Row

LONGEST_LINE = 1_000_000
"""A longer line is cut, and its pieces are reported as rows that cannot be read. [characters]"""

BLOCK = LONGEST_LINE
"""What is read at once; no longer than the longest line, so that no line in a block has to be cut. [bytes]"""
LEAST = 16_384
"""Shortest part of a block in which plain rows are looked for, when the block has others among them. [bytes]"""
_PARTS = 8
"""Into so many parts a block goes that is not plain as a whole. [1]"""
_ROWS = 10_000
"""Rows of a block, where they are read one by one. [1]"""
_GZIP = b"\x1f\x8b"
_DAMAGED = (gzip.BadGzipFile, EOFError, zlib.error)


@contextmanager
def open_csv(path: Path, *, name: str = "", start: int = 0) -> Iterator[CsvReader]:
    """Reader of a CSV file, compressed or not; InputError in one sentence when it cannot be opened."""
    with opened(path) as (raw, _):
        text = _text(raw, "utf-8-sig")  # held here: it would close the file when the last line is read
        yield CsvReader(_lines(text), name or stem(path), start=start, file=str(path))


@contextmanager
def open_blocks(
    path: Path,
    *,
    start: int = 0,
    progress: Callable[[float], None] | None = None,
    size: int = BLOCK,
    least: int = LEAST,
) -> Iterator["BlockReader"]:
    """The same file, many rows at once; `progress` is told the share that was read [1]."""
    with opened(path) as (raw, told):
        whole = max(path.stat().st_size, 1)
        tell = (lambda: progress(min(1.0, told.tell() / whole))) if progress else lambda: None
        yield BlockReader(raw, stem(path), start=start, file=str(path), tell=tell, size=size, least=least)


@contextmanager
def opened(path: Path) -> Iterator[tuple[BinaryIO, BinaryIO]]:
    """What is in a file, and the file itself; InputError in one sentence when it cannot be opened or is damaged."""
    try:
        file = path.open("rb")
    except FileNotFoundError:
        raise InputError(f"there is no file {path}", "check the name and the folder") from None
    except IsADirectoryError:
        raise InputError(f"{path} is a folder", "name a file in it") from None
    except PermissionError:
        raise InputError(f"no permission to read {path}", "ask its owner, or copy it to a folder of your own") from None
    except OSError as error:
        raise InputError(f"{path} cannot be opened ({error.strerror})", "check the name and the medium") from error
    with file:
        packed = path.name.endswith(".gz") or file.peek(len(_GZIP)).startswith(_GZIP)
        try:
            with gzip.GzipFile(fileobj=file) if packed else nullcontext(file) as raw:
                yield cast(BinaryIO, raw), file
        except _DAMAGED as error:
            what = f"{path} is damaged or not compressed as its name says ({error})"
            raise InputError(what, "get it again") from None


def stem(path: Path) -> str:
    """File's name without its folder and endings."""
    name = path.name.removesuffix(".gz").rsplit(".", 1)[0] or path.name
    return name.encode("utf-8", "replace").decode()  # a file's name may be no text at all


class BlockReader:
    """Reads what `CsvReader` reads and reports what it reports: plain rows many at once, all others by it.

    `careful` is that reader; it has the problems of the whole file.
    """

    def __init__(
        self, raw: BinaryIO, name: str, *, start: int, file: str, tell: Callable[[], None], size: int, least: int
    ) -> None:
        self._raw, self._start, self._tell, self._size, self._least = raw, start, tell, size, least
        self._kept = b""
        """Read and not yet given out."""
        self._ended = False
        self._failed: Exception | None = None
        """Why nothing more can be read."""
        self.at_once = 0
        """Rows that were not read one by one. [1]"""
        self._rest: Iterator[str] | None = None
        """Lines of what can only be read one by one."""
        self._fill()
        end = self._kept.find(b"\n") + 1
        head = self._kept[:end]
        if not end or b"\r" in head[:-2]:
            self._rest = self._one_by_one("utf-8-sig")
            self.careful = CsvReader(self._rest, name, start=start, file=file)
        else:
            self._kept = self._kept[end:]
            self.careful = CsvReader([head.decode("utf-8-sig", "replace")], name, start=start, file=file)
        self.name, self.channels = name, self.careful.channels

    def __iter__(self) -> Iterator[Block]:
        """Blocks in the file's order; where it is damaged or given up InputError, after what stands before."""
        while self._rest is None:
            self._fill()
            end = self._kept.rfind(b"\n") + 1
            if self._ended and not self._failed:
                end = len(self._kept)
            elif not end and not self._failed:
                self._rest = self._one_by_one("utf-8")
                break
            text, self._kept = self._kept[:end], self._kept[end:]
            yield from self._blocks(text)
            self._tell()
            if self._ended:
                break
        if self._rest is not None:
            yield from self._slowly(self._rest)
        if self._failed:
            raise self._failed

    def _fill(self) -> None:
        while not self._ended and (len(self._kept) < self._size or self._in_a_line()):
            try:
                piece = self._raw.read1(self._size)  # type: ignore[attr-defined]
            except _DAMAGED as error:
                self._failed, piece = error, b""
            self._ended = not piece
            self._kept += piece

    def _in_a_line(self) -> bool:
        return len(self._kept) < LONGEST_LINE and b"\n" not in self._kept

    def _one_by_one(self, encoding: str) -> Iterator[str]:
        chain = io.BufferedReader(_Chain(self._kept, self._raw, self._failed))
        return _lines(_text(cast(BinaryIO, chain), encoding))

    def _blocks(self, text: bytes) -> Iterator[Block]:
        if not text:
            return
        found = block_of(text, len(self.channels), first=self.careful.line + 1, start=self._start)
        if found and self.careful.dated in (None, found[1]):
            self.careful.passed(found[0].time.size, dated=found[1])
            self.at_once += found[0].time.size
            yield found[0]
            return
        parts = _parts(text) if len(text) > self._least else [text]
        if len(parts) == 1:
            yield from self._slowly(_lines(_text(io.BytesIO(text), "utf-8")))
            return
        for part in parts:
            yield from self._blocks(part)

    def _slowly(self, lines: Iterator[str]) -> Iterator[Block]:
        rows: list[Row] = []
        failed = None
        try:
            for row in self.careful.rows(lines):
                rows.append(row)
                if len(rows) == _ROWS:
                    yield block_from(rows, len(self.channels))
                    rows.clear()
                    self._tell()
        except (InputError, *_DAMAGED) as error:
            failed = error
        if rows:
            yield block_from(rows, len(self.channels))
        if failed:
            raise failed


class _Chain(io.RawIOBase):
    """What was read already, and then what a file gives."""

    def __init__(self, kept: bytes, raw: BinaryIO, failed: Exception | None) -> None:
        self._kept, self._raw, self._failed = kept, raw, failed

    def readable(self) -> bool:
        """Always."""
        return True

    def readinto(self, buffer: Any, /) -> int:
        """Bytes that were put into the buffer, 0 at the end."""
        place = memoryview(buffer)
        if not self._kept and self._failed:
            raise self._failed
        piece = self._kept[: len(place)] or self._raw.read1(len(place))  # type: ignore[attr-defined]
        self._kept = self._kept[len(place) :]
        place[: len(piece)] = piece
        return len(piece)


def _parts(text: bytes) -> list[bytes]:
    """Whole lines in at most `_PARTS` parts of much the same length."""
    ends = {text.rfind(b"\n", 0, len(text) * number // _PARTS) + 1 for number in range(1, _PARTS)}
    return [text[start:end] for start, end in pairwise(sorted({0, *ends, len(text)}))]


def _text(raw: BinaryIO, encoding: str) -> TextIO:
    return io.TextIOWrapper(raw, encoding=encoding, errors="replace", newline="")


def _lines(text: TextIO) -> Iterator[str]:
    return iter(lambda: text.readline(LONGEST_LINE), "")
