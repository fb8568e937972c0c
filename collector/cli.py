"""The `lightoff` command: the one module that knows everyone; heavy imports wait until a command needs them."""

import asyncio
import logging
import math
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drivers.base import InputError, LightoffError

if TYPE_CHECKING:
    from collector.job import Job
    from collector.session import Plan
    from drivers.replay import Source

DEMO = "drain_backs_up"
CAUTIONS = (
    "Gas, carbon monoxide, flue gas, mains voltage and moving parts can kill. Local codes, the maker's instructions"
    " and licensed practice come first; no reading here replaces them."
)

_FILE = click.Path(path_type=Path)


class Command(click.Command):
    """A command whose errors are one sentence on standard error, with the exit status of the work."""

    def invoke(self, context: click.Context) -> object:
        """Exit status 0 done, 1 something is wrong with the input, 2 wrong usage (from click)."""
        try:
            return super().invoke(context)
        except LightoffError as error:
            mistakes = getattr(error, "mistakes", ())
            for mistake in mistakes:
                click.echo(f"{getattr(error, 'where', '')}: {mistake}", err=True)
            if not mistakes:
                click.echo(f"lightoff {self.name}: {error}", err=True)
            context.exit(1)
        except KeyboardInterrupt:
            click.echo(f"lightoff {self.name}: interrupted", err=True)
            context.exit(130)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """The example, as it is typed."""
        if self.epilog:
            formatter.write(f"\nExample:\n  {self.epilog}\n")


class Group(click.Group):
    """The commands."""

    command_class = Command


@click.group(
    cls=Group, epilog=CAUTIONS, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(package_name="lightoff")
@click.option("--verbose", is_flag=True, help="Say more on standard error.")
def main(*, verbose: bool) -> None:
    """Read a heating technician's instruments together, record them without loss, show them live."""
    signal.signal(signal.SIGTERM, _interrupt)  # a stop like Ctrl+C, so that nothing half-made is left behind
    logging.basicConfig(level=logging.INFO if verbose else logging.WARNING, format="lightoff: %(message)s")


def _interrupt(*_: object) -> None:
    raise KeyboardInterrupt


class Number(click.FloatRange):
    """A finite number in a range."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number; wrong usage where it is none, or is outside."""
        number: float = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value} is not a finite number.", param, ctx)
        return number


_seconds = click.option(
    "--for", "seconds", type=Number(min=0.1, max=1e8), metavar="SECONDS", help="Stop by itself after SECONDS."
)
_no_browser = click.option("--no-browser", is_flag=True, help="Do not open a browser.")
_port = click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8350,
    show_default=True,
    help="Port of the page, or a free one.",
)
SPEEDS = (0.1, 100.0)


@main.command(epilog="lightoff demo --for 30 --no-browser")
@_seconds
@_no_browser
@_port
@click.option(
    "--speed", type=Number(*SPEEDS), default=1.0, show_default=True, help="How fast it is played (0.1 to 100)."
)
@click.option("-o", "--output", type=_FILE, help="Where to record; default: a new file in the folder recordings.")
def demo(*, seconds: float | None, no_browser: bool, port: int, speed: float, output: Path | None) -> None:
    """Play the bundled recording (an invented scenario) and show it live."""
    from collector.files import job_at, place_for
    from drivers.replay import CsvSource

    with as_file(files("replay_data")) as folder:
        job = job_at(folder / f"{DEMO}.toml")
        source = CsvSource(folder / f"{DEMO}.csv.gz")
        plan = _replaying(
            source, job, place_for(output, "demo", say=_say), speed=speed, loop=True, port=port, seconds=seconds
        )
        _run(plan, no_browser=no_browser)


@main.command(epilog="lightoff record --job job.toml -o tuesday.lightoff")
@click.option("--job", "job_file", type=_FILE, help="The job file; without it numbers can be typed in.")
@click.option("-o", "--output", type=_FILE, help="Where to record; default: a new file in the folder recordings.")
@_seconds
@_no_browser
@_port
def record(*, job_file: Path | None, output: Path | None, seconds: float | None, no_browser: bool, port: int) -> None:
    """Record the instruments of a job and show them live.

    Without a job file the page is there all the same, and readings can be typed in on it. README has a job file to
    begin with; check-job explains its mistakes.
    """
    from collector.files import job_at, place_for
    from collector.instruments import build, cautions
    from collector.session import Plan

    job = job_at(job_file)
    for caution in cautions(job.instruments):
        click.echo(caution, err=True)
    plan = Plan(
        recording=place_for(output, job_file.stem if job_file else "call", say=_say),
        job=job,
        page=_page_program(),
        port=port,
        seconds=seconds,
        drivers=lambda clock: build(job.instruments, clock),
    )
    _run(plan, no_browser=no_browser)


