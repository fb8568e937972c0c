"""Lines of text into samples, by the format of a profile."""

import csv
from collections.abc import Mapping, Sequence
from typing import Protocol

from drivers.codecs.lines import LinePattern, Unreadable
from drivers.codecs.sample import Decoded, Decoder, Interpreter, Sample
from drivers.profile import Profile, SerialSection, Value

LONGEST_LINE = 512
"""[bytes]"""

Place = str | int | tuple[int, int]
"""Where a value stands: a group or a heading, a column counted from 1, or first and last character."""
WHOLE: Place = ""
"""The whole line."""
Pieces = Mapping[Place, str]


class Cutter(Protocol):
    """Cuts a line into the texts at its places."""

    def pieces(self, line: bytes) -> Pieces | Unreadable:
        """Texts by place, as far as the line has them; `HEADINGS` for a line that has none and is fine."""
        ...


HEADINGS: Pieces = {}
"""What a line of headings is cut into."""


class ByPattern:
    """Named groups of a regular expression that the whole line fits; ValueError where it cannot work."""

    def __init__(self, pattern: str, groups: Sequence[Place]) -> None:
        self._pattern = LinePattern(pattern, [str(group) for group in groups], longest=LONGEST_LINE)

    def pieces(self, line: bytes) -> Pieces | Unreadable:
        """Texts of the groups that took part."""
        texts = self._pattern.texts(line)
        return texts if isinstance(texts, Unreadable) else dict[Place, str](texts.items())


class Separated:
    """Columns between separators; blanks between columns may be several, quotes around a cell are taken off.

    Columns that are named need a line with all those names before the first values; it may come again. An empty cell is
    no value.
    """

    def __init__(self, separator: str, places: Sequence[Place]) -> None:
        self._separator = separator
        self._numbers = [place for place in places if isinstance(place, int)]
        self._names = [place for place in places if isinstance(place, str)]
        self._headings: dict[str, int] = {}

    def pieces(self, line: bytes) -> Pieces | Unreadable:
        """Cells that are not empty."""
        cells = self._cells(line.decode("utf-8", errors="replace").strip("\r\n"))
        if self._names and all(name in cells for name in self._names):
            self._headings = {name: cells.index(name) + 1 for name in self._names}
            return HEADINGS
        if self._names and not self._headings:
            return Unreadable.NO_HEADINGS
        columns: dict[Place, int] = {}
        columns.update((number, number) for number in self._numbers)
        columns.update(self._headings)
        if max(columns.values()) > len(cells):
            return Unreadable.TOO_FEW
        return {place: cell for place, column in columns.items() if (cell := cells[column - 1])}

    def _cells(self, text: str) -> list[str]:
        if self._separator.isspace() and "\t" not in self._separator:
            return text.split()
        if '"' in text and len(self._separator) == 1:
            try:
                return [cell.strip() for cell in next(csv.reader([text], delimiter=self._separator), [])]
            except csv.Error:
                pass
        return [cell.strip().strip('"') for cell in text.split(self._separator)]


class Columns:
    """Characters at fixed columns; a line that ends within one is cut short, and a cut number is another number."""

    def __init__(self, places: Sequence[Place]) -> None:
        self._places = [place for place in places if isinstance(place, tuple)]

    def pieces(self, line: bytes) -> Pieces | Unreadable:
        """Texts of the columns that are not blank."""
        text = line.decode("utf-8", errors="replace").strip("\r\n")
        if len(text) < max(last for _, last in self._places):
            return Unreadable.TOO_SHORT
        return {(first, last): cell for first, last in self._places if (cell := text[first - 1 : last].strip())}


class Whole:
    """The whole line is one text."""

    def pieces(self, line: bytes) -> Pieces | Unreadable:
        """The line without the blanks around it."""
        return {WHOLE: line.decode("utf-8", errors="replace").strip()}


