"""The job file as a form: its fields, made from the models of `collector.job_sections`, and what stands in them."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from analysis.points import DERIVED, POINTS
from collector import job_values as given
from collector.job_edit import Change, Value, bare
from collector.job_lines import ARRAYS, Path, Scan, shown_key
from collector.job_sections import File
from collector.job_words import OPTIONS, SECTIONS, WORDS, Title, Words
from collector.sections import Key, keys
from drivers.base import InputError

MOST_CHANGES = 400
"""Changes that one message of the page may bring. [1]"""
LONGEST_VALUE = 4000
"""Of one input. [characters]"""

_KINDS = {
    given.bounded: "number",
    given.window: "pair",
    given.per_stage: "stages",
    given.fraction: "fraction",
    given.seconds: "seconds",
    given.whole: "whole",
    given.unit_number: "whole",
    given.choice: "choice",
    given.known_point: "choice",
}
_INPUTS = {"pair": ("lowest", "highest"), "stages": ("high stage", "low or only stage")}
_WITHOUT_QUOTES = frozenset({"fraction", "seconds", "whole", "choice", "limit"})
"""Kinds of which a plain number stands in the file as one."""


@dataclass(frozen=True, slots=True)
class Field:
    """One key of the form."""

    key: str
    """Such as `furnace.rise`; of an entry without its number, such as `limit.above`."""
    kind: str
    """`text`, `number`, `fraction`, `seconds`, `whole`, `limit` (a number in the unit of its point), `pair`, `stages`,
    `choice`, `truth` or `table`."""
    label: str
    example: str
    note: str
    inputs: tuple[str, ...] = ()
    """What each input of a pair or of stages is."""
    options: tuple[tuple[str, str], ...] = ()
    """Of a choice: as the file has it, and in words."""


def fields() -> list[Field]:
    """Every field, in the order of the models."""
    return [_field(key) for key in keys(File)]


def sections() -> list[dict[str, object]]:
    """The form for the page: sections in their order with their fields; plain JSON values."""
    found: dict[str, list[dict[str, object]]] = {name: [] for name in SECTIONS}
    for field in fields():
        found.setdefault(field.key.rpartition(".")[0], []).append(asdict(field))
    return [
        {"name": name, **(SECTIONS.get(name) or Title(_said(name)))._asdict(), "many": name in ARRAYS, "fields": own}
        for name, own in found.items()
    ]


def _field(key: Key) -> Field:
    name = ".".join(key.path)
    words = WORDS.get(name) or Words(_said(key.path[-1]))
    kind = _kind(key)
    options: tuple[tuple[str, str], ...] = ()
    if kind == "choice" and key.reader:
        points = isinstance(key.reader.parameters[0], Mapping)
        listed: Any = key.reader.parameters[0] if points else key.reader.parameters
        options = tuple((str(option), _option(str(option))) for option in listed)
    return Field(name, kind, words.label, words.example, words.note, _INPUTS.get(kind, ()), options)


def _kind(key: Key) -> str:
    if key.reader:
        return _KINDS.get(key.reader.read, "text")
    return "truth" if key.type is bool else "table" if key.type is dict else "limit"


def _option(option: str) -> str:
    point = POINTS.get(option) or DERIVED.get(option)
    return f"{point.text} ({option})" if point else OPTIONS.get(option, option)


def _said(name: str) -> str:
    return name.rpartition(".")[2].replace("_", " ")


def values(text: str) -> dict[str, Any] | None:
    """What stands in the fields, as it is written there; None for a text that is no TOML.

    By section and key; of [[limit]] and [[instrument]] a list. A number stands as its digits are written, a text
    without its quotes; a value that fits no input is None.
    """
    text = text.removeprefix("\ufeff")
    try:
        tables = tomllib.loads(text)
        scan = Scan(text)
        scan.run()
    except (ValueError, RecursionError):
        return None
    shown: dict[str, Any] = {name: [] if name in ARRAYS else {} for name in SECTIONS}
    for field in fields():
        section, _, key = field.key.rpartition(".")
        if section in ARRAYS:
            entries = tables.get(section)
            for index, entry in enumerate(entries if isinstance(entries, list) else ()):
                own = shown[section]
                own.extend({} for _ in range(index + 1 - len(own)))
                if isinstance(entry, dict) and key in entry:
                    own[index][key] = _shown(scan, (section, index, key), entry[key])
            continue
        table: Any = tables
        for part in section.split("."):
            table = table.get(part, {}) if isinstance(table, dict) else {}
        if isinstance(table, dict) and key in table:
            shown.setdefault(section, {})[key] = _shown(scan, (*section.split("."), key), table[key])
    return shown


def _shown(scan: Scan, path: Path, value: Any) -> Any:
    if isinstance(value, list):
        inside = [_shown(scan, (*path, index), element) for index, element in enumerate(value)]
        return inside if all(isinstance(element, str) for element in inside) and len(inside) <= 8 else None
    if isinstance(value, dict):
        table = {key: _shown(scan, (*path, key), inner) for key, inner in value.items()}
        return table if all(isinstance(inner, str) for inner in table.values()) else None
    if isinstance(value, str):
        return value
    start, end = scan.values[path]
    return scan.text[start:end]


def changes(told: object) -> list[Change]:
    """Changes as the page tells them: `[{"path": ["furnace", "rise"], "value": ["35 degF", "65 degF"]}]`; InputError.

    Only keys of the form, and entries of [[limit]] and [[instrument]]; a value of nothing removes.
    """
    if not isinstance(told, list) or len(told) > MOST_CHANGES:
        raise InputError("what was changed in the form cannot be read", "load the page again")
    known = {field.key: field for field in fields()}
    return [_change(one, known) for one in told]


def _change(told: object, known: Mapping[str, Field]) -> Change:
    match told:
        case {"path": [str(section), int(index)], "value": dict(entry)} if section in ARRAYS and 0 <= index < 10_000:
            path: Path = (section, index)
            new = {
                key: value
                for key, inner in entry.items()
                if (value := _typed(_known(known, (section, str(key))), inner)) is not None
            }
            return Change(path, new)
        case {"path": [str(section), int(index)], "value": None} if section in ARRAYS and 0 <= index < 10_000:
            return Change((section, index), None)
        case {"path": [str(section), int(index), str(key)], "value": value} if 0 <= index < 10_000:
            return Change((section, index, key), _typed(_known(known, (section, key)), value))
        case {"path": [str(), str(), *_] as parts, "value": value} if all(isinstance(part, str) for part in parts):
            if parts[0] not in ARRAYS:
                return Change(tuple(parts), _typed(_known(known, parts), value))
    raise InputError("what was changed in the form cannot be read", "load the page again")


def _known(known: Mapping[str, Field], parts: Sequence[str]) -> Field:
    field = known.get(".".join(parts))
    if field is None:
        raise InputError(f"the job file has no key {shown_key(tuple(parts))[:80]}", "load the page again")
    return field


def _typed(field: Field, told: object) -> Value | None:
    """What was typed into a field as the file takes it; None where nothing was."""
    if isinstance(told, list) and field.kind in ("pair", "stages") and len(told) <= 8:
        listed = [_text(field, element) for element in told]
        return [element for element in listed if element] or None
    if isinstance(told, dict) and field.kind == "table" and len(told) <= 100:
        return {_text(field, key): _text(field, inner) for key, inner in told.items()} or None
    text = "" if told is None else _text(field, told)
    if not text:
        return None
    if field.kind == "truth" and text in ("true", "false"):
        return text == "true"
    return bare(text) if field.kind in _WITHOUT_QUOTES else text


def _text(field: Field, told: object) -> str:
    if not isinstance(told, str) or len(told) > LONGEST_VALUE:
        raise InputError(f"{field.label}: what was typed cannot be read", f"type at most {LONGEST_VALUE} characters")
    return told if told.strip() else ""
