"""Files by their content: what can be played, the job that belongs to it, and where a new recording goes."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from collector.database import is_recording
from collector.job import Job, load, parse
from collector.recording import Recording
from drivers.base import InputError
from drivers.replay import CsvSource, Source, stem

INSIDE = "inside the recording"
"""Where a job is from that no file has."""


def job_at(path: Path | None) -> Job:
    """Job of a file, an empty one where none is named; JobError with every mistake."""
    return load(path) if path else parse("", "none")


def job_of(file: Path) -> Job:
    """Job inside a recording, else the one beside the file (`X.toml`, `X.job.toml`), else an empty one."""
    return job_with(file)[0]


def job_with(file: Path, named: Path | None = None) -> tuple[Job, str]:
    """The job that is named, else the one of `job_of`, and where it is from; empty where there is none."""
    if named is not None:
        return load(named), str(named)
    if is_recording(file):
        with Recording(file, past_damage=True) as recording:
            if (text := recording.job()) is not None:
                return parse(text, f"inside {file.name}"), INSIDE
    found = beside(file)
    return job_at(found), str(found or "")


def beside(file: Path) -> Path | None:
    """The job file that lies beside a file of readings, where there is one."""
    places = (file.with_name(f"{stem(file)}{ending}") for ending in (".toml", ".job.toml"))
    return next((path for path in places if path.is_file()), None)


@contextmanager
def source_of(file: Path) -> Iterator[Source]:
    """A recording or a CSV file, to be played; InputError or RecordingError in one sentence."""
    if is_recording(file):
        with Recording(file) as recording:
            yield recording
    else:
        yield CsvSource(file)


def place_for(output: Path | None, name: str, *, say: Callable[[str], None]) -> Path:
    """Where to record: the wished file, else a new one in the folder recordings, else in the temporary folder.

    The last is said: what lies there may be gone after the machine's next start.
    """
    if output is not None:
        return output
    file = f"{name}-{datetime.now().astimezone():%Y%m%d-%H%M%S}.lightoff"
    wished, last = Path("recordings"), Path(tempfile.gettempdir())
    for folder in (wished, last):
        with suppress(OSError):
            folder.mkdir(exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                if folder is last:
                    say(f"this folder takes no files: recording to {last}, which may be emptied; name a file with -o")
                return folder / file
    raise InputError("there is no folder to record to", "name a file with -o")
