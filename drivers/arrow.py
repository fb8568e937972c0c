"""The seam to pyarrow: cells of CSV text as columns, and Parquet files a row group at a time.

It is imported when it is needed: the command line has to start without it. Nothing here makes arrow arrays of numpy's
or the other way by the library's own functions, which would load a library that is not needed, wherever that is.
"""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS
from drivers.base import InputError

_DATES = (  # of `drivers.codecs.recording_csv.parse_time`
    r"^(?:19|20)\d\d-\d\d-\d\d[T ]\d\d:\d\d:\d\d(?:\.\d{1,9})?(?:Z|[+-](?:[01]\d|2[0-3]):[0-5]\d)$"
)
_SECONDS = r"^[-+]?\d{1,9}(?:\.\d{0,9})?$"
_EXACT = 9
"""Digits after the decimal point that whole nanoseconds have. [1]"""
_SLICE = 65_536
"""Rows of a row group that are taken at once. [1]"""
MAGIC = b"PAR1"
_NAN = np.array(np.nan).view(np.int64)
"""Bits of the usual NaN, which goes out as null; any other goes out as it is, so that it comes back as it was."""
_TO_NANOSECONDS = {"s": NANOSECONDS, "ms": 1_000_000, "us": 1_000, "ns": 1}

Times = NDArray[np.int64]
Cells = tuple[NDArray[np.intp] | None, NDArray[np.float64]]
"""Rows that have a number (None: all of them), and the numbers."""