@main.command(epilog="lightoff replay tuesday.lightoff --speed 10")
@click.argument("file", type=_FILE)
@click.option("--speed", default="1", show_default=True, help="0.1 to 100, or max: as fast as it goes.")
@click.option("--record", "output", type=_FILE, help="Keep what is replayed as a recording of its own.")
@click.option("--job", "job_file", type=_FILE, help="The job file; default: the one in the recording or beside it.")
@click.option("--loop", is_flag=True, help="Begin again at the end.")
@_seconds
@_no_browser
@_port
def replay(
    *,
    file: Path,
    speed: str,
    output: Path | None,
    job_file: Path | None,
    loop: bool,
    seconds: float | None,
    no_browser: bool,
    port: int,
) -> None:
    """Play a recording or a CSV file again, with its own times, and show it."""
    hurry = speed == "max"
    try:
        pace = 1.0 if hurry else Number(*SPEEDS).convert(speed, None, None)
    except click.BadParameter as error:
        raise click.BadParameter(f"{error.message} Say 0.1 to 100, or max.", param_hint="--speed") from None
    if output is not None and output.exists() and output.samefile(file):
        raise InputError(f"{file} cannot be recorded onto itself", "name another file with --record")
    from collector.files import job_at, job_of, source_of

    with source_of(file) as source, tempfile.TemporaryDirectory(prefix="lightoff-") as scratch:
        for problem in getattr(source, "problems", ()):
            click.echo(f"{file}: {problem}", err=True)
        job = job_at(job_file) if job_file else job_of(file)
        place = output or Path(scratch) / f"{source.name}.lightoff"
        plan = _replaying(source, job, place, speed=pace, loop=loop, port=port, seconds=seconds, hurry=hurry)
        _run(replace(plan, kept=output is not None), no_browser=no_browser)


@main.command("import", epilog="lightoff import call.csv -o call.lightoff")
@click.argument("file", type=_FILE)
@click.option("-o", "--output", type=_FILE, required=True, help="The recording to make.")
@click.option("--job", "job_file", type=_FILE, help="A job file to keep in the recording.")
@click.option("--start", default="1970-01-01T00:00:00Z", show_default=True, help="When second 0 of the file was.")
def import_(*, file: Path, output: Path, job_file: Path | None, start: str) -> None:
    """Make a recording of a CSV file; rows that cannot be read are listed and do not stop the rest."""
    from analysis.model import Event, EventKind
    from collector.database import is_recording
    from collector.exchange import import_csv
    from collector.files import job_at
    from drivers.codecs.recording_csv import parse_time

    try:
        begin = parse_time(start)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--start") from None
    job = job_at(job_file)
    if output.exists():
        raise InputError(f"{output} is there already", "choose another name")
    if is_recording(file):
        raise InputError(f"{file} is a recording already", "use it as it is, or export it")
    now = time.time_ns()
    kept = Event(now, EventKind.JOB, f"job file {job.name}", None, {"text": job.text}) if job.text else None
    with _progress(f"importing {file.name}") as progress:
        done = import_csv(file, output, job=kept, start=begin, now=now, progress=progress)
    twice = f", {done.readings - done.kept} stood there twice" if done.kept < done.readings else ""
    click.echo(f"{output}: {done.kept} readings{twice}")
    for problem in done.problems:
        click.echo(f"{file}: {problem}", err=True)
    more = done.problem_count - len(done.problems)
    if more:
        click.echo(f"{file}: {more} further problems are not listed", err=True)
    if done.conflicts:
        click.echo(f"{file}: {done.conflicts} second values for one instant; the first was kept", err=True)
    if done.damaged:
        click.echo(f"{done.damaged}; what stands before was kept", err=True)
    if done.problem_count or done.conflicts or done.damaged:
        sys.exit(1)


@main.command(epilog="lightoff export call.lightoff -o call.csv")
@click.argument("recording", type=_FILE)
@click.option("-o", "--output", type=_FILE, required=True, help="A .csv or .csv.gz file, or - for standard output.")
@click.option("--force", is_flag=True, help="Replace a file that is there.")
def export(*, recording: Path, output: Path, force: bool) -> None:
    """Write a recording as CSV, every value as the instrument gave it."""
    from collector.exchange import export_csv
    from collector.recording import Recording

    standard = str(output) == "-"
    if not standard and not output.name.endswith((".csv", ".csv.gz")):
        raise click.BadParameter(f"{output} ends neither in .csv nor in .csv.gz", param_hint="-o")
    if not standard and output.exists() and not force:
        raise InputError(f"{output} is there already", "choose another name or say --force")
    with Recording(recording) as opened, _progress(f"exporting {recording.name}") as progress:
        count = export_csv(opened, None if standard else output, progress=progress)
    click.echo(f"{output}: {count} readings", err=standard)


