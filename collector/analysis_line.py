"""One recording analysed to one line of JSON, wherever that is done; whatever is wrong with it becomes its line."""

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

from collector.analysis_json import in_json
from collector.analysis_run import analyzed
from collector.files import beside
from collector.opened import open_data
from collector.shares import parsed as shares_in
from drivers.base import InputError, LightoffError

FORMAT = 1
"""Version of the lines."""
_SAME = ("content", "job_content", "program", "format", "units", "shares")
"""What says whether a line is still true of its file."""

Same = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Task:
    """A recording to be analysed."""

    name: str
    """The file as it is named in its line."""
    path: str
    """Where it is, from the root on: whoever analyses it may stand elsewhere."""
    job: str | None = None
    """A job file for it, from the root on."""
    job_name: str = ""
    """That job file as it was named."""
    units: str = "trade"
    shares: str | None = None
    """Text of a file of shares of causes."""
    known: Same | None = None
    """What an earlier line of it says by `same`; where that is still true there is nothing to do."""


def program() -> str:
    """Version of this program."""
    return version("lightoff")


def same(line: Mapping[str, Any]) -> Same:
    """What two lines of a file have in common when the second would say the same."""
    return tuple(line.get(key) for key in _SAME)


def line_of(task: Task) -> str | None:
    """The line, without its end, or None where `known` is still true."""
    try:
        facts = _facts(task)
    except LightoffError as error:
        return error_line(task, _said(task, error))
    if task.known == same(facts):
        return None
    try:
        priors = shares_in(task.shares, "the file of shares") if task.shares else None
        found = in_json(analyzed(open_data(Path(task.path), _job(task)), units=task.units, priors=priors))
    except LightoffError as error:
        return _written({**facts, "error": _said(task, error)})
    except Exception as error:  # one file must never end the run
        return _written({**facts, "error": f"a defect of the program: {type(error).__name__}: {error}"})
    recording = found["recording"]
    if recording["job_from"]:
        recording["job_from"] = _named(task, recording["job_from"])
    return _written({**facts, "analysis": found})


def error_line(task: Task, why: str) -> str:
    """The line of a recording that could not be analysed at all."""
    return _written({**_head(task, None, None), "error": why})


def _head(task: Task, content: str | None, job: str | None) -> dict[str, Any]:
    facts = {"file": task.name, "content": content, "job_content": job, "program": program(), "format": FORMAT}
    shares = hashlib.sha256(task.shares.encode()).hexdigest() if task.shares else None
    return {**facts, "units": task.units, "shares": shares}


def _written(line: Mapping[str, Any]) -> str:
    """ASCII: a file's name may have half a character in it."""
    return json.dumps(line, allow_nan=False)


def _facts(task: Task) -> dict[str, Any]:
    """Which bytes the result rests on: those of the recording, with a log that is left beside it, and of its job."""
    path = Path(task.path)
    job = _job(task) or beside(path)
    log = path.with_name(f"{path.name}-wal")
    content = _digest(path, *([log] if log.exists() else []))
    return _head(task, content, _digest(job) if job else None)


def _job(task: Task) -> Path | None:
    return Path(task.job) if task.job else None


def _digest(*paths: Path) -> str:
    found = hashlib.sha256()
    for path in paths:
        try:
            with path.open("rb") as file:
                while piece := file.read(1 << 20):
                    found.update(piece)
        except FileNotFoundError:
            raise InputError(f"there is no file {path}", "check the name and the folder") from None
        except OSError as error:
            raise InputError(f"{path} cannot be read ({error.strerror})", "check its permissions") from error
    return found.hexdigest()


def _said(task: Task, error: LightoffError) -> str:
    mistakes = getattr(error, "mistakes", ())
    more = f" (and {len(mistakes) - 1} more)" if len(mistakes) > 1 else ""
    text = f"{getattr(error, 'where', '')}: {mistakes[0]}{more}" if mistakes else str(error)
    return _named(task, text)


def _named(task: Task, text: str) -> str:
    """Files as they were named: a line says the same wherever it was made."""
    if task.job:
        text = text.replace(task.job, task.job_name)
    return text.replace(f"{Path(task.path).parent}{os.sep}", "")
