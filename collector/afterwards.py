"""Entering into a finished recording: by its one writer, under its lock, and the line says that it came afterwards."""

from datetime import datetime
from pathlib import Path

from analysis.model import NANOSECONDS, EventKind
from collector.attachments import pieces
from collector.by_hand import beginning, entry_event, entry_text, photo
from collector.database import RecordingError, is_recording
from collector.entering import Wish
from collector.pictures import checked, plain
from collector.recording import Recording
from collector.store import Store, Written
from collector.uploads import Picture
from drivers.base import InputError
from drivers.codecs.moments import is_dated, parse_moment, told
from drivers.manual import Manual, parse_entry


def enter_afterwards(path: Path, wish: Wish, content: bytes | None, *, now: int) -> str:
    """Enter it into a recording that nobody makes any more; `now` is the wall clock's. [ns]

    Clock times and `-5min` count back from the end of the recording.
    """
    if not is_recording(path):
        raise RecordingError(f"{path} is no recording", "name a file made by `lightoff record`")
    if wish.point and not wish.at:
        raise InputError("when the meter was read is not said", "add --at, such as --at 06:31 or --at -5min")
    with Recording(path) as recording:
        end, channels = _end(recording, now), recording.channels
        began = beginning(recording)
        taken = {channel.key: set(recording.read(channel.key).time.tolist()) for channel in channels}
    at = parse_moment(wish.at, now if is_dated(wish.at) else end, began=began)
    afterwards = f"entered afterwards, {datetime.fromtimestamp(now // NANOSECONDS).astimezone():%Y-%m-%d %H:%M}"
    batch: list[Written] = []
    reading = None
    text, done = wish.text, "photograph attached"
    if wish.point:
        number, unit = parse_entry(wish.value, wish.point)
        manual = Manual(now=lambda: now, known=channels, taken=taken)
        reading = manual.enter(wish.point, number, unit, wish.meter, at)
        text = entry_text(wish.point, wish.value, wish.meter)
        done = f"{text} recorded at {told(reading.time, now)}"
        event = entry_event(reading, text, wish.value, now, afterwards=afterwards)
        batch += [*manual.channels, reading, event]
    if content is not None and wish.photo is not None:
        name = plain(wish.photo.name)
        picture = Picture(name, checked(content, name), content)
        attachment, event = photo(picture, at, text, reading, entered=now, afterwards=afterwards)
        batch += [*pieces(attachment, content), attachment, event]
    with Store(path) as store:
        store.append(batch)  # all of it or nothing
    return f"{done}, afterwards ({path.name})"


def _end(recording: Recording, now: int) -> int:
    """Where a recording ends: its last reading, else the last that happened in it. [ns]"""
    span = recording.span()
    if span is not None:
        return span[1]
    times = [event.time for event in recording.events() if event.kind is not EventKind.JOB]
    return max(times, default=now)