def csv_cells(text: bytes, columns: int, start: int) -> tuple[Times, bool, list[Cells]] | None:
    """Times [ns] of plain CSV lines, whether they are dates, and so many columns; None where a line is not plain."""
    import pyarrow as arrow  # noqa: PLC0415 - as the module says
    import pyarrow.csv as arrow_csv  # noqa: PLC0415

    names = [str(number) for number in range(columns + 1)]
    try:
        table = arrow_csv.read_csv(
            arrow.BufferReader(text),
            arrow_csv.ReadOptions(use_threads=False, column_names=names, block_size=len(text) + 1),
            arrow_csv.ParseOptions(quote_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(
                column_types=dict.fromkeys(names[1:], arrow.float64()) | {names[0]: arrow.string()}, null_values=[""]
            ),
        )
        found = _times(table.column(0).combine_chunks(), start)
    except arrow.ArrowException:
        return None
    if found is None:
        return None
    return (*found, [_cells(column.combine_chunks()) for column in table.columns[1:]])


def _times(texts: Any, start: int) -> tuple[Times, bool] | None:
    """Times [ns] of an arrow array of texts, and whether they are dates; None for any that is not plain."""
    import pyarrow as arrow  # noqa: PLC0415
    from pyarrow import compute  # noqa: PLC0415

    dated = ":" in texts[0].as_py()
    if not compute.all(compute.match_substring_regex(texts, _DATES if dated else _SECONDS)).as_py():
        return None
    if dated:
        return _held(texts.cast(arrow.timestamp("ns", "UTC")), "<i8"), True
    if abs(start) > (1 << 63) - 10**_EXACT * NANOSECONDS:
        return None
    halves = _held(texts.cast(arrow.decimal128(2 * _EXACT, _EXACT)), "<i8, <i8")  # the lower and the upper one
    return halves["f0"] + start, False


def _cells(cells: Any) -> Cells:
    value = _held(cells, "<f8")
    if not cells.null_count:
        return None, value
    rows = np.flatnonzero(_valid(cells))
    return rows, value[rows]


def _held(cells: Any, kind: str) -> NDArray[Any]:
    """What an arrow array of numbers holds; anything where it has none."""
    buffer = cells.buffers()[1]
    if buffer is None:  # nothing but nulls
        return np.zeros(len(cells), kind)
    return np.frombuffer(buffer, kind)[cells.offset : cells.offset + len(cells)]


def _valid(cells: Any) -> NDArray[np.bool_]:
    """Where an arrow array has something."""
    if not cells.null_count:
        return np.ones(len(cells), np.bool_)
    return _bits(cells.buffers()[0], cells)


def _bits(buffer: Any, cells: Any) -> NDArray[np.bool_]:
    bits = np.unpackbits(np.frombuffer(buffer, np.uint8), count=cells.offset + len(cells), bitorder="little")
    return bits[cells.offset :].astype(np.bool_)


class Group(NamedTuple):
    """Readings of one channel that follow each other."""

    texts: tuple[str, str, str]
    """Point, instrument and unit."""
    time: Times
    """(n,) UTC since 1970. [ns]"""
    value: NDArray[np.float64]
    """(n,) NaN where there is no usable value. [native unit]"""
    quality: NDArray[np.int8]
    """(n,) place in the words given to the writer."""
    withdrawn: NDArray[np.bool_]
    """(n,)"""


TEXTS = ("point", "instrument", "unit")
"""Columns that have one text for each reading of a channel."""


class ParquetWriter:
    """Writes groups of readings, each a row group, to a binary file; OSError where that takes no more."""

    def __init__(self, file: BinaryIO, qualities: Sequence[str]) -> None:
        import pyarrow as arrow  # noqa: PLC0415
        from pyarrow import parquet  # noqa: PLC0415

        self._arrow = arrow
        text = arrow.dictionary(arrow.int32(), arrow.string())
        self._qualities = _words(qualities)
        self._schema = arrow.schema(
            [
                *(arrow.field(name, text, nullable=False) for name in TEXTS),
                arrow.field("time", arrow.timestamp("ns", "UTC"), nullable=False),
                arrow.field("value", arrow.float64()),
                arrow.field("quality", arrow.dictionary(arrow.int8(), arrow.string()), nullable=False),
                arrow.field("withdrawn", arrow.bool_(), nullable=False),
            ]
        )
        self._file = _Counted(file)
        self._sink = arrow.PythonFile(self._file, "w")
        self._parquet = parquet.ParquetWriter(
            self._sink,
            self._schema,
            version="2.6",
            compression="zstd",
            use_dictionary=[*TEXTS, "value", "quality"],
            column_encoding={"time": "DELTA_BINARY_PACKED"},
            write_page_checksum=True,
        )

    def write(self, group: Group) -> None:
        """Write a row group."""
        arrow, count = self._arrow, group.time.size
        none = np.ascontiguousarray(group.value, np.float64).view(np.int64) == _NAN
        zeros = arrow.py_buffer(np.zeros(count, np.int32))
        columns = [
            *(self._text(count, zeros, text) for text in group.texts),
            arrow.Array.from_buffers(arrow.timestamp("ns", "UTC"), count, [None, _buffer(group.time, "<i8")]),
            arrow.Array.from_buffers(arrow.float64(), count, [_packed(~none), _buffer(group.value, "<f8")]),
            arrow.DictionaryArray.from_arrays(
                arrow.Array.from_buffers(arrow.int8(), count, [None, _buffer(group.quality, "i1")]), self._qualities
            ),
            arrow.Array.from_buffers(arrow.bool_(), count, [None, _packed(group.withdrawn)]),
        ]
        self._parquet.write_table(arrow.Table.from_arrays(columns, schema=self._schema), row_group_size=max(count, 1))

    def _text(self, count: int, zeros: Any, text: str) -> Any:
        arrow = self._arrow
        places = arrow.Array.from_buffers(arrow.int32(), count, [None, zeros])
        return arrow.DictionaryArray.from_arrays(places, _words([text]))

    def aside(self, content: bytes) -> int:
        """Write bytes that no reader of Parquet looks at, behind the row groups up to now; where they begin. [bytes]"""
        at: int = self._sink.tell()
        self._sink.write(content)
        return at

    def finish(self, texts: Mapping[str, str]) -> None:
        """Write what the file says of itself, and its end."""
        self._parquet.add_key_value_metadata(dict(texts))
        self._parquet.close()

    def __enter__(self) -> Self:
        """Itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Where it was not finished nothing more is written, not even an end that would make it look whole."""
        self._file.over = True
        self._parquet.is_open = False


class _Counted:
    """A file that is only written to, and where it is: standard output can be asked neither for that nor to seek."""

    closed = over = False

    def __init__(self, file: BinaryIO) -> None:
        self._file, self._count = file, 0

    def write(self, piece: bytes) -> int:
        if not self.over:
            self._file.write(piece)
        self._count += len(piece)
        return len(piece)

    def tell(self) -> int:
        return self._count

    def flush(self) -> None:
        if not self.over:
            self._file.flush()

    def close(self) -> None:
        """Whoever opened the file closes it."""


def _buffer(values: NDArray[Any], kind: str) -> Any:
    import pyarrow as arrow  # noqa: PLC0415

    return arrow.py_buffer(np.ascontiguousarray(values, kind))


def _words(texts: Sequence[str]) -> Any:
    import pyarrow as arrow  # noqa: PLC0415

    pieces = [text.encode() for text in texts]
    ends = np.cumsum([0, *map(len, pieces)])
    return arrow.StringArray.from_buffers(len(pieces), _buffer(ends, "<i4"), arrow.py_buffer(b"".join(pieces)))


def _packed(bits: NDArray[np.bool_]) -> Any:
    import pyarrow as arrow  # noqa: PLC0415

    return arrow.py_buffer(np.packbits(bits, bitorder="little"))


class Texts(NamedTuple):
    """A column of texts, most of them the same."""

    place: NDArray[np.int64]
    """(n,) place of each text; -1 where there is none."""
    text: list[str]


class Slice(NamedTuple):
    """Some rows of a file that follow each other."""

    texts: dict[str, Texts]
    """Columns of texts, by their name."""
    time: Times
    """(n,) UTC since 1970. [ns]"""
    timed: NDArray[np.bool_]
    """(n,) whether there is a time, within what nanoseconds can say."""
    value: NDArray[np.float64]
    """(n,) NaN where there is none. [native unit]"""
    withdrawn: NDArray[np.bool_] | None
    """(n,) or None where the file has no such column."""


class ParquetReader:
    """Reads a Parquet file of readings; InputError in one sentence where it cannot be read or has other columns."""

    def __init__(self, path: Path) -> None:
        import pyarrow as arrow  # noqa: PLC0415
        from pyarrow import parquet  # noqa: PLC0415

        self._arrow, self._path = arrow, path
        try:
            self._file = parquet.ParquetFile(path, pre_buffer=False, page_checksum_verification=True)
        except (arrow.ArrowException, OSError) as error:
            what = f"{path} is damaged or was not written to its end ({_first(error)})"
            raise InputError(what, "get it again, or export it again") from None
        facts = self._file.metadata
        self.texts = {key.decode(): text.decode("utf-8", "replace") for key, text in (facts.metadata or {}).items()}
        """What the file says of itself."""
        self.rows = facts.num_rows
        self.groups = [facts.row_group(number).num_rows for number in range(facts.num_row_groups)]
        """Rows of each row group."""
        schema = self._file.schema_arrow
        self.columns = tuple(schema.names)
        marked = schema.get_field_index("withdrawn")
        self._marked = marked >= 0 and arrow.types.is_boolean(schema.field(marked).type)
        try:
            self._check(schema)
        except BaseException:
            self._file.close()
            raise

    def _check(self, schema: Any) -> None:
        types = self._arrow.types
        twice = [name for name in (*TEXTS, "time", "value", "quality") if schema.names.count(name) > 1]
        if twice:
            raise InputError(f"{self._path} has two columns {twice[0]}", "leave one of them out")
        missing = [name for name in (*TEXTS, "time", "value") if name not in schema.names]
        if missing:
            what = f"{self._path} has no column {' and no column '.join(missing)}"
            raise InputError(what, "docs/exchange.md says which columns there have to be")
        time, value = schema.field("time").type, schema.field("value").type
        if not types.is_timestamp(time) or time.tz is None:
            raise InputError(
                f"{self._path}: column time is {time} and no timestamp in UTC", "write it as timestamp with UTC"
            )
        if not (types.is_floating(value) or types.is_integer(value) or types.is_decimal(value)):
            raise InputError(f"{self._path}: column value is {value} and no number", "write it as double")
        for name in self._texts():
            own = schema.field(name).type
            own = own.value_type if types.is_dictionary(own) else own
            if not (types.is_string(own) or types.is_large_string(own) or types.is_string_view(own)):
                raise InputError(f"{self._path}: column {name} is {own} and no text", "write it as text")

    def _texts(self) -> list[str]:
        return [name for name in (*TEXTS, "quality") if name in self.columns]

    def slices(self, group: int) -> Iterator[Slice]:
        """Rows of a row group in their order; InputError where it is damaged, after what could be read."""
        wanted = [*self._texts(), "time", "value", *(["withdrawn"] if self._marked else [])]
        try:
            batches = self._file.iter_batches(_SLICE, row_groups=[group], columns=wanted, use_threads=False)
            for batch in batches:
                yield self._slice(batch)
        except (self._arrow.ArrowException, OSError) as error:
            what = f"{self._path}: row group {group + 1} of {len(self.groups)} is damaged ({_first(error)})"
            raise InputError(what, "get it again, or export it again") from None

    def _slice(self, batch: Any) -> Slice:
        arrow = self._arrow
        time, value = batch.column("time"), batch.column("value").cast(arrow.float64(), safe=False)
        factor = _TO_NANOSECONDS[time.type.unit]
        count = _held(time, "<i8")
        within = np.abs(count.astype(np.float64)) < 2.0**63 / factor if factor > 1 else True
        number = _held(value, "<f8")
        known = _valid(value)
        return Slice(
            {name: self._text(batch.column(name)) for name in self._texts()},
            np.where(within, count, 0) * factor if factor > 1 else count,
            _valid(time) & within,
            number if known.all() else np.where(known, number, np.nan),
            self._marks(batch.column("withdrawn")) if self._marked else None,
        )

    def _marks(self, cells: Any) -> NDArray[np.bool_]:
        return _valid(cells) & _bits(cells.buffers()[1], cells) if len(cells) else np.zeros(0, np.bool_)

    def _text(self, cells: Any) -> Texts:
        arrow = self._arrow
        if not arrow.types.is_dictionary(cells.type):
            cells = cells.dictionary_encode()
        words = cells.dictionary.to_pylist()
        place = _held(cells.indices.cast(arrow.int64()), "<i8")
        place = np.where(_valid(cells.indices), place, -1)
        if None in words:
            place = np.where(place == words.index(None), -1, place)
        return Texts(place, ["" if word is None else word for word in words])

    def __enter__(self) -> Self:
        """Itself."""
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        """Close the file."""
        self._file.close()


def is_parquet(path: Path) -> bool:
    """Whether a file begins as Parquet files do."""
    try:
        with path.open("rb") as file:
            return file.read(len(MAGIC)) == MAGIC
    except OSError:
        return False


def _first(error: Exception) -> str:
    """The beginning of a foreign message, on one line."""
    return " ".join(str(error).split()).rstrip(".")[:120] or type(error).__name__
