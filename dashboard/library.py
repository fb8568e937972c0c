"""What is in the folder of recordings: a summary of each, read from the file itself; and the times and texts of one."""

import os
import threading
import tomllib
from collections import OrderedDict
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from analysis.model import NANOSECONDS, Event, EventKind
from collector.database import is_recording
from collector.library import DELETED, ENDING, plain_name
from collector.recording import Recording
from dashboard.found_attempts import FoundAttempts
from dashboard.tiles import FROM_START
from drivers.base import InputError, LightoffError

MOST_LISTED = 200
"""Recordings in a list; of more, the newest. [1]"""
MOST_KEPT = 400
"""Summaries that are remembered. [1]"""
MOST_EVENTS = 500
"""Events of one recording that are told. [1]"""
RUNNING = "on the view Live while it is recorded"
LONGEST_TEXT = 500
"""Of a text from a recording. [characters]"""

TOLD = frozenset(
    {EventKind.NOTE, EventKind.MARK, EventKind.ALARM, EventKind.ENTRY, EventKind.WITHDRAWN, EventKind.PHOTO}
)


@dataclass(frozen=True, slots=True)
class Summary:
    """What a list tells of one recording; None where it is not known."""

    name: str
    size: int
    """[bytes]"""
    job: str | None = None
    began: float | None = None
    """UTC since 1970, or from the start of the recording. [s]"""
    counted: bool = False
    """Times count from the start."""
    length: float | None = None
    """[s]"""
    attempts: str | None = None
    """How many ended how, in words."""
    attempts_problem: str = ""
    """Why that is not known and will not be, in a sentence."""
    alarms: int | None = None
    """How often one was raised. [1]"""
    notes: int | None = None
    marks: int | None = None
    photos: int | None = None
    problem: str = ""
    """Why it cannot be read, in a sentence."""
    running: bool = False
    """It is being recorded now."""


class Summaries:
    """Lists a folder; the summary of a file that did not change is read once. For use from any thread."""

    def __init__(self, folder: Path, running: Path | None = None, attempts: FoundAttempts | None = None) -> None:
        self.folder = folder
        self._running = running
        self._attempts = attempts
        self._known: OrderedDict[tuple[str, int, int], Summary] = OrderedDict()
        self._lock = threading.Lock()

    def listing(self) -> dict[str, Any]:
        """Recordings, the newest first, then those that were deleted; plain JSON values."""
        with self._lock:
            rows, more = self._rows(self.folder)
            deleted, more_deleted = self._rows(self.folder / DELETED)
        return {
            "folder": self.folder.name,
            "looking": self._attempts is not None,
            "recordings": [asdict(self._with_attempts(row)) for row in rows],
            "more": more,
            "deleted": [asdict(row) for row in deleted],
            "more_deleted": more_deleted,
        }

    def attempts_of(self, path: Path) -> dict[str, Any]:
        """Attempts of one recording, times in ms; `pending` while they are looked for, or why there are none."""
        if self._attempts is None:
            return {"problem": "attempts are not looked for here"}
        if self._is_running(path):
            return {"problem": RUNNING}
        found = self._attempts.of(path, urgent=True)
        return {"pending": True} if found is None else found

    def _with_attempts(self, row: Summary) -> Summary:
        if self._attempts is None or row.problem or row.length is None:
            return row
        if row.running:
            return replace(row, attempts_problem=RUNNING)
        found = self._attempts.of(self.folder / row.name) or {}
        return replace(row, attempts=found.get("text"), attempts_problem=found.get("problem", ""))

    def _rows(self, folder: Path) -> tuple[list[Summary], int]:
        """Summaries of a folder's files, and how many more there are."""
        found = []
        for name in _names(folder):
            try:
                state = (folder / name).stat()
            except OSError:
                continue  # it went away just now
            found.append((self._is_running(folder / name), state.st_mtime_ns, name, state.st_size))
        found.sort(reverse=True)
        rows = [self._summary(folder / name, time, size, running=now) for now, time, name, size in found[:MOST_LISTED]]
        return rows, max(0, len(found) - MOST_LISTED)

    def _is_running(self, path: Path) -> bool:
        try:
            return self._running is not None and path.samefile(self._running)
        except OSError:
            return False

    def _summary(self, path: Path, time: int, size: int, *, running: bool) -> Summary:
        log = path.with_name(f"{path.name}-wal")
        if running or log.exists():  # it grows in its log, and its own size and time tell nothing of that
            return replace(summary_of(path, size), running=running)
        key = (str(path), time, size)
        if key not in self._known:
            self._known[key] = summary_of(path, size)
            while len(self._known) > MOST_KEPT:
                self._known.popitem(last=False)
        self._known.move_to_end(key)
        return self._known[key]


