"""The command that analyses a recording afterwards."""

import os
from contextlib import suppress
from pathlib import Path

import click

from collector.command_line import FILE, bar, counting, say
from drivers.base import InputError


@click.argument("file", type=FILE)
@click.option("--job", "job_file", type=FILE, help="The job file; default: the one in the recording or beside it.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--units", type=click.Choice(["trade", "metric"]), default="trade", show_default=True)
@click.option("--all", "every", is_flag=True, help="In text, every measure of every attempt.")
@click.option("-o", "--output", type=FILE, help="Write it to a file; default: standard output.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
def analyze(
    *, file: Path, job_file: Path | None, as_json: bool, units: str, every: bool, output: Path | None, force: bool
) -> None:
    """Find every ignition attempt of a recording or CSV file, how it ended, and what was measured in it.

    From whatever channels were recorded: attempts with their phases, numbers with their uncertainty, verdicts against
    the job file, alarms, and what is wrong with the data. docs/analyze.md explains every name.
    """
    from collector.analysis_json import text_of
    from collector.analysis_run import analyzed
    from collector.analysis_text import lines
    from collector.opened import open_data

    if output is not None and output.exists():
        if any(one is not None and one.exists() and output.samefile(one) for one in (file, job_file)):
            raise InputError(f"{output} is what is to be read", "choose another name with -o")
        if not force:
            raise InputError(f"{output} is there already", "choose another name or say --force")
    with counting(f"analysing {file.name}", text=bar) as progress:
        opened = open_data(file, job_file, lambda share: progress(share / 2))
        found = analyzed(opened, lambda share: progress((1 + share) / 2), units=units)
    text = text_of(found) if as_json else "\n".join(lines(found, every=every))
    if output is None:
        click.echo(text)
    else:
        write_whole(output, f"{text}\n")
    if opened.problem_count:
        count = "1 row or cell" if opened.problem_count == 1 else f"{opened.problem_count} rows or cells"
        say(f"{count} of {file.name} could not be read; the result says which")
        click.get_current_context().exit(1)


def write_whole(path: Path, text: str) -> None:
    """Write a file so that it is there whole or not at all; InputError where it cannot be written."""
    part = path.with_name(f"{path.name}.part")
    try:
        part.write_text(text, encoding="utf-8")
        part.replace(path)
    except OSError as error:
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise InputError(f"cannot write {path} ({reason})", "choose another folder or free some space") from error
    finally:
        with suppress(OSError):
            part.unlink()


def add_commands(to: click.Group) -> None:
    """Put it among the others."""
    to.command("analyze", epilog="lightoff analyze tuesday.lightoff --job job.toml --json")(analyze)
