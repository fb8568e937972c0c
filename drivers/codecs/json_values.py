"""Messages of gateways into samples: JSON (RFC 8259) by paths (RFC 9535), or a plain number.

The one module that knows the library of paths.
"""

import json
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from jsonpath_rfc9535 import JSONPathError, JSONPathQuery
from jsonpath_rfc9535 import compile as compiled

from drivers.codecs.lines import INFINITY, number_in
from drivers.codecs.sample import Decoded, Interpreter
from drivers.profile import Profile

LONGEST_MESSAGE = 65_536
"""[bytes]"""
DEEPEST = 16
"""Levels of a message that are looked through for numbers. [1]"""

NOT_JSON = "is not JSON"
TOO_LONG = f"is longer than {LONGEST_MESSAGE} bytes"
NOT_TEXT = "is not text"
NOTHING = "has none of the values of its profile"
NO_TOPIC = "came on a topic that the profile does not name"
NO_TIME = "has no time of its own that can be read"

_MILLISECONDS = 1e11
"""From here on a number of seconds since 1970 would be beyond the year 5000, and is one of milliseconds."""
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*", re.ASCII)


def json_path(text: str) -> JSONPathQuery:
    """A path that leads to one place at most; ValueError in one sentence where it is none."""
    try:
        path = compiled(text)
    except (JSONPathError, RecursionError) as error:
        why = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise ValueError(f"'{text}' is not a JSON path ({why}); write for example '$.room.temperature'") from error
    if not path.singular_query():
        raise ValueError(f"the JSON path '{text}' may lead to several places; name one, such as '$.values[0]'")
    return path


def numbers_in(data: bytes) -> Iterator[tuple[str, float]]:
    """JSON path and value of each number in a message, '' for one that is nothing else; nothing where it has none."""
    found, _ = _parsed(data)
    yield from _numbers(found, "$", 0)
    if isinstance(found, str) and math.isfinite(number := _number_in(found)):
        yield "", number


@dataclass(frozen=True, slots=True)
class _Place:
    name: str
    path: JSONPathQuery | None
    unit: JSONPathQuery | None


class JsonDecoder:
    """Messages by topic, each value by its path; ValueError in one sentence where the profile cannot work."""

    def __init__(self, profile: Profile) -> None:
        self._interpreter = Interpreter(profile.values)
        self._places: dict[str, list[_Place]] = {}
        for value in profile.values:
            path = json_path(value.path) if value.path is not None else None
            unit = json_path(value.unit_from) if value.unit_from else None
            self._places.setdefault(value.topic or "", []).append(_Place(value.name, path, unit))
        self._time = json_path(profile.mqtt.time_path) if profile.mqtt.time_path else None

    def decode(self, data: bytes, source: str = "") -> Decoded:
        """What a message says; `source` is its topic below that of the instrument, with its own time."""
        places = self._places.get(source)
        if places is None:
            return Decoded(None, NO_TOPIC)
        parsed, reason = _parsed(data)
        if reason and not (reason == NOT_JSON and any(place.path is None for place in places)):
            return Decoded(None, reason)
        raw: dict[str, float | str] = {}
        units: dict[str, str] = {}
        for place in places:
            if place.path is None:
                raw[place.name] = _raw(parsed)
            elif node := place.path.find_one(parsed):
                raw[place.name] = _raw(node.value)
                if place.unit and (said := place.unit.find_one(parsed)):
                    units[place.name] = said.value if isinstance(said.value, str) else ""
        if not raw:
            return Decoded(None, NOTHING)
        sample, reason = self._interpreter.sample(raw, units)
        if sample is None or self._time is None:
            return Decoded(sample, reason)
        node = self._time.find_one(parsed)
        own_time = _seconds(node.value) if node else None
        return Decoded(replace(sample, own_time=own_time), reason or (NO_TIME if own_time is None else ""))


def json_decoder(profile: Profile) -> JsonDecoder:
    """The decoder of a profile."""
    return JsonDecoder(profile)


def _parsed(data: bytes) -> tuple[Any, str]:
    """What stands in a message and why it is not JSON; a text that is none is itself."""
    if len(data) > LONGEST_MESSAGE:
        return None, TOO_LONG
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None, NOT_TEXT
    try:
        return json.loads(text, parse_int=float, parse_constant=_refuse), ""
    except (ValueError, RecursionError):
        return text.strip(), NOT_JSON


def _refuse(constant: str) -> None:
    """Numbers without end and no numbers are not JSON. Source: RFC 8259, section 6."""
    raise ValueError(constant)


def _raw(found: object) -> float | str:
    """A number, a text that may be one, 1 or 0 for a contact, no value for null; what is none of these is no number."""
    if isinstance(found, bool):
        return float(found)
    if isinstance(found, float):
        return found if abs(found) < INFINITY else math.copysign(math.inf, found)
    if found is None:
        return math.nan
    return found if isinstance(found, str) else ""


def _seconds(found: object) -> float | None:
    """A time since 1970 [s]: of ISO 8601 with its zone, or a number of seconds or milliseconds."""
    if isinstance(found, str):
        if math.isnan(number := _number_in(found)):
            try:
                moment = datetime.fromisoformat(found.strip())
            except ValueError:
                return None
            return moment.timestamp() if moment.tzinfo else None
        found = number
    if not isinstance(found, float) or not math.isfinite(found):
        return None
    return found / 1000 if abs(found) >= _MILLISECONDS else found


def _numbers(found: object, path: str, depth: int) -> Iterator[tuple[str, float]]:
    if isinstance(found, bool | float) and math.isfinite(found):
        yield (path if depth else ""), float(found)
    elif isinstance(found, str) and depth and math.isfinite(number := _number_in(found)):
        yield path, number
    elif depth < DEEPEST and isinstance(found, dict):
        for name, inner in found.items():
            if not name.isprintable():
                continue
            yield from _numbers(inner, f"{path}{_step(name)}", depth + 1)
    elif depth < DEEPEST and isinstance(found, list):
        for index, inner in enumerate(found):
            yield from _numbers(inner, f"{path}[{index}]", depth + 1)


def _step(name: str) -> str:
    """A name as it stands in a path. Source: RFC 9535, section 2.5.1 (shorthand) and 2.7 (normalized paths)."""
    if _NAME.fullmatch(name):
        return f".{name}"
    quoted = json.dumps(name, ensure_ascii=False)[1:-1].replace('\\"', '"').replace("'", "\\'")
    return f"['{quoted}']"


def _number_in(text: str) -> float:
    """Number of a text, NaN where it is none or says that it has none."""
    number = number_in(text)
    return math.nan if number is None else number