class TextDecoder:
    """Lines whose values stand at places that a cutter finds."""

    def __init__(
        self,
        values: Sequence[Value],
        cutter: Cutter,
        places: Mapping[str, Place],
        units: Mapping[str, Place],
        decimal: str | None,
    ) -> None:
        self._cutter = cutter
        self._places = places
        self._units = units
        self._interpreter = Interpreter(values, decimal)

    def decode(self, data: bytes, source: str = "") -> Decoded:  # noqa: ARG002 - a line has one source
        """What a line says; without values where it holds headings."""
        line = data.removesuffix(b"\n").removesuffix(b"\r")
        if len(line) > LONGEST_LINE:
            return Decoded(None, Unreadable.TOO_LONG.value)
        pieces = self._cutter.pieces(line)
        if isinstance(pieces, Unreadable):
            return Decoded(None, pieces.value)
        if pieces is HEADINGS:
            return Decoded(Sample({}))
        units = {name: pieces[place] for name, place in self._units.items() if place in pieces}
        raw = {name: pieces[place] for name, place in self._places.items() if place in pieces}
        return self._interpreter.sample(raw, units)


class AnswerDecoder:
    """Answers to questions; `source` is the question."""

    def __init__(self, profile: Profile) -> None:
        asked: dict[str, list[Value]] = {}
        for value in profile.values:
            asked.setdefault(value.query or "", []).append(value)
        self._decoders = {query.strip(): _answer_decoder(values, profile.serial) for query, values in asked.items()}

    def decode(self, data: bytes, source: str = "") -> Decoded:
        """What an answer says; a profile with one question needs no source."""
        only = next(iter(self._decoders.values())) if len(self._decoders) == 1 and not source else None
        decoder = only or self._decoders.get(source.strip())
        if decoder:
            return decoder.decode(data)
        known = ", ".join(f"'{query}'" for query in self._decoders)
        return Decoded(None, f"{Unreadable.NOT_ASKED.value}; say which with 'of': {known}")


def text_decoder(profile: Profile) -> Decoder:
    """The decoder of a profile's format; ValueError in one sentence where it cannot work."""
    section, values = profile.serial, profile.values
    if section.format == "query":
        return AnswerDecoder(profile)
    if section.format == "separated":
        return _separated(values, section)
    if section.format == "columns":
        return _columns(values, section)
    return _by_pattern(values, section)


def _by_pattern(values: Sequence[Value], section: SerialSection) -> TextDecoder:
    places: dict[str, Place] = {value.name: value.group or value.name for value in values}
    units: dict[str, Place] = {value.name: value.unit_from for value in values if value.unit_from}
    groups = list(dict.fromkeys([*places.values(), *units.values()]))
    return TextDecoder(values, ByPattern(section.pattern or "", groups), places, units, section.decimal)


def _separated(values: Sequence[Value], section: SerialSection) -> TextDecoder:
    places: dict[str, Place] = {value.name: value.field or 1 for value in values}
    units = {
        name: int(place) if isinstance(place, str) and place.isdecimal() else place
        for name, place in _units(values, places).items()
    }
    return TextDecoder(
        values, Separated(section.separator, [*places.values(), *units.values()]), places, units, section.decimal
    )


def _columns(values: Sequence[Value], section: SerialSection) -> TextDecoder:
    places: dict[str, Place] = {value.name: value.columns or (1, 1) for value in values}
    units = _units(values, places)
    for name, place in units.items():
        if isinstance(place, str):
            raise ValueError(
                f"'unit_from' of '{name}' is '{place}', which is no value; name the one with the unit's columns"
            )
    return TextDecoder(values, Columns([*places.values(), *units.values()]), places, units, section.decimal)


def _units(values: Sequence[Value], places: Mapping[str, Place]) -> dict[str, Place]:
    """Where units stand: at the place of another value, or at one of their own."""
    return {value.name: places.get(value.unit_from, value.unit_from) for value in values if value.unit_from}


def _answer_decoder(values: Sequence[Value], section: SerialSection) -> TextDecoder:
    """All values of one question are taken from its answer in the same way."""
    if all(value.field is not None for value in values):
        return _separated(values, section)
    if section.pattern and all(value.field is None for value in values):
        return _by_pattern(values, section)
    if len(values) > 1:
        names = ", ".join(f"'{value.name}'" for value in values)
        raise ValueError(f"{names} have one question; give each its 'field', or a 'pattern' with a group for each")
    value = values[0]
    if value.unit_from:
        raise ValueError(
            f"'{value.name}' is its whole answer, so that 'unit_from' is nowhere; give 'field' or 'pattern'"
        )
    return TextDecoder(values, Whole(), {value.name: WHOLE}, {}, section.decimal)
