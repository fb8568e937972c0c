"""Changes to the text of a job file that leave every other character as its author wrote it.

Values are replaced where they stand (`collector.job_lines.Scan` knows where); what is new is written by tomlkit.
The result is read again: a change that would touch anything else is refused.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from collector.job_lines import ARRAYS, MAX_BYTES, STRING, Pair, Path, Scan, shown_key
from drivers.base import InputError

MOST_WORK = 1_000_000
"""Characters times changes beyond which nothing is changed: about half a second on a slow machine. Our choice. [1]"""

_NUMBER = re.compile(r"[-+]?(?:0|[1-9]\d{0,17})(?:\.\d{1,18})?", re.ASCII)


class Bare(str):
    """A number as it was typed, to stand without quotes."""

    __slots__ = ()


Value = str | bool | Sequence["Value"] | Mapping[str, "Value"]
"""What a key may be set to; of texts only a `Bare` stands without quotes."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a job file."""

    path: Path
    """Of a key, or of an entry such as `("limit", 1)`; one beyond the last entry adds it."""
    value: Value | None
    """None removes it."""


class EditError(InputError):
    """A change that cannot be made without touching something else."""


def bare(text: str) -> str:
    """A `Bare` where the text is a plain number, else the text."""
    return Bare(text) if _NUMBER.fullmatch(text) else text


def edited(text: str, changes: Iterable[Change]) -> str:
    """The text with the changes made one after the other; EditError when that cannot be, also for what is no TOML.

    A comment goes only with the entry that it stands in; the one behind a key that is removed stays.
    """
    wanted = [*changes]
    if len(wanted) * (len(text) + 1000) > MOST_WORK:
        raise EditError("these are too many changes at once", "make them in the text instead of the form")
    mark, text = ("\ufeff", text[1:]) if text.startswith("\ufeff") else ("", text)
    try:
        expected = tomllib.loads(text)
    except ValueError as error:
        raise EditError(f"the job is not TOML ({str(error)[:200]})", "correct it in the text first") from error
    for change in wanted:
        try:
            text = _made(text, change)
        except (IndexError, KeyError, ValueError) as error:  # an earlier change went wrong
            raise _refused(change.path) from error
        _apply(expected, change.path, _plain(change.value))
        if len(text.encode("utf-8", "replace")) > MAX_BYTES:
            raise EditError(f"the job would be larger than {MAX_BYTES // 1000} kB", "shorten it")
    if wanted and not _holds(text, expected):
        raise _refused(*{change.path: None for change in wanted})
    return mark + text


def _holds(text: str, expected: Any) -> bool:
    try:
        return bool(_pruned(tomllib.loads(text)) == _pruned(expected))
    except ValueError:
        return False


def _made(text: str, change: Change) -> str:
    scan, path, value = Scan(text), change.path, change.value
    scan.run()
    if len(path) == 2 and path[0] in ARRAYS:
        if path[:1] in scan.values:  # limit = [...]
            raise _refused(path)
        if isinstance(value, Mapping):
            return _with_entry(scan, str(path[0]), value)
        return _without_entry(scan, path)
    if path not in scan.values and (value is None or isinstance(value, Mapping)):
        below = dict.fromkeys(key for key in _below(scan, path) if value is None or key not in value)
        if below or any(header.path == path for header in scan.headers):
            for key, inner in {**below, **(value or {})}.items():
                text = _made(text, Change((*path, key), inner))
            return text
    return _without(scan, path) if value is None else _with(scan, path, value)


def _below(scan: Scan, path: Path) -> list[str]:
    """Keys of a table that is not written in one value."""
    depth = len(path)
    return [str(found[depth]) for found in scan.values if found[:depth] == path and len(found) == depth + 1]


