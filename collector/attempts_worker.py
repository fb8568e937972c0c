"""`python -m collector.attempts_worker`: finds the attempts of recordings, a path a line in, an answer a line out.

It is the least urgent of all programs, so that neither a recording nor the page waits for it, and ends with its input.
"""

import json
import os
import queue
import sys
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from analysis.sequence.recognize import recognize
from collector.analysis_layout import tally
from collector.attempt_rows import attempt_row
from collector.opened import open_data
from drivers.base import LightoffError

MOST = 200
"""Attempts of one recording that are told, the first of them. [1]"""
LEAST_URGENT = 19


def attempts_of(path: Path) -> dict[str, Any]:
    """Attempts of a recording for the page, times in ms, and how many of each kind in words; or why there are none."""
    try:
        opened = open_data(path)
        found = recognize(opened.series, opened.job.stated_timing, opened.job.plate).attempts
    except (LightoffError, ValueError) as error:
        return {"problem": str(error).replace(f"{path.parent}{os.sep}", "")}
    rows = [attempt_row(attempt) for attempt in found[:MOST]]
    return {"text": tally(found), "attempts": rows, "more": len(found) - len(rows)}


def main() -> None:
    """Answer until the input ends; what was begun then is dropped."""
    least_urgent()
    for path in asked_for():
        sys.stdout.write(json.dumps(attempts_of(path), separators=(",", ":"), allow_nan=False) + "\n")
        sys.stdout.flush()


def least_urgent() -> None:
    """Run when nothing else wants to; where sessions share the processor evenly, as a session that says so."""
    with suppress(AttributeError, OSError):
        os.nice(LEAST_URGENT)
    with suppress(AttributeError, OSError):
        os.setsid()
        Path("/proc/self/autogroup").write_text(str(LEAST_URGENT), "ascii")


def asked_for() -> Iterator[Path]:
    """Paths that come as lines of JSON; the program ends with its input, whatever it is at."""
    wanted: queue.SimpleQueue[str] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(wanted,), name="standard input", daemon=True).start()
    while True:
        yield Path(json.loads(wanted.get()))


def _listen(wanted: "queue.SimpleQueue[str]") -> None:
    for line in sys.stdin:
        wanted.put(line)
    os._exit(0)


if __name__ == "__main__":
    main()
