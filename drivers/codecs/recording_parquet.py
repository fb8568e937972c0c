"""What a Parquet file of a recording says of itself: its channels, events and attachments, as JSON texts."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any

from analysis.model import Channel, Event, EventKind, Quality
from analysis.points import POINTS, measure_of, nearest
from analysis.units import UnitError, to_inside
from drivers.base import InputError
from drivers.codecs.recording_csv import Problem

FORMAT = 1
"""Version of the layout in docs/exchange.md."""
QUALITIES = tuple(quality.name.lower() for quality in Quality)
"""Words of the column `quality`, each at the place of its number."""
FORMAT_KEY, CHANNELS_KEY, EVENTS_KEY, ATTACHMENTS_KEY = (
    f"lightoff.{name}" for name in ("format", "channels", "events", "attachments")
)


def texts_of(
    channels: Sequence[Channel], events: Iterable[Event], attachments: Iterable[Mapping[str, object]]
) -> dict[str, str]:
    """The texts by their keys; ASCII, so that half a character in a note is kept too."""
    return {
        FORMAT_KEY: str(FORMAT),
        CHANNELS_KEY: json.dumps([asdict(channel) for channel in channels]),
        EVENTS_KEY: json.dumps(
            [
                {"time": one.time, "kind": one.kind, "text": one.text, "subject": one.subject, "data": dict(one.data)}
                for one in events
            ]
        ),
        ATTACHMENTS_KEY: json.dumps([dict(one) for one in attachments]),
    }


def is_recording(texts: Mapping[str, str], name: str) -> bool:
    """Whether the file was made by this program or its like; InputError where by a newer one."""
    if FORMAT_KEY not in texts:
        return False
    if texts[FORMAT_KEY] != str(FORMAT):
        what = f"{name} has format {texts[FORMAT_KEY][:20]}, which this program does not know"
        raise InputError(what, "use a newer lightoff")
    return True


def channels_in(texts: Mapping[str, str], name: str) -> list[Channel]:
    """Channels in their order; InputError where the text is damaged."""
    known = {field.name for field in fields(Channel)}
    found = _objects(texts, CHANNELS_KEY, name)
    try:
        return [Channel(**{key: one[key] for key in one if key in known}) for one in found]
    except TypeError as error:
        what = f"{name}: what it says under {CHANNELS_KEY} is damaged ({error})"
        raise InputError(what, "get it again, or export it again") from None


def events_in(texts: Mapping[str, str], name: str) -> tuple[list[Event], list[Problem]]:
    """Events in their order, and what could not be read of them; InputError where the text is damaged."""
    events: list[Event] = []
    problems: list[Problem] = []
    for number, one in enumerate(_objects(texts, EVENTS_KEY, name), start=1):
        try:
            kind = EventKind(one["kind"])
            events.append(Event(int(one["time"]), kind, str(one["text"]), one.get("subject"), dict(one["data"])))
        except (KeyError, TypeError, ValueError) as error:
            why = f"could not be read ({type(error).__name__}: {str(error)[:60]})"
            problems.append(Problem(number, why, "event"))
    return events, problems


def attachments_in(texts: Mapping[str, str], name: str) -> list[dict[str, Any]]:
    """What the file says of each attachment; InputError where the text is damaged."""
    return _objects(texts, ATTACHMENTS_KEY, name)


def _objects(texts: Mapping[str, str], key: str, name: str) -> list[dict[str, Any]]:
    try:
        found = json.loads(texts.get(key, "[]"))
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            raise ValueError("no list of objects")
    except (ValueError, RecursionError) as error:
        what = f"{name}: what it says under {key} is damaged ({str(error)[:80]})"
        raise InputError(what, "get it again, or export it again") from None
    return found


def foreign_channel(point: str, instrument: str, unit: str) -> Channel:
    """Channel of a file that says nothing of it but these three; ValueError in words where they mean nothing here."""
    if point not in POINTS:
        raise ValueError(f"unknown point '{point[:40]}'{nearest(point)}")
    try:
        to_inside(unit, measure_of(point))
    except UnitError as error:
        raise ValueError(f"'{point}': {error}") from error
    if not instrument.strip():
        raise ValueError(f"'{point}': the instrument has no name")
    return Channel(point, instrument, unit)
