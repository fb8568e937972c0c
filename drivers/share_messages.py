"""What two machines say to each other about a shared call, beside readings: CBOR maps, every field checked.

Times are UTC since 1970 by the clock of whoever shares. [ns] What cannot be is one UnreadableError.
"""

import hashlib
import json
import re
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from analysis.model import Channel, Event, EventKind
from drivers.codecs.cbor import UnreadableError, packed, plain, text_map

VERSION: Final = 1
COUNTS, SPANS, EVENTS, NOTE, REQUEST = "counts", "spans", "events", "note", "request"
ASKS: Final = (COUNTS, SPANS, EVENTS, NOTE, REQUEST)
DONE, REFUSED = "done", "refused"
CONNECTS: Final = "it connects"
"""Why nothing is shared yet when it begins."""
LARGEST_ASK: Final = 64_000
"""[bytes]"""
MOST_SPANS: Final = 1000
"""Spans of one question. [1]"""
MOST_MINUTES: Final = 1440
"""Minutes of one question for counts. [1]"""
LONGEST_TEXT: Final = 2000
"""Of a note and a request. [characters]"""
LONGEST_LIFE: Final = 120_000_000_000
"""How far ahead a question may expire. [ns]"""
MOST_DATA: Final = 20_000
"""Of an event's facts as JSON; of longer ones nothing is said. [characters]"""
PRIVATE: Final = frozenset({EventKind.JOB, EventKind.ARCHIVE})
"""Events that are not shared: the job goes with the channels, the archive concerns nobody else."""
_IDENTITY = re.compile(r"[A-Za-z0-9_-]{8,64}")
_LOW, _HIGH = -(2**63), 2**63 - 1


@dataclass(frozen=True, slots=True)
class Ask:
    """What a viewer wants."""

    id: str
    """Of this question; used once."""
    viewer: str
    kind: str
    expires: int
    """[ns]"""
    spans: tuple[tuple[int, int, int], ...] = ()
    """Number of a channel, first and last time. [ns]"""
    minutes: tuple[int, int] = (0, 0)
    """First and last. [minutes since 1970]"""
    note: str = ""
    """Identity of a note or request, the same however often it is sent."""
    at: int = 0
    """What it is about. [ns]"""
    text: str = ""
    author: str = ""
    point: str = ""
    """What is to be measured, where one of the table was chosen."""

    def packed(self) -> bytes:
        """As it is sent."""
        return packed({"v": VERSION, **asdict(self)})


def fresh_identity() -> str:
    """Of a question, a note, a viewer."""
    return uuid.uuid4().hex


def read_ask(data: bytes) -> Ask:
    """A question; UnreadableError."""
    said = _of_version(text_map(data, largest=LARGEST_ASK))
    kind = _text(said, "kind", 20)
    if kind not in ASKS:
        raise UnreadableError(f"nothing is asked by '{kind[:20]}'", f"known are {', '.join(ASKS)}")
    minutes = _list(said, "minutes", 2) or [0, 0]
    spans = tuple(tuple(_whole(part) for part in _triple(span)) for span in _list(said, "spans", MOST_SPANS))
    ask = Ask(
        identity(said.get("id")), identity(said.get("viewer")), kind, _whole(said.get("expires")),
        spans, (_whole(minutes[0]), _whole(minutes[-1])),  # type: ignore[arg-type]
        identity(said.get("note")) if kind in (NOTE, REQUEST) else "",
        _whole(said.get("at", 0)), _text(said, "text", LONGEST_TEXT), _text(said, "author", 100),
        _text(said, "point", 100),
    )  # fmt: skip
    if not 0 <= ask.minutes[1] - ask.minutes[0] < MOST_MINUTES:
        raise UnreadableError(f"counts are asked for more than {MOST_MINUTES} minutes", "ask for fewer")
    if kind in (NOTE, REQUEST) and not ask.text.strip():
        raise UnreadableError("a note has no text", "write one")
    return ask


def asked_by(data: bytes) -> tuple[str, str] | None:
    """Identity and viewer of a question that cannot be read otherwise; None where these cannot either."""
    try:
        said = text_map(data, largest=LARGEST_ASK)
        return identity(said.get("id")), identity(said.get("viewer"))
    except UnreadableError:
        return None


def identity(said: object) -> str:
    """Letters and digits that stand for something; UnreadableError."""
    if not isinstance(said, str) or not _IDENTITY.fullmatch(said):
        raise UnreadableError("an identity is missing or is none", "nothing of the message is taken")
    return said


def event_identity(event: Event) -> str:
    """The same for the same event, whoever reads it."""
    whole = json.dumps([event.time, str(event.kind), event.text, event.subject], ensure_ascii=True)
    return hashlib.sha256(whole.encode()).hexdigest()[:24]


def event_map(event: Event) -> dict[str, Any]:
    """An event as it is sent; where its facts are too long, without them."""
    data = plain(event.data)
    if len(json.dumps(data)) > MOST_DATA:
        data = {}
    text, subject = plain(event.text[:4000]), plain(event.subject)
    return {
        "id": event_identity(event), "time": event.time, "kind": str(event.kind), "text": text,
        "subject": subject, "data": data,
    }  # fmt: skip