def _names(folder: Path) -> list[str]:
    """Files of a folder that may be recordings by their name; none where there is no folder yet."""
    try:
        with os.scandir(folder) as entries:
            names = [entry.name for entry in entries if entry.is_file()]
    except OSError:
        return []
    return [name for name in names if name.endswith(ENDING) and not name.startswith(".")]


def summary_of(path: Path, size: int) -> Summary:
    """Summary of one file; where it cannot be read it says why."""
    readable = path.name.encode("utf-8", "replace").decode()  # half a character in a name goes through no JSON
    empty = Summary(readable, size)
    try:
        plain_name(path.name)
    except InputError:
        return replace(empty, problem="Its name has signs that do not work here, or is too long; rename it.")
    if not is_recording(path):
        return replace(empty, problem="This is no recording, or its beginning is damaged.")
    try:
        with Recording(path) as recording:
            span, events = recording.span(), recording.events({*TOLD, EventKind.JOB})
    except (LightoffError, ValueError) as error:
        return replace(empty, problem=without_folder(error, path))
    count = {kind: sum(event.kind is kind for event in events) for kind in TOLD}
    summary = replace(
        empty,
        job=_job(events),
        alarms=sum(is_raised(event) for event in events),
        notes=count[EventKind.NOTE],
        marks=count[EventKind.MARK],
        photos=count[EventKind.PHOTO],
    )
    if span is None:
        return summary
    began = span[0] / NANOSECONDS
    length = (span[1] - span[0]) / NANOSECONDS
    return replace(summary, began=began, counted=began < FROM_START, length=length)


def is_raised(event: Event) -> bool:
    """Whether an alarm was raised then."""
    return event.kind is EventKind.ALARM and event.data.get("to") == "unacknowledged"


def without_folder(error: Exception, path: Path) -> str:
    """What an error says, with the file's name for its place."""
    return str(error).replace(str(path), path.name)


def events_of(path: Path) -> dict[str, Any]:
    """What people did and alarms that were raised, in the order of time [ms], and how many more there are.

    A photograph has its `attachment`, an entry whether it was `withdrawn`.
    """
    with Recording(path) as recording:
        events = [event for event in recording.events(TOLD) if event.kind is not EventKind.ALARM or is_raised(event)]
        withdrawn = recording.withdrawn()
    told = [
        {
            "time": event.time / 1e6,
            "kind": str(event.kind),
            "text": event.text[:LONGEST_TEXT],
            **_facts(event, withdrawn),
        }
        for event in events[:MOST_EVENTS]
    ]
    return {"events": told, "more": max(0, len(events) - MOST_EVENTS)}


def _facts(event: Event, withdrawn: dict[str, set[int]]) -> dict[str, Any]:
    if event.kind is EventKind.PHOTO and "attachment" in event.data:
        return {"attachment": event.data["attachment"]}
    gone = withdrawn.get(str(event.data.get("channel")), ())
    return {"withdrawn": True} if event.kind is EventKind.ENTRY and event.data.get("at") in gone else {}


def _job(events: list[Event]) -> str | None:
    """Name of the site in the job text, else of the job."""
    jobs = [event for event in events if event.kind is EventKind.JOB]
    if not jobs:
        return None
    name = str(jobs[-1].data.get("name") or "job without a name").removesuffix(".toml").removesuffix(".job")
    try:
        site = tomllib.loads(str(jobs[-1].data.get("text", ""))).get("site")
    except tomllib.TOMLDecodeError:
        site = None
    wished = site.get("name") if isinstance(site, dict) else None
    return (wished if isinstance(wished, str) and wished.strip() else name)[:LONGEST_TEXT]