def _with(scan: Scan, path: Path, value: Value) -> str:
    """The text with a key set."""
    if path in scan.values:
        return _replaced(scan, path, value)
    if holder := _holder(scan, path):
        return _held(scan, holder, path, value)
    table, depth = path[:-1], len(path) - 1
    headers = [header for header in scan.headers if header.path == table]
    dotted = [pair for pair in scan.pairs if pair.path[:depth] == table and len(pair.table) < depth]
    if headers:
        last = [pair for pair in scan.pairs if pair.table == table] or headers
        return _line_after(scan, last[-1].end, f"{_pair(path[-1:], value)}\n")
    if dotted:
        return _line_after(scan, dotted[-1].end, f"{_pair(path[len(dotted[-1].table) :], value)}\n")
    return _section(scan, table[:1], f"[{_dotted(table)}]\n{_pair(path[-1:], value)}\n")


def _without(scan: Scan, path: Path) -> str:
    """The text without a key; the comment behind it stays, on a line of its own."""
    pair = next((pair for pair in scan.pairs if pair.path == path), None)
    if pair is None:
        holder = _holder(scan, path)
        return _held(scan, holder, path, None) if holder and path in scan.values else scan.text
    start, end = _line_start(scan.text, pair.start), _line_end(scan.text, pair.end)
    begin = scan.values[path][0]
    inside = _comments(scan.text[begin : pair.end]) if scan.text[begin] == "[" else ""
    comment = scan.text[pair.end : end].strip()
    return scan.text[:start] + inside + (f"{comment}\n" if comment else "") + scan.text[end:]


def _replaced(scan: Scan, path: Path, value: Value) -> str:
    """The text with a value in the place of another; an array keeps what stands between its elements."""
    start, end = scan.values[path]
    old = [scan.values[found] for found in scan.values if found[:-1] == path and isinstance(found[-1], int)]
    if isinstance(value, list | tuple) and old and len(old) == len(value):
        text = scan.text
        for (begin, stop), element in reversed([*zip(old, value, strict=True)]):
            text = text[:begin] + _written(element) + text[stop:]
        return text
    line = _line_start(scan.text, start)
    inside = _comments(scan.text[start:end]) if scan.text[start] == "[" else ""  # between elements that are gone
    return scan.text[:line] + inside + scan.text[line:start] + _written(value) + scan.text[end:]


def _comments(array: str) -> str:
    """Comments inside an array, a line each."""
    parts = re.finditer(rf"(?:{STRING.pattern})|(?P<comment>#[^\n]*)", array, STRING.flags)
    return "".join(f"{part['comment'].rstrip()}\n" for part in parts if part["comment"])


def _holder(scan: Scan, path: Path) -> Path | None:
    """Path of the inline table that a key stands in, or would."""
    return next((path[:depth] for depth in range(1, len(path)) if path[:depth] in scan.values), None)


def _held(scan: Scan, holder: Path, path: Path, value: Value | None) -> str:
    """The text with a key of an inline table set or removed; only the table's pairs are written anew."""
    start, end = scan.values[holder]
    table = tomllib.loads(f"it = {scan.text[start:end]}")["it"]
    if not isinstance(table, dict):
        raise _refused(path)
    raw: dict[str, str] = {}
    for found, (begin, stop) in scan.values.items():
        if found[:-1] == holder and len(found) == len(holder) + 1:
            raw[str(found[-1])] = scan.text[begin:stop]
    key = path[len(holder)]
    if len(path) > len(holder) + 1 or len(raw) < len(table) or not isinstance(key, str):
        _apply(table, path[len(holder) :], _plain(value))
        raw = {name: _anew(inner) for name, inner in table.items()}
    elif value is None:
        raw.pop(key, None)
    else:
        raw[key] = _written(value)
    return scan.text[:start] + _inline(raw) + scan.text[end:]


def _with_entry(scan: Scan, section: str, values: Mapping[str, Value]) -> str:
    body = "".join(_pair((key,), value) + "\n" for key, value in values.items())
    return _section(scan, (section,), f"[[{section}]]\n{body}")


def _without_entry(scan: Scan, path: Path) -> str:
    own = [found for found in (*scan.headers, *scan.pairs) if found.path[:2] == path]
    if not own:
        raise _refused(path)
    start = _line_start(scan.text, min(found.start for found in own))
    end = _line_end(scan.text, max(found.end for found in own))
    if scan.text[:start].endswith("\n\n") and scan.text[end : end + 1] in ("", "\n", "#"):  # the gap goes along
        start -= 1
    return scan.text[:start] + scan.text[end:]


