"""The command that analyses recordings afterwards: one in text or JSON, many as lines of JSON."""

import os
from collections.abc import Generator, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from collector.command_line import FILE, bar, counting, say
from drivers.base import InputError

if TYPE_CHECKING:
    from collector.analysis_line import Task
    from collector.analysis_many import Tally, Workers
    from collector.analysis_pool import Done

EXAMPLES = """lightoff analyze tuesday.lightoff --job job.toml --json
  lightoff analyze recordings -o found.jsonl
  lightoff analyze "calls/**/*.csv.gz" friday.lightoff --jobs 4 -o found.jsonl"""


@click.argument("files", metavar="FILE...", type=FILE, nargs=-1, required=True)
@click.option("--job", "job_file", type=FILE, help="The job file; default: the one in the recording or beside it.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--units", type=click.Choice(["trade", "metric"]), default="trade", show_default=True)
@click.option("--shares", "shares_file", type=FILE, help="How common causes are in your calls; docs/diagnosis.md.")
@click.option("--all", "every", is_flag=True, help="In text, every measure of every attempt.")
@click.option("-o", "--output", type=FILE, help="Write it to a file; default: standard output.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@click.option("--lines", is_flag=True, help="A line of JSON for each recording, also where one file is named.")
@click.option("--jobs", type=click.IntRange(1), metavar="N", help="Of many: so many at a time; default: all cores.")
@click.option("--scheduler", metavar="ADDRESS", help="Of many: on the Dask cluster with this scheduler.")
def analyze(
    *,
    files: tuple[Path, ...],
    job_file: Path | None,
    as_json: bool,
    units: str,
    shares_file: Path | None,
    every: bool,
    output: Path | None,
    force: bool,
    lines: bool,
    jobs: int | None,
    scheduler: str | None,
) -> None:
    """Find every ignition attempt of a recording or CSV file, how it ended, and what was measured in it.

    From whatever channels were recorded: attempts with their phases, numbers with their uncertainty, verdicts against
    the job file, alarms, and what is wrong with the data. docs/analyze.md explains every name.

    Of several files, folders or patterns each recording becomes a line of JSON. With -o what stands in that file is
    taken up: what is done is not done again, also after a run that was stopped.
    """
    from collector.analysis_files import is_one

    if len(files) == 1 and is_one(str(files[0])) and not (lines or jobs or scheduler):
        _one(files[0], job_file, shares_file, as_json=as_json, units=units, every=every, output=output, force=force)
        return
    if every:
        raise click.UsageError("--all is for the text of one file; lines of JSON have every measure.")
    if jobs and scheduler:
        raise click.UsageError("--jobs is for this machine and --scheduler for a cluster; say one of them.")
    _many(files, job_file, shares_file, units=units, output=output, force=force, workers=_workers(jobs, scheduler))


def _one(
    file: Path,
    job_file: Path | None,
    shares_file: Path | None,
    *,
    as_json: bool,
    units: str,
    every: bool,
    output: Path | None,
    force: bool,
) -> None:
    """Analyse one file."""
    from collector.analysis_json import text_of
    from collector.analysis_run import analyzed
    from collector.analysis_text import lines
    from collector.opened import open_data
    from collector.shares import shares

    priors = shares(shares_file) if shares_file else None
    if output is not None and output.exists():
        _keep_apart(output, [file, job_file, shares_file])
        if not force:
            raise InputError(f"{output} is there already", "choose another name or say --force")
    with counting(f"analysing {file.name}", text=bar) as progress:
        opened = open_data(file, job_file, lambda share: progress(share / 2))
        found = analyzed(opened, lambda share: progress((1 + share) / 2), units=units, priors=priors)
    text = text_of(found) if as_json else "\n".join(lines(found, every=every))
    if output is None:
        click.echo(text)
    else:
        write_whole(output, f"{text}\n")
    if opened.problem_count:
        count = "1 row or cell" if opened.problem_count == 1 else f"{opened.problem_count} rows or cells"
        say(f"{count} of {file.name} could not be read; the result says which")
        click.get_current_context().exit(1)


def _many(
    files: Sequence[Path],
    job_file: Path | None,
    shares_file: Path | None,
    *,
    units: str,
    output: Path | None,
    force: bool,
    workers: "Workers",
) -> None:
    """Analyse each of many files to a line."""
    from collector.analysis_files import recordings
    from collector.analysis_line import Task
    from collector.analysis_many import Printed
    from collector.analysis_many import run as run_all
    from collector.files import job_at
    from collector.job_lines import read_text
    from collector.result_lines import result_lines
    from collector.shares import shares

    found = recordings(map(str, files))
    job_at(job_file)  # a mistake in it would be in every line
    if shares_file:
        shares(shares_file)
    counted = read_text(shares_file) if shares_file else None
    job = str(job_file.absolute()) if job_file else None
    tasks = [Task(str(one), str(one.absolute()), job, str(job_file or ""), units, counted) for one in found]
    with counting(f"analysing {len(tasks)} recordings", text=bar) as progress:
        if output is None:
            done = run_all(tasks, workers, Printed(click.echo), progress)
        else:
            if output.exists():
                _keep_apart(output, [*found, job_file, shares_file])
            with result_lines(output, force=force) as lines:
                if lines.healed:
                    say(f"the last line of {output} was cut off in writing; its recording is analysed again")
                done = run_all(tasks, workers, lines, progress)
    _tell(done)


def _tell(done: "Tally") -> None:
    say(str(done))
    if done.failed or done.unread:
        click.get_current_context().exit(1)


def _workers(jobs: int | None, scheduler: str | None) -> "Workers":
    """Who analyses many recordings."""

    def locally(tasks: "Sequence[Task]") -> "Generator[Done, None, None]":
        from collector.analysis_pool import in_processes

        return in_processes(tasks, jobs or _cores())

    def elsewhere(tasks: "Sequence[Task]", address: str) -> "Generator[Done, None, None]":
        from collector.cluster import on_cluster

        return on_cluster(tasks, address)

    return partial(elsewhere, address=scheduler) if scheduler else locally


def _cores() -> int:
    """Cores that this process may use. [1]"""
    with suppress(AttributeError):  # not on every system
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _keep_apart(output: Path, read: Sequence[Path | None]) -> None:
    """InputError where the output is what is to be read."""
    if any(one is not None and one.exists() and output.samefile(one) for one in read):
        raise InputError(f"{output} is what is to be read", "choose another name with -o")


def write_whole(path: Path, text: str) -> None:
    """Write a file so that it is there whole or not at all; InputError where it cannot be written."""
    from collector.whole_files import whole_file

    with whole_file(path) as file:
        file.write(text.encode())


def add_commands(to: click.Group) -> None:
    """Put it among the others."""
    to.command("analyze", epilog=EXAMPLES)(analyze)
