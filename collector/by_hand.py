"""What people add by hand while it is recorded: readings with meter and time, photographs, and what was wrong."""

import secrets
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from analysis.model import Event, EventKind, Reading
from analysis.points import POINTS
from collector.arguments import Answer, Command, Given, text_in
from collector.attachments import Attachment
from collector.collector import Collector
from collector.recording import Recording
from collector.uploads import Picture, Uploads
from drivers.base import InputError
from drivers.codecs.moments import parse_moment, told
from drivers.manual import Manual, parse_entry

REMEMBERED = 500
"""Entries that can be withdrawn; of older ones only the recording knows. [1]"""
TOLD = 8
"""Entries told in each status. [1]"""
LATE = 60_000_000_000
"""An entry dated back by more says so. [ns]"""


@dataclass(slots=True)
class Entry:
    """A reading as it was typed in."""

    channel: str
    at: int
    """[ns]"""
    text: str
    withdrawn: bool = False


class ByHand:
    """The commands of hands; `manual` is the driver that takes readings, None where they cannot be typed in.

    `began` is when the recording did, by default now. [ns]
    """

    def __init__(self, collector: Collector, manual: Manual | None, began: int | None = None) -> None:
        self._collector = collector
        self._began = collector.now() if began is None else began
        self._manual = manual
        self._uploads = Uploads()
        self._entries: deque[Entry] = deque(maxlen=REMEMBERED)

    def commands(self) -> Mapping[str, Command]:
        """The commands by their names."""
        return {
            "type_in": self.type_in,
            "withdraw": self.withdraw,
            "photo_part": self._uploads.part,
            "photo_keep": self.keep_photo,
        }

    def entries(self) -> list[dict[str, object]]:
        """The last entries, the newest first; `at` as text, which a browser's numbers could not hold. [ns]"""
        last = list(self._entries)[-TOLD:]
        return [
            {
                "channel": entry.channel,
                "at": str(entry.at),
                "time": entry.at,
                "text": entry.text,
                "withdrawn": entry.withdrawn,
            }
            for entry in reversed(last)
        ]

    def type_in(self, given: Given) -> Answer:
        """Record `value` of `point` read off `meter` at `at`, with the photograph of `upload` where one is named."""
        if self._manual is None:
            raise InputError("readings cannot be typed in here", "start `lightoff record`")
        point, typed = text_in(given, "point"), text_in(given, "value")
        meter = text_in(given, "meter", default="")
        now, at = self._collector.now(), text_in(given, "at", default="")
        number, unit = parse_entry(typed, point)
        moment = parse_moment(at, now, began=self._began) if at else None
        picture = self._uploads.take(given) if "upload" in given else None  # refused before anything is recorded
        reading = self._manual.enter(point, number, unit, meter, moment)
        text = entry_text(point, typed, meter)
        self._entries.append(Entry(reading.channel, reading.time, text))
        self._collector.ingest(entry_event(reading, text, typed, now))
        done = f"{POINTS[point].text}: {typed} recorded at {told(reading.time, now)}"
        facts = {"channel": reading.channel, "at": str(reading.time)}
        if picture is not None:
            try:
                self._attach(picture, reading.time, text, reading)
            except InputError as error:
                raise InputError(f"{done}, but not its photograph: {error.what}", error.hint) from error
            done += ", with its photograph"
        return Answer(done, facts)

    def withdraw(self, given: Given) -> str:
        """Let an entry of this call count as never read; it stays in the recording."""
        channel, at = text_in(given, "channel"), text_in(given, "at")
        found = next((one for one in self._entries if one.channel == channel and str(one.at) == at), None)
        if found is None:
            raise InputError("there is no such entry", "look at the list of entries again")
        if found.withdrawn:
            raise InputError(f"{found.text} is withdrawn already", "there is nothing to do")
        now = self._collector.now()
        found.withdrawn = True
        text = f"withdrawn: {found.text}, of {told(found.at, now)}"
        data = {"channel": channel, "at": found.at}
        self._collector.ingest(Event(now, EventKind.WITHDRAWN, text, channel, data))
        return f"{text}; it counts as never read, and stays in the recording"

    def keep_photo(self, given: Given) -> Answer:
        """Attach the photograph of `upload`, with `text` and at `at`."""
        text, now = text_in(given, "text", default=""), self._collector.now()
        moment = parse_moment(text_in(given, "at", default=""), now, began=self._began)
        picture = self._uploads.take(given)
        identity = self._attach(picture, moment, text)
        return Answer(f"photograph attached: {text or picture.name}", {"attachment": identity})

    def _attach(self, picture: Picture, time: int, text: str, of: Reading | None = None) -> str:
        attachment, event = photo(picture, time, text, of, entered=self._collector.now())
        self._collector.attach(attachment, picture.content, event)
        return attachment.id


def beginning(recording: Recording) -> int | None:
    """When a recording began, None where nothing is in it yet; what was typed in may lie before that. [ns]"""
    started = [event.time for event in recording.events({EventKind.RECORDER}) if "from" not in event.data]
    if started:
        return started[0]
    span = recording.span()  # of one that was imported, which is told at the time when it was
    return span[0] if span else None


def entry_text(point: str, typed: str, meter: str) -> str:
    """An entry in words."""
    return f"{POINTS[point].text}: {typed}{f', {meter}' if meter else ''}"


def entry_event(reading: Reading, text: str, typed: str, entered: int, *, afterwards: str = "") -> Event:
    """What keeps an entry as it was typed in, when, and `afterwards` that the recording was finished then."""
    data = {"channel": reading.channel, "at": reading.time, "typed": typed, "entered": entered}
    if afterwards:
        return Event(reading.time, EventKind.ENTRY, f"{text} ({afterwards})", reading.channel, {**data, "late": True})
    late = f" (typed in at {told(entered, reading.time)})" if entered - reading.time > LATE else ""
    return Event(reading.time, EventKind.ENTRY, f"{text}{late}", reading.channel, data)


def photo(
    picture: Picture, time: int, text: str, of: Reading | None, *, entered: int, afterwards: str = ""
) -> tuple[Attachment, Event]:
    """A photograph for the recording, and the event that tells of it; `of` is the reading that it shows."""
    attachment = Attachment(secrets.token_hex(16), time, picture.name, picture.media_type, text, len(picture.content))
    data: dict[str, object] = {
        "attachment": attachment.id,
        "name": picture.name,
        "media_type": picture.media_type,
        "entered": entered,
    }
    if of is not None:
        data |= {"channel": of.channel, "at": of.time}
    words = f"{text or picture.name}{f' ({afterwards})' if afterwards else ''}"
    return attachment, Event(time, EventKind.PHOTO, words, None, data)
