"""The job of a running call on the page: shown as a form, checked, saved to its file, and in force at once."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from analysis.model import Event, EventKind
from collector import job_file, job_form
from collector.alarm_rule import AlarmRule
from collector.arguments import Answer, Command, Given
from collector.collector import Collector
from collector.job import Job, JobError, Mistake, parse
from collector.job_check import WITH_A_CALL, Found, examined
from collector.job_edit import edited
from collector.job_lines import MAX_BYTES, TOO_LARGE
from collector.running import Running, Step
from collector.simulation_request import without_causes
from drivers.base import InputError, LightoffError

SIMULATED = "This file sets up a simulated unit: change it with an editor, so that what is wrong with it does not show."


MIND = "nothing was saved yet: read the caution first, then save again"


@dataclass(frozen=True, slots=True)
class Place:
    """Where the job of a call is saved."""

    file: Path | None
    """None where it cannot be."""
    why: str = ""
    """One sentence where it cannot be."""


@dataclass(frozen=True, slots=True)
class _Before:
    """What an undo brings back."""

    file: job_file.Kept
    job: Job
    version: str
    """Of the file that it takes the place of."""


class JobDesk:
    """The job in force and its file; `commands` are what the page may ask.

    `running` are its instruments, which follow it.
    """

    def __init__(
        self,
        collector: Collector,
        job: Job,
        place: Place,
        *,
        rules: Callable[[Job], Sequence[AlarmRule]],
        running: Running | None = None,
    ) -> None:
        self._collector = collector
        self._place = place
        self._rules = rules
        self._running = running or Running(collector, job.instruments)
        self._before: _Before | None = None
        self.job = job
        """In force."""

    def about(self) -> dict[str, object]:
        """What a page has to know of the job in force."""
        limits = [asdict(rule) for rule in self._rules(self.job)]
        site = self.job.site.name
        return {"job": self.job.name, "plate": asdict(self.job.plate), "limits": limits, "site": site}

    @property
    def folder(self) -> Path | None:
        """Where profiles of its own lie; None where the job has no file."""
        return self._place.file.parent if self._place.file else None

    @property
    def commands(self) -> Mapping[str, Command]:
        """The commands by their names."""
        return {
            "job_read": lambda _: self.read(),
            "job_check": self.check,
            "job_save": self.save,
            "job_undo": lambda _: self.undo(),
        }

    def read(self) -> Answer:
        """The job as its file has it, or as it is in force where there is no file."""
        file = self._place.file
        if file is None:
            return self._shown(replace(job_file.NOT_THERE, text=_told(self.job.text)), self._place.why)
        try:
            found = job_file.kept(file)
        except JobError as error:
            return self._shown(replace(job_file.NOT_THERE, text=_told(self.job.text)), str(error))
        if not found.there:  # removed, or not written yet: saving makes it anew
            return self._shown(replace(found, text=_told(self.job.text)))
        if _simulates(found.text):
            return self._shown(replace(found, text=_told(found.text)), SIMULATED)
        return self._shown(found)

    def _shown(self, found: job_file.Kept, why: str = "") -> Answer:
        file = self._place.file
        data = {
            "name": file.name if file else self.job.name,
            "version": found.version,
            "there": found.there,
            "writable": not why,
            "why": why,
            "in_force": found.text == self.job.text.replace("\r\n", "\n"),
            "undo": self._before is not None,
            "sections": job_form.sections(),
            **self._facts(found.text, Found(None, (), ()) if why else None),
        }
        return Answer("the job as it stands", data)

    def _facts(self, text: str, found: Found | None = None) -> dict[str, object]:
        found = found or self._examined(text)
        return {"text": text, "values": job_form.values(text), **found.told()}

    def _examined(self, text: str) -> Found:
        return examined(text, self.job.name, self._rules, running=self._running.settings)

    def check(self, given: Given) -> Answer:
        """All mistakes of a text with changes; nothing is saved."""
        text = _edited(given)
        found = self._examined(text)
        return Answer(_count(found) or "nothing to correct", self._facts(text, found))

    def save(self, given: Given) -> Answer:
        """Write a text with changes to the file and take it into force; nothing is done where there is a mistake.

        An instrument that would begin on a circuit that may carry mains voltage waits until its caution is `minded`.
        """
        file, expected = self._file(), given.get("version")
        if not isinstance(expected, str):
            raise InputError("it is not said which job was changed", "read it again")
        text = _edited(given)
        found = self._examined(text)
        if found.job is None:
            return self._refused(text, found)
        try:
            step = self._running.prepare(found.job.instruments)
        except LightoffError as error:
            return self._refused(text, replace(found, job=None, mistakes=(_mistake(error, found.job),)))
        if given.get("minded") is not True and self._running.cautions(step):
            return Answer(MIND, {"saved": False, "mind": True, **self._facts(text, found)})
        try:
            before = job_file.kept(file)
            now = job_file.write(file, text, expected=expected)
        except job_file.ConflictError as error:
            return Answer(str(error), {"saved": False, "conflict": True})
        last = _Before(before, self.job, now.version)
        self._use(replace(found.job, name=file.name), step)
        self._before = last
        replays = f"; {', '.join(step.replays)}: {WITH_A_CALL}" if step.replays else ""
        return self._done(f"saved to {file.name}, in force now{replays}", now)

    def _refused(self, text: str, found: Found) -> Answer:
        told = f"nothing was saved: {_count(found)} to correct first"
        return Answer(told, {"saved": False, **self._facts(text, found)})

    def with_instrument(self, entry: object) -> Found:
        """What there is to say of the job with one more instrument, the last one; nothing is saved."""
        read = self.read().data
        text, shown = str(read["text"]), job_form.values(str(read["text"]))
        place = len(shown["instrument"]) if shown else 0
        change = job_form.changes([{"path": ["instrument", place], "value": entry}])
        return self._examined(edited(text, change))

    def undo(self) -> Answer:
        """Bring back what stood in the file, and was in force, before the last saving; once."""
        file, before = self._file(), self._before
        if before is None:
            raise InputError("there is nothing to undo", "only the last saving can be undone, once")
        step = self._running.prepare(before.job.instruments)
        try:
            if before.file.there:
                now = job_file.write(file, before.file.text, expected=before.version)
            else:
                job_file.remove(file, expected=before.version)
                now = job_file.NOT_THERE
        except job_file.ConflictError as error:
            self._before = None
            return Answer(str(error), {"saved": False, "conflict": True})
        self._before = None
        self._use(before.job, step)
        what = "has again what it had before" if before.file.there else "is removed again, as before"
        return self._done(f"undone: {file.name} {what}", now)

    def _file(self) -> Path:
        if self._place.file is None:
            raise InputError("this job cannot be changed here", self._place.why)
        return self._place.file

    def _done(self, text: str, now: job_file.Kept) -> Answer:
        shown = replace(now, text=now.text if now.there else self.job.text)
        data = {"saved": True, "version": shown.version, "there": shown.there, "undo": self._before is not None}
        return Answer(text, {**data, **self._facts(shown.text)})

    def _use(self, job: Job, step: Step) -> None:
        self._collector.use_job(job.plate, self._rules(job), job.stated_timing)
        self.job = job
        data = {"text": without_causes(job), "name": job.name}
        what = f"job file {job.name}, changed on the page" if job.text else "no job file, as before"
        self._collector.ingest(Event(self._collector.now(), EventKind.JOB, what, None, data))
        self._running.follow(step)


def _mistake(error: LightoffError, job: Job) -> Mistake:
    """An instrument that cannot be made or taken in, beside its entry in the job."""
    found = next((n for n, one in enumerate(job.instruments, 1) if one.name in str(error)), None)
    return Mistake(0, f"instrument[{found}]" if found else "instrument", str(error))


def _simulates(text: str) -> bool:
    """Whether a job sets up a simulated unit, or may once its mistakes are corrected."""
    try:
        return any(one.driver == "simulate" for one in parse(text).instruments)
    except JobError:
        return "simulate" in text


def _told(text: str) -> str:
    """A job with a simulated unit as it may be shown; nothing where it cannot be."""
    try:
        return without_causes(parse(text))
    except InputError:
        return ""


def _count(found: Found) -> str:
    number = len(found.mistakes)
    return "" if not number else "1 mistake" if number == 1 else f"{number} mistakes"


def _edited(given: Given) -> str:
    """The text that the page means: as given, with the changes of its form."""
    text = given.get("text")
    if not isinstance(text, str):
        raise InputError("'text' must be a text", "load the page again")
    readable = text.encode("utf-8", "replace").decode().replace("\r\n", "\n")  # half a character can't be written
    if len(readable.encode()) > MAX_BYTES:
        raise InputError(f"the text {TOO_LARGE.partition(';')[0]}", "shorten it; nothing was saved")
    told = given.get("changes")
    return edited(readable, job_form.changes(told)) if told else readable
