"""`lightoff simulate`: from its options to three files, or to a call with page and recording."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from collector.job import Job, JobError, load, parse
from collector.page import program
from collector.papers import papers_of
from collector.session import Plan
from collector.simulate_files import ENDINGS, LIVE_ENDING, Content, Places, has_ending, is_same, write
from collector.simulation import Made, Practised, make, readings, truth
from collector.simulation_request import Request, WrongUsageError, causes_of, own_request
from drivers.base import InputError
from drivers.codecs.recording_csv import parse_time

MINUTES = 30.0
"""Usual length. [min]"""
START = "2026-01-14T06:30:00Z"
"""When second 0 is where nothing else is said: an invented winter morning."""
PORT = 8350
"""Where the page is wished for where nothing else is said. [1]"""
LAST_START = 2**62
"""A recording that begins later could not hold its own times. [ns]"""


@dataclass(frozen=True, slots=True)
class Options:
    """The options as they were given; None where they were not."""

    causes: tuple[str, ...] = ()
    severities: tuple[float, ...] = ()
    courses: tuple[str, ...] = ()
    onsets: tuple[float, ...] = ()
    """[s]"""
    seed: int | None = None
    job_file: Path | None = None
    instruments: str | None = None
    minutes: float | None = None
    start: str | None = None
    force: bool = False
    speed: float | None = None
    """[1]"""
    seconds: float | None = None
    """[s]"""
    port: int | None = None
    no_browser: bool = False

    def asked(self) -> tuple[Request, Job | None]:
        """The unit asked for, and the job given, whose own simulated instrument says what no option says.

        WrongUsageError with every mistake, JobError where the job's file cannot be read.
        """
        causes, job = causes_of(self.causes, self.severities, self.courses, self.onsets), self._job()
        own = own_request(job)
        request = Request(
            seed=own.seed if self.seed is None else self.seed,
            causes=causes if self.causes else own.causes,
            instruments=own.instruments if self.instruments is None else self.instruments,
            speed=own.speed if self.speed is None else self.speed,
        )
        return request, job

    def _job(self) -> Job | None:
        try:
            return load(self.job_file) if self.job_file else None
        except JobError as error:
            if error.mistakes:
                raise WrongUsageError(error) from error
            raise


def written(output: Path | None, options: Options, *, progress: Callable[[float], None]) -> str:
    """Write the three files of a simulated call; what was written, in words. InputError: nothing was."""
    for name, value in (
        ("--speed", options.speed),
        ("--for", options.seconds),
        ("--port", options.port),
        ("--no-browser", options.no_browser or None),
    ):
        if value is not None:
            raise _wrong(
                f"{name} is for a unit that runs live", "say --live too, or --minutes for the length of a file"
            )
    if output is None:
        raise _wrong("it is not said where to write", "say -o FILE, or --live to look on while it runs")
    if not has_ending(output.name, *ENDINGS):
        raise _wrong(f"{output} is no name with an ending of {', '.join(ENDINGS)}", "name for example call.csv")
    start, minutes = _start(options.start or START), options.minutes or MINUTES
    (request, job), places = options.asked(), Places.beside(output)
    for cause in request.causes:
        if cause.onset >= 60.0 * minutes:
            what = f"the onset {cause.onset:g} s of {cause.cause} is not before the end, {60.0 * minutes:g} s"
            raise _wrong(what, "say an earlier one, or more --minutes")
    made, text = _made(request, job, minutes)
    places.check(given_job=options.job_file, force=options.force)
    if job and text != job.text and is_same(places.job, options.job_file):
        what = f"{places.job} says what is wrong, or another seed, and would lie beside the recording as its job"
        raise _wrong(what, "choose another name for the recording")
    content = Content(
        channels=made.channels,
        readings=readings(made, start=start, seconds=60.0 * minutes, progress=progress),
        digits=made.digits,
        job=text,
        truth=lambda: truth(made),
        start=start,
        about=f"simulated and invented, seed {request.seed}",
    )
    count = write(places, content, given_job=options.job_file)
    return (
        f"{places.recording}: {count} readings of {minutes:g} min, simulated and invented\n"
        f"{places.job}: the job of the unit\n"
        f"{places.truth}: what was wrong; keep it from whoever is to find out"
    )


def plan_of(output: Path | None, options: Options, *, place: Callable[[], Path]) -> Plan:
    """Call with a simulated unit in the place of instruments; `place` is where it is recorded by default."""
    for name, value in (("--minutes", options.minutes), ("--start", options.start), ("--force", options.force or None)):
        if value is not None:
            raise _wrong(f"{name} is for files", "a unit that runs live begins now and ends with --for or Ctrl+C")
    if output is not None and not has_ending(output.name, LIVE_ENDING):
        raise _wrong(
            f"{output}: a unit that runs live is recorded as .lightoff", "name such a file, and export it then"
        )
    request, job = options.asked()
    made, text = _made(request, job, None)
    if output is not None and output.exists():
        what = f"{output} is there already"
        raise InputError(what, "a simulated call has a recording of its own: choose another name")
    name = job.name if job else f"simulated unit, seed {request.seed}"
    return Plan(
        recording=output or place(),
        job=replace(job, text=text) if job else parse(text, name),
        page=program(),
        port=PORT if options.port is None else options.port,
        seconds=options.seconds,
        drivers=lambda clock: [Practised(made, clock)],
    )


def _made(request: Request, job: Job | None, minutes: float | None) -> tuple[Made, str]:
    """The unit asked for and the text of its job; WrongUsageError where the job contradicts itself."""
    try:
        made = make(request, papers_of(job) if job else None, minutes=minutes)
        return made, made.text(job)
    except InputError as error:
        raise WrongUsageError(error) from error


def _start(text: str) -> int:
    try:
        start = parse_time(text)
    except ValueError as error:
        raise _wrong(f"--start: {error}", "write it like that") from error
    if not 0 <= start <= LAST_START:
        raise _wrong(f"--start: '{text[:40]}' is before 1970 or too late to be recorded", "say a time between them")
    return start


def _wrong(what: str, hint: str) -> WrongUsageError:
    return WrongUsageError(InputError(what, hint))
