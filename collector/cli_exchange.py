"""The commands that take a recording in from other forms and out to them."""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from collector.cli_recordings import hand_over
from collector.command_line import FILE, bar, counting, say
from drivers.base import InputError

if TYPE_CHECKING:
    from collector.exchange import Imported, Span

IMPORTS = """lightoff import call.csv -o call.lightoff
  lightoff import logger.csv --shift "contact logger=-3600" --bad bad.csv -o logger.lightoff"""
EXPORTS = """lightoff export call.lightoff -o call.csv
  lightoff export call.lightoff -o call.parquet
  lightoff export call.lightoff -o copy.lightoff
  lightoff export call.lightoff --from 60 --to 180 -o -"""
FORMATS = {"csv": (".csv", ".csv.gz"), "parquet": (".parquet",)}
"""Forms a recording goes out as, and how their files end."""


@click.argument("file", type=FILE)
@click.option("-o", "--output", type=FILE, required=True, help="The recording to make.")
@click.option("--job", "job_file", type=FILE, help="A job file to keep in the recording.")
@click.option("--start", default="1970-01-01T00:00:00Z", show_default=True, help="When second 0 of the file was.")
@click.option(
    "--shift", "shifts", multiple=True, metavar="INSTRUMENT=SECONDS", help="Move its times; again for more, listed."
)
@click.option("--bad", type=FILE, help="Write all that could not be read to a CSV file: line, reason, text.")
def import_(
    *, file: Path, output: Path, job_file: Path | None, start: str, shifts: tuple[str, ...], bad: Path | None
) -> None:
    """Make a recording of a CSV or Parquet file; rows that cannot be read are listed and do not stop the rest.

    --shift puts right an instrument whose clock was off, by its name or that of one of its channels
    (point@instrument); later is positive. The recording says so. docs/exchange.md describes both forms.
    """
    from analysis.model import Event, EventKind
    from collector.database import is_recording
    from collector.exchange import import_csv
    from collector.exchange_parquet import import_parquet
    from collector.files import job_at
    from collector.shifts import Shifts
    from drivers.arrow import is_parquet
    from drivers.codecs.recording_csv import parse_time

    with _said("--start"):
        begin = parse_time(start)
    with _said("--shift"):
        moved = Shifts.parse(shifts)
    job = job_at(job_file)
    for path in filter(None, (output, bad)):
        if path.exists():
            raise InputError(f"{path} is there already", "choose another name")
    if bad and bad.absolute() == output.absolute():
        raise click.BadParameter(f"{bad} is where the recording goes", param_hint="--bad")
    if is_recording(file):
        raise InputError(f"{file} is a recording already", "use it as it is, or export it")
    columns = is_parquet(file)
    if columns and click.get_current_context().get_parameter_source("start") is not ParameterSource.DEFAULT:
        raise click.BadParameter(f"the times of {file} are dates", param_hint="--start")
    now = time.time_ns()
    kept = Event(now, EventKind.JOB, f"job file {job.name}", None, {"text": job.text}) if job.text else None
    with counting(f"importing {file.name}", text=bar) as progress:
        if columns:
            done = import_parquet(file, output, job=kept, now=now, shifts=moved, bad=bad, progress=progress)
        else:
            done = import_csv(file, output, job=kept, start=begin, now=now, shifts=moved, bad=bad, progress=progress)
    _tell(done, file, output, bad)
    if done.problem_count or done.conflicts or done.damaged:
        sys.exit(1)


def _tell(done: "Imported", file: Path, output: Path, bad: Path | None) -> None:
    """Say what an import did, and what it could not read."""
    twice = f", {done.readings - done.kept} stood there twice" if done.kept < done.readings else ""
    click.echo(f"{output}: {done.kept} readings{twice}")
    if bad and done.problem_count:
        click.echo(f"{file}: {done.problem_count} problems, listed in {bad}", err=True)
    for problem in () if bad else done.problems:
        click.echo(f"{file}: {problem}", err=True)
    more = 0 if bad else done.problem_count - len(done.problems)
    if more:
        click.echo(f"{file}: {more} further problems are not listed; say --bad FILE for all", err=True)
    if done.conflicts:
        click.echo(f"{file}: {done.conflicts} second values for one instant; the first was kept", err=True)
    if done.damaged:
        click.echo(f"{done.damaged}; what stands before was kept", err=True)
    if done.lacking:
        say(done.lacking)


@contextmanager
def _said(option: str) -> Iterator[None]:
    """Wrong usage where the value of an option cannot be read."""
    try:
        yield
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint=option) from None


