"""`lightoff analyze --scheduler` on a real scheduler with a real worker, both on loopback and started by the tests."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner

from collector import analysis_line, cluster
from collector.cli import main
from collector.cluster import on_cluster
from drivers.base import InputError
from tests.collector.many import folder_of, lines_of, stuck, task_of

pytestmark = pytest.mark.timeout(180)  # a scheduler and workers start slowly on a busy machine


def dask(folder: Path, *given: str) -> subprocess.Popen[bytes]:
    settings = {
        **os.environ,
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0",
        "DASK_DISTRIBUTED__WORKER__MEMORY__TERMINATE": "False",
    }
    log = (folder / f"{given[0]}.log").open("wb")
    with log:
        return subprocess.Popen(
            [sys.executable, "-m", "dask", *given], cwd=folder, env=settings, stdout=log, stderr=subprocess.STDOUT
        )


def ended(*processes: subprocess.Popen[bytes]) -> None:
    for process in processes:
        process.terminate()
    for process in processes:
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(timeout=10)


def address_in(file: Path) -> str:
    deadline = time.monotonic() + 90
    while not file.exists() or not file.read_text().strip():
        assert time.monotonic() < deadline, "the scheduler does not start"
        time.sleep(0.02)  # waits for another program's file
    return str(json.loads(file.read_text())["address"])


@contextmanager
def scheduling(folder: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """Address of a scheduler without workers, and its process."""
    given = "scheduler --host 127.0.0.1 --port 0 --no-dashboard --scheduler-file s.json"
    process = dask(folder, *given.split())
    try:
        yield address_in(folder / "s.json"), process
    finally:
        ended(process)


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    with scheduling(tmp_path_factory.mktemp("scheduler")) as (address, _):
        yield address


@contextmanager
def working(folder: Path, address: str) -> Iterator[subprocess.Popen[bytes]]:
    """One worker with one thread, started again by its nanny when it dies."""
    process = dask(folder, "worker", address, "--nthreads", "1", "--no-dashboard", "--local-directory", str(folder))
    try:
        yield process
    finally:
        ended(process)


@pytest.fixture(scope="module")
def worker(tmp_path_factory, scheduler):
    with working(tmp_path_factory.mktemp("worker"), scheduler) as process:
        yield process


@pytest.fixture(scope="module")
def calls(tmp_path_factory):
    return folder_of(tmp_path_factory.mktemp("cluster") / "calls", 2)


def test_the_lines_are_those_of_this_machine(tmp_path, scheduler, worker, calls):
    out = tmp_path / "out.jsonl"
    given = ["analyze", str(calls[0].parent), "--scheduler", scheduler, "-o", str(out)]
    done = CliRunner().invoke(main, given, catch_exceptions=False)
    assert done.exit_code == 1
    assert done.stderr == "lightoff: 3 recordings: 2 analysed, 1 could not be analysed; their lines say why\n"
    assert sorted(out.read_text().splitlines()) == lines_of(calls)
    again = CliRunner().invoke(main, given, catch_exceptions=False)
    assert "0 analysed, 2 there already" in again.stderr
    assert sorted(out.read_text().splitlines()) == lines_of(calls)


def test_a_worker_that_is_killed_costs_the_recording_that_it_was_at(tmp_path, scheduler, worker, calls):
    """It waits for a pipe that nobody writes to; the rest is analysed by the worker that takes its place."""
    with stuck(tmp_path / "stuck.csv") as wait_for_reader:
        tasks = [task_of(one) for one in (calls[0], tmp_path / "stuck.csv", *calls[1:])]
        results = on_cluster(tasks, scheduler)
        lines = [next(results).line]
        wait_for_reader()
        for one in children(worker.pid):
            os.kill(one, signal.SIGKILL)
        lines += [one.line for one in results]
    (lost,) = [line for line in lines if "gave it up" in str(line)]
    assert json.loads(str(lost))["file"] == str(tmp_path / "stuck.csv")
    assert "KilledWorker" in str(lost)
    assert sorted(str(line) for line in lines if line != lost) == lines_of(calls)


def children(process: int) -> list[int]:
    """Processes that run a worker under its nanny."""
    told = [file.read_text() for file in Path(f"/proc/{process}/task").glob("*/children")]
    found = [int(one) for text in told for one in text.split()]
    return [one for one in found if "spawn_main" in Path(f"/proc/{one}/cmdline").read_text()]


def test_a_scheduler_without_workers_and_one_that_goes_away_are_one_sentence_each(tmp_path, calls, caplog):
    with scheduling(tmp_path) as (address, process), stuck(tmp_path / "stuck.csv") as wait_for_reader:
        with pytest.raises(InputError, match=f"the scheduler at {address} has no workers; start one with: dask worker"):
            next(on_cluster([task_of(calls[0])], address, workers=0.5))
        with working(tmp_path, address):
            results = on_cluster([task_of(calls[0]), task_of(tmp_path / "stuck.csv")], address)
            assert next(results).line in lines_of(calls[:1])
            wait_for_reader()
            process.kill()
            with pytest.raises(InputError, match=f"the scheduler at {address} went away; say the same again"):
                next(results)
    assert caplog.records == []


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "127.0.0.1:9", "nonsense://x"])
def test_nobody_at_the_address_is_one_sentence(address, calls):
    with pytest.raises(InputError, match=f"no scheduler answers at {address}") as caught:
        next(on_cluster([task_of(calls[0])], address, patience=0.5))
    assert "\n" not in str(caught.value)


def test_a_library_that_is_not_installed_is_one_sentence(monkeypatch, calls):
    monkeypatch.setitem(sys.modules, "distributed", None)
    done = CliRunner().invoke(main, ["analyze", str(calls[0]), "--scheduler", "tcp://127.0.0.1:9"])
    assert (done.exit_code, done.stdout) == (1, "")
    assert done.stderr == (
        "lightoff analyze: analysing on a cluster needs a library that is not installed;"
        " say pip install 'lightoff[cluster]'\n"
    )


def test_workers_of_another_version_are_refused(monkeypatch, scheduler, worker, calls):
    monkeypatch.setattr(cluster, "program", _Another())
    with pytest.raises(
        InputError, match=rf"the workers at {scheduler} have lightoff .*, and this is 99; install the same"
    ):
        next(on_cluster([task_of(calls[0])], scheduler))


class _Another:
    """This program in another version; the workers are asked for theirs all the same."""

    def __call__(self) -> str:
        return "99"

    def __reduce__(self) -> tuple[object, tuple[object, str]]:
        return getattr, (analysis_line, "program")