@main.command("check-job", epilog="lightoff check-job job.toml")
@click.argument("file", type=_FILE)
def checkjob_at(*, file: Path) -> None:
    """Explain every mistake of a job file, with its line and the nearest right key."""
    from collector.instruments import build, cautions
    from collector.job import load

    job = load(file)
    for caution in cautions(job.instruments):
        click.echo(caution, err=True)
    build(job.instruments, now=lambda: 0)
    click.echo(f"{file}: nothing to correct")


@main.command(epilog="lightoff compute humidity_ratio temp=70degF humidity=35% altitude=2600ft")
@click.argument("quantity", required=False)
@click.argument("given", nargs=-1, metavar="[NAME=VALUE]...")
@click.option("--same-meter", multiple=True, metavar="NAME,NAME", help="Read with one meter: a common offset.")
@click.option("--low", metavar="VALUE", help="Judge the result against a lower limit, such as 35degF.")
@click.option("--high", metavar="VALUE", help="Judge the result against an upper limit.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--list", "listing", is_flag=True, help="Print all quantities, or what QUANTITY needs and rests on.")
def compute(*, quantity: str | None, given: tuple[str, ...], listing: bool, as_json: bool, **options: Any) -> None:
    """Work out QUANTITY from NAME=VALUE with units as typed; show formula, source and uncertainty.

    An accuracy follows its value: temp=70degF+-1degF, or "temp=70degF ± 0.5 % + 0.3 degF".
    altitude= may stand for the barometric pressure, humidity= for a humidity ratio.
    """
    from collector.compute import MISTAKES
    from collector.compute_text import answered, listed

    try:
        text, found = (listed(quantity, as_json), True) if listing else answered(quantity, given, as_json, **options)
    except MISTAKES as error:
        click.echo(f"lightoff compute: {error}", err=True)
        sys.exit(2)
    click.echo(text)
    if not found:
        sys.exit(1)


def _replaying(
    source: "Source",
    job: "Job",
    place: Path,
    *,
    speed: float,
    loop: bool,
    port: int,
    seconds: float | None,
    hurry: bool = False,
) -> "Plan":
    from collector.session import Plan
    from drivers.replay import Replay

    return Plan(
        recording=place,
        job=job,
        page=_page_program(),
        port=port,
        seconds=seconds,
        replay=lambda caught_up: Replay(
            source, speed=speed, as_fast_as_it_goes=hurry, loop=loop, stay=True, caught_up=caught_up
        ),
    )


def _page_program() -> tuple[str, ...]:
    """The page's program; -P: a folder of that name where it is started must not be taken for it."""
    return (sys.executable, "-P", "-m", "dashboard")


def _run(plan: "Plan", *, no_browser: bool) -> None:
    from collector.session import run

    opened = no_browser

    def shown(address: str) -> None:
        wished = f":{plan.port}/"
        note = "" if not plan.port or wished in address else f" (port {plan.port} is taken, this one was free)"
        click.echo(f"page:      {address}{note}")
        nonlocal opened
        if not opened:
            opened = True
            _open_browser(address)

    def started() -> None:
        click.echo(f"recording: {plan.recording if plan.kept else 'not kept; say --record FILE to keep it'}")
        click.echo("stop:      Ctrl+C" + (f", or by itself after {plan.seconds:g} s" if plan.seconds else ""))

    click.echo(CAUTIONS)
    collector = asyncio.run(run(plan, on_address=shown, on_start=started))
    recorder = collector.recorder
    click.echo(f"stopped: {collector.readings} readings, {recorder.lost} lost")
    if recorder.lost or recorder.failure:
        raise InputError(f"{recorder.lost} readings were lost: {recorder.failure or 'the recording stood still'}")


def _say(text: str) -> None:
    click.echo(f"lightoff: {text}", err=True)


def _open_browser(address: str) -> None:
    """Open the page where there is a browser with a screen; never wait for it."""
    import os
    import threading
    import webbrowser

    if sys.platform == "linux" and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return  # what would open now is a text browser in this terminal
    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


@contextmanager
def _progress(label: str) -> Iterator[Callable[[int], None]]:
    """A line that counts, when standard error is a terminal and the work is longer than a second."""
    began = time.monotonic()

    def show(count: int) -> None:
        if sys.stderr.isatty() and time.monotonic() - began > 1:
            click.echo(f"\r{label}: {count:,} readings", err=True, nl=False)

    yield show
    if sys.stderr.isatty() and time.monotonic() - began > 1:
        click.echo("", err=True)