def _section(scan: Scan, near: Path, block: str) -> str:
    """The text with a new table or entry, behind what is of its kind, else at the end."""
    before: list[Pair] = [
        found for found in (*scan.headers, *scan.pairs) if found.path[: len(near)] == near and found.table
    ]
    at = _line_end(scan.text, max(found.end for found in before)) if before else len(scan.text)
    head, tail = scan.text[:at], scan.text[at:]
    if head and not head.endswith("\n"):
        head += "\n"
    dense = not head or head.endswith("\n\n") or tail.startswith("[")
    gap = "" if dense else "\n"
    return head + gap + block + tail


def _line_after(scan: Scan, place: int, line: str) -> str:
    end = _line_end(scan.text, place)
    head = scan.text[:end]
    return head + ("" if head.endswith("\n") else "\n") + line + scan.text[end:]


def _line_start(text: str, place: int) -> int:
    return text.rfind("\n", 0, place) + 1


def _line_end(text: str, place: int) -> int:
    end = text.find("\n", place)
    return len(text) if end < 0 else end + 1


def _pair(path: Path, value: Value) -> str:
    return f"{_dotted(path)} = {_written(value)}"


def _dotted(path: Path) -> str:
    return ".".join(tomlkit.key(str(part)).as_string() for part in path)


def _written(value: Value) -> str:
    """A value as TOML on one line."""
    if isinstance(value, Bare):
        return str(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        literal = "\\" in value and "'" not in value and value.isprintable()  # a regular expression stays readable
        try:
            return tomlkit.string(value, literal=literal).as_string()
        except (TOMLKitError, ValueError) as error:
            raise EditError("there is a character that no job file can hold", "type it anew") from error
    if isinstance(value, Mapping):
        return _inline({key: _written(inner) for key, inner in value.items()})
    return f"[{', '.join(_written(element) for element in value)}]"


def _anew(value: Any) -> str:
    """A value that tomllib read, on one line."""
    if isinstance(value, dict):
        return _inline({key: _anew(inner) for key, inner in value.items()})
    if isinstance(value, list):
        return f"[{', '.join(map(_anew, value))}]"
    return str(tomlkit.item(value).as_string())


def _inline(pairs: Mapping[str, str]) -> str:
    inside = ", ".join(f"{_dotted((key,))} = {text}" for key, text in pairs.items())
    return f"{{ {inside} }}" if inside else "{}"


def _plain(value: Value | None) -> Any:
    """A value as tomllib would read it."""
    if isinstance(value, Bare):
        return tomllib.loads(f"it = {value}")["it"]
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    return [_plain(element) for element in value] if isinstance(value, list | tuple) else value


def _apply(tables: Any, path: Path, value: Any) -> None:
    """Do the same to the tables that the text holds."""
    *way, last = path
    try:
        for part in way:
            tables = tables[part] if isinstance(part, int) else tables.setdefault(part, [] if part in ARRAYS else {})
        if isinstance(last, int):
            if value is None:
                del tables[last]
            elif last == len(tables):
                tables.append(value)
            else:
                raise _refused(path)
        elif value is None:
            tables.pop(last, None)
        else:
            tables[last] = value
    except (AttributeError, IndexError, KeyError, TypeError) as error:
        raise _refused(path) from error


def _pruned(tables: Any) -> Any:
    """Tables without those that are empty: a heading alone says nothing."""
    if not isinstance(tables, dict):
        return deepcopy(tables)
    kept = {key: _pruned(inner) for key, inner in tables.items()}
    kept = {key: inner for key, inner in kept.items() if inner not in ({}, [])}
    for section in ARRAYS:
        if isinstance(kept.get(section), list):
            kept[section] = [_pruned(entry) for entry in kept[section]]
    return kept


def _refused(*paths: Path) -> EditError:
    keys = ", ".join(shown_key(path) for path in paths[:4]) + (" and more" if len(paths) > 4 else "")
    return EditError(f"{keys} cannot be changed in the form without touching something else", "change it in the text")
