"""Which call a recording is, and what stands with each of its readings on a server."""

import hashlib
import tomllib
from collections.abc import Iterable, Mapping
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any

from analysis.model import NANOSECONDS, Event, EventKind
from collector.recording import Recording

Tables = Mapping[str, Any]


def about_of(recording: Recording, known: Iterable[Mapping[str, str]] = ()) -> dict[str, str] | None:
    """Tags of the call: `call`, and `technician` and `equipment` where its job names them; None while it is empty.

    They stay what they were when the first reading was sent (`known`, from the file beside the recording): other tags
    would make other points of the same readings. Without that file they follow from the recording alone.
    """
    began = _beginnings(recording)
    if not began:
        return None
    for about in known:
        if any(about.get("call", "").startswith(f"{_stamp(time)}-") for time, _ in began):
            return dict(about)
    time, facts = min(began)
    about = {"call": f"{_stamp(time)}-{hashlib.sha256(f'{time} {facts}'.encode()).hexdigest()[:8]}"}
    job = _job(recording)
    about |= {"technician": _text(job, "archive", "technician"), "equipment": _equipment(job)}
    return {name: text for name, text in about.items() if text}


def equipment_in(job: str) -> str:
    """Model and serial number of the unit of a job's text, empty where it names none or cannot be read."""
    try:
        return _equipment(tomllib.loads(job.removeprefix("\ufeff")))
    except (tomllib.TOMLDecodeError, RecursionError):
        return ""


def _equipment(job: Tables) -> str:
    return " ".join(filter(None, (_text(job, "unit", "model"), _text(job, "unit", "serial"))))


def _beginnings(recording: Recording) -> list[tuple[int, str]]:
    """When it was begun, at first and whenever it was continued [ns], and what tells it from others begun then."""
    events = recording.events({EventKind.RECORDER})
    started = [(wall, "") for event in events if isinstance(wall := event.data.get("wall"), int)]
    if started:
        return started  # by the clock, to the nanosecond: no second recording was begun then
    return [(event.time, _content(event, recording)) for event in events[:1]] or _from_readings(recording)


def _content(event: Event, recording: Recording) -> str:
    """Imported and simulated recordings may have one time of beginning and differ in what was read alone."""
    channels = recording.channels
    rows = recording.read(channels[0].key) if channels else None
    values = hashlib.sha256(rows.value.tobytes()).hexdigest() if rows else ""
    return " ".join([event.text, *(channel.key for channel in channels), values])


def _from_readings(recording: Recording) -> list[tuple[int, str]]:
    span = recording.span()
    return [(span[0], " ".join(channel.key for channel in recording.channels))] if span else []


def _job(recording: Recording) -> Tables:
    """The first job that names the archive, else the last; as it stands, since it was checked when it was recorded."""
    jobs: list[Tables] = []
    for event in recording.events({EventKind.JOB}):
        with suppress(tomllib.TOMLDecodeError):
            jobs.append(tomllib.loads(str(event.data.get("text", "")).removeprefix("\ufeff")))
    return next((job for job in jobs if _text(job, "archive", "url")), jobs[-1] if jobs else {})


def _text(job: Tables, section: str, key: str) -> str:
    table = job.get(section)
    value = table.get(key) if isinstance(table, dict) else None
    return str(value).strip() if isinstance(value, str | int) else ""


def _stamp(time: int) -> str:
    seconds, rest = divmod(time, NANOSECONDS)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y%m%dT%H%M%S}.{rest // 1_000_000:03d}Z"
