"""The seam to Dask: recordings analysed by the workers of a cluster, which see the same files under the same names."""

import asyncio
import logging
import uuid
from collections.abc import Generator, Iterator, Sequence
from itertools import islice
from typing import Any, cast

from collector.analysis_line import Task, error_line, line_of, program
from collector.analysis_pool import Done
from drivers.base import InputError

PATIENCE = 10.0
"""How long the scheduler is waited for. [s]"""
WORKERS = 60.0
"""How long the first worker is waited for: it may just have been started. [s]"""


def on_cluster(
    tasks: Sequence[Task], address: str, patience: float = PATIENCE, workers: float = WORKERS
) -> Generator[Done, None, None]:
    """Each recording's line as soon as it is there.

    InputError: the library is not installed, nobody answers, no worker is there, or the cluster goes away meanwhile.
    """
    try:
        import distributed  # noqa: PLC0415 - wanted by few
    except ImportError:
        what = "analysing on a cluster needs a library that is not installed"
        raise InputError(what, "say pip install 'lightoff[cluster]'") from None
    _hush()
    try:
        client: Any = cast(Any, distributed.Client)(address, timeout=patience, set_as_default=False)
    except (OSError, TimeoutError, ValueError, asyncio.CancelledError) as error:
        what = f"no scheduler answers at {address} ({_short(error)})"
        raise InputError(what, "look whether it runs, and at its address, such as tcp://192.0.2.7:8786") from None
    try:
        _check_workers(client, address, workers)
        yield from _results(client, distributed.as_completed, tasks)
    except (OSError, TimeoutError, asyncio.CancelledError):
        what = f"the scheduler at {address} went away"
        hint = "say the same again when it is back: what is done is not done again"
        raise InputError(what, hint) from None
    finally:
        client.close(timeout=patience)


def _hush() -> None:
    """What is wrong is said once, in our words."""
    for name in list(logging.Logger.manager.loggerDict):
        if name.partition(".")[0] in ("distributed", "tornado"):
            logging.getLogger(name).disabled = True


def _check_workers(client: Any, address: str, patience: float) -> None:
    try:
        client.wait_for_workers(1, timeout=patience)
    except TimeoutError:
        what = f"the scheduler at {address} has no workers"
        raise InputError(what, f"start one with: dask worker {address} --nthreads 1") from None
    try:
        theirs = client.submit(program, pure=False).result(timeout=patience)
    except Exception as error:  # whatever a worker without this program raises
        what = f"a worker at {address} cannot run lightoff ({_short(error)})"
        raise InputError(what, "install the same version there") from None
    if theirs != program():
        what = f"the workers at {address} have lightoff {theirs}, and this is {program()}"
        raise InputError(what, "install the same version there")


def _results(client: Any, as_completed: Any, tasks: Sequence[Task]) -> Iterator[Done]:
    """Lines as they come; as many recordings are out as the cluster has threads, so that none waits in a worker.

    One that waits there would be held to blame, too, when that worker dies.
    """
    run = uuid.uuid4().hex
    waiting = iter(enumerate(tasks))
    out: dict[str, Task] = {}
    done = as_completed(loop=client.loop)

    def hand_out() -> None:
        threads = sum(client.nthreads().values())
        for number, task in islice(waiting, max(max(threads, 1) - len(out), 0)):
            key = f"lightoff-{run}-{number}"
            out[key] = task
            done.add(client.submit(line_of, task, key=key, pure=False))

    hand_out()
    for future in done:
        task = out.pop(future.key)
        if future.status == "finished":
            line = future.result()
        elif future.status == "error":
            line = error_line(task, f"the cluster gave it up ({_short(future.exception())})")
        else:
            raise ConnectionError("a recording is lost to the cluster")
        future.release()
        hand_out()
        yield Done(task, line)


def _short(error: Any) -> str:
    """The beginning of a foreign message, on one line."""
    return f"{type(error).__name__}: {' '.join(str(error).split())[:160]}".removesuffix(": ")