def read_event(said: object) -> tuple[str, Event]:
    """An event with its identity; UnreadableError."""
    if not isinstance(said, Mapping):
        raise UnreadableError("an event is none", "nothing of the message is taken")
    subject, data = said.get("subject"), plain(said.get("data", {}))
    if not isinstance(data, dict) or not (subject is None or (isinstance(subject, str) and len(subject) <= 200)):
        raise UnreadableError("an event has facts that are none", "nothing of the message is taken")
    try:
        kind = EventKind(_text(said, "kind", 40))
    except ValueError:
        kind = EventKind.NOTE  # of a later version
    event = Event(_whole(said.get("time")), kind, _text(said, "text", 4000), subject, data)
    return identity(said.get("id")), event


def channels_map(channels: Mapping[int, Channel], job: str) -> bytes:
    """Channels by the number that stands for them in packs, and the job in force."""
    rows = [{"number": number, **asdict(channel)} for number, channel in channels.items()]
    return packed({"v": VERSION, "channels": rows, "job": job})


def read_channels(data: bytes) -> tuple[dict[int, Channel], str]:
    """Channels by number and the text of the job; UnreadableError."""
    said = _of_version(text_map(data))
    found = {}
    for row in _list(said, "channels", 1000):
        if not isinstance(row, dict):
            raise UnreadableError("a channel is none", "nothing of the message is taken")
        point, instrument, unit = (_text(row, name, 200) for name in ("point", "instrument", "unit"))
        low, high, response = (_number(row.get(name)) for name in ("low", "high", "response_time"))
        accuracy = _text(row, "accuracy", 200) if row.get("accuracy") is not None else None
        found[_whole(row.get("number"))] = Channel(point, instrument, unit, low, high, accuracy, response)
    return found, _text(said, "job", 500_000)


def status_map(said: Mapping[str, Any]) -> bytes:
    """How a call stands."""
    return packed({"v": VERSION, **plain(said)})


def read_status(data: bytes) -> dict[str, Any]:
    """How a call stands; what is read of it here is of its kind; UnreadableError."""
    said = dict(_of_version(text_map(data, largest=LARGEST_ASK)))
    span = _list(said, "span", 2)
    return {
        **{key: plain(value) for key, value in said.items()},
        "online": said.get("online") is True,
        "paused": said.get("paused") is True,
        "now": _whole(said.get("now", 0)),
        "events": _whole(said.get("events", 0)),
        "span": [_whole(part) for part in span] if len(span) == 2 else None,
        "name": _text(said, "name", 200),
        "origin": _text(said, "origin", 200),
    }


def counts_map(ask: str, until: int, counts: Iterable[tuple[int, Sequence[int]]]) -> bytes:
    """Readings of each channel and minute up to a time [ns]: number, then minute and count in turn."""
    rows = [[number, list(pairs)] for number, pairs in counts]
    return packed({"v": VERSION, "id": ask, "kind": COUNTS, "until": until, "counts": rows})


def read_counts(said: Mapping[str, Any]) -> tuple[int, dict[int, dict[int, int]]]:
    """Until when, and counts by number and minute; UnreadableError."""
    found: dict[int, dict[int, int]] = {}
    for row in _list(said, "counts", 1000):
        if not isinstance(row, list) or len(row) != 2 or not isinstance(row[1], list) or len(row[1]) % 2:
            raise UnreadableError("counts are none", "nothing of the message is taken")
        pairs = [_whole(part) for part in row[1]]
        found[_whole(row[0])] = dict(zip(pairs[::2], pairs[1::2], strict=True))
    return _whole(said.get("until")), found


def answer_map(ask: str, kind: str, **more: Any) -> bytes:
    """An answer to a viewer."""
    return packed({"v": VERSION, "id": ask, "kind": kind, **more})


def read_map(data: bytes) -> Mapping[str, Any]:
    """An answer or a message of events; UnreadableError."""
    return _of_version(text_map(data))


def is_pack(data: bytes) -> bool:
    """Whether a message holds readings: an array or something compressed, where all else is a map."""
    return bool(data) and (0x80 <= data[0] <= 0x9F or data[0] == 0x78)


def _of_version(said: Mapping[str, Any]) -> Mapping[str, Any]:
    if said.get("v") != VERSION or type(said.get("v")) is not int:
        raise UnreadableError(
            "the message is of another version than this program", "use the same lightoff at both ends"
        )
    return said


def _whole(said: object) -> int:
    if type(said) is not int or not _LOW <= said <= _HIGH:
        raise UnreadableError("a whole number of the message is none", "nothing of it is taken")
    return said


def _number(said: object) -> float | None:
    if said is None:
        return None
    if type(said) not in (int, float):
        raise UnreadableError("a number of the message is none", "nothing of it is taken")
    return float(said)  # type: ignore[arg-type]


def _text(said: Mapping[str, Any], name: str, longest: int) -> str:
    found = said.get(name, "")
    if not isinstance(found, str) or len(found) > longest:
        raise UnreadableError(f"'{name}' of the message is no text of at most {longest} characters", "it is not taken")
    return found


def _list(said: Mapping[str, Any], name: str, most: int) -> list[Any]:
    found = said.get(name)
    found = [] if found is None else found
    if not isinstance(found, list) or len(found) > most:
        raise UnreadableError(f"'{name}' of the message is no list of at most {most}", "it is not taken")
    return found


def _triple(span: object) -> list[Any]:
    if not isinstance(span, list) or len(span) != 3:
        raise UnreadableError("a span of the message is none", "nothing of it is taken")
    return span