@click.argument("recording", type=FILE)
@click.option(
    "-o",
    "--output",
    type=FILE,
    required=True,
    help="A .csv, .csv.gz, .parquet or .lightoff file, or - for standard output.",
)
@click.option("--format", "form", type=click.Choice([*FORMATS]), help="What goes to standard output; by default csv.")
@click.option("--from", "begin", metavar="TIME", help="First time: a date with Z or offset, or seconds from the start.")
@click.option("--to", "end", metavar="TIME", help="Last time, the same way.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
@click.option("--events", type=FILE, help="Write what happened too: gaps, problems, alarms; a .csv or .csv.gz file.")
def export(
    *,
    recording: Path,
    output: Path,
    form: str | None,
    begin: str | None,
    end: str | None,
    force: bool,
    events: Path | None,
) -> None:
    """Write a recording as CSV or Parquet, every value as the instrument gave it, or hand it over as it is.

    Parquet keeps all: quality, what is known of each instrument, events, photographs and the job file; import makes the
    same recording of it. CSV keeps times and values. docs/exchange.md describes both. A .lightoff file is a whole
    recording of one moment, also of one that is being recorded: never copy the file of a running recording by other
    means.
    """
    from collector.exchange import export_csv, export_events, untold
    from collector.exchange_parquet import export_parquet
    from collector.recording import Recording

    if output.name.endswith(".lightoff"):
        if form or begin or end:
            option = "--format" if form else "--from" if begin else "--to"
            raise click.BadParameter(f"{output} is the whole recording", param_hint=option)
        hand_over(recording, output, force=force, events=events)
        return
    standard = str(output) == "-"
    chosen = _form_of(output, form, standard=standard)
    if events and not events.name.endswith(FORMATS["csv"]):
        raise click.BadParameter(f"{events} ends neither in .csv nor in .csv.gz", param_hint="--events")
    for path in (None if standard else output, events):
        if path and path.exists() and path.resolve() == recording.resolve():
            raise InputError(f"{path} is what is to be read", "choose another name")
        if path and path.exists() and not force:
            raise InputError(f"{path} is there already", "choose another name or say --force")
    if events and events.absolute() == output.absolute():
        raise click.BadParameter(f"{events} is where the readings go", param_hint="--events")
    with (
        Recording(recording, past_damage=True) as opened,
        counting(f"exporting {recording.name}", text=bar) as progress,
    ):
        span = _span(opened.span(), begin, end)
        export_as = export_parquet if chosen == "parquet" else export_csv
        count = export_as(opened, None if standard else output, span=span, progress=progress)
        happened = export_events(opened, events) if events else 0
        left = "" if chosen == "parquet" or events else untold(opened)
        damaged = [opened.told(damage) for damage in opened.damage]
    click.echo(f"{output}: {count} readings", err=standard)
    if events:
        click.echo(f"{events}: {happened} events", err=standard)
    for one in filter(None, (left, *(f"left out: {damage}" for damage in damaged))):
        say(one)
    if damaged:
        sys.exit(1)


def _form_of(output: Path, form: str | None, *, standard: bool) -> str:
    if standard:
        return form or "csv"
    found = next((name for name, endings in FORMATS.items() if output.name.endswith(endings)), None)
    if found is None:
        raise click.BadParameter(f"{output} ends neither in .csv, .csv.gz, .parquet nor in .lightoff", param_hint="-o")
    if form not in (None, found):
        raise click.BadParameter(f"{output} ends as {found} does", param_hint="--format")
    return found


def _span(whole: tuple[int, int] | None, begin: str | None, end: str | None) -> "Span | None":
    """The span that is wished, or None for all; wrong usage where a time cannot be read."""
    from collector.exchange import Span
    from drivers.codecs.recording_csv import parse_time

    if whole is None or begin is end is None:
        return None
    found = [*whole]
    for place, (text, option) in enumerate(((begin, "--from"), (end, "--to"))):
        if text is not None:
            with _said(option):
                found[place] = parse_time(text.strip(), whole[0])
    if found[0] > found[1]:
        if begin and end and parse_time(begin.strip(), whole[0]) > parse_time(end.strip(), whole[0]):
            raise click.BadParameter(f"{end} is before {begin}", param_hint="--to")
        raise InputError("the recording has no reading in that span", "look at its times")
    return Span(max(found[0], whole[0]), min(found[1], whole[1]))


def add_commands(to: click.Group) -> None:
    """Put them among the others."""
    to.command("import", epilog=IMPORTS)(import_)
    to.command("export", epilog=EXPORTS)(export)
