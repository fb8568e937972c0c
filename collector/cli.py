"""The `lightoff` command: the one module that knows everyone; heavy imports wait until a command needs them."""

import asyncio
import logging
import signal
import sys
import tempfile
import time
from dataclasses import replace
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from collector.cautions import CAUTIONS
from collector.cli_analyze import add_commands as add_analyze
from collector.cli_archive import add_commands as add_archive
from collector.cli_compare import add_commands as add_compare
from collector.cli_entry import add_commands
from collector.cli_exchange import add_commands as add_exchange
from collector.cli_instruments import check_profile, scan
from collector.cli_recordings import add_commands as add_verify
from collector.cli_share import add_commands as add_share
from collector.command_line import FILE, Command, Group, Number, bar, counting, say
from drivers.base import InputError

if TYPE_CHECKING:
    from collector.session import Plan

DEMO = "drain_backs_up"


class Simulating(Command):
    """A command that explains what can be wrong too."""

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Every cause in a few plain words, then the example."""
        from collector.simulation import explained

        with formatter.section("Causes"):
            formatter.write_dl(explained())
        super().format_epilog(ctx, formatter)


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
_share_here = click.option(
    "--share-here",
    is_flag=False,
    flag_value="all",
    metavar="[ADDRESS]",
    help="Let others in the same local network look on, read only, by a link; not encrypted. All private addresses of "
    "this computer, or --share-here=ADDRESS.",
)
_share_for = click.option(
    "--share-for", type=Number(min=0.01), metavar="HOURS", help="With --share-here: the link ends then; default 8."
)
SPEEDS = (0.1, 100.0)


@main.command(epilog="lightoff demo --for 30 --no-browser")
@_seconds
@_no_browser
@_port
@_share_here
@_share_for
@click.option(
    "--speed", type=Number(*SPEEDS), default=1.0, show_default=True, help="How fast it is played (0.1 to 100)."
)
@click.option("-o", "--output", type=FILE, help="Where to record; default: a new file in the folder recordings.")
@click.option("--share", type=FILE, metavar="JOB", help="Share it as the [share] of this job file says.")
def demo(
    *,
    seconds: float | None,
    no_browser: bool,
    port: int,
    speed: float,
    output: Path | None,
    share: Path | None,
    **sharing: Any,
) -> None:
    """Play the bundled recording (an invented scenario) and show it live."""
    from collector.files import job_at, place_for
    from collector.plans import replaying
    from collector.share_target import beside, share_secrets
    from drivers.replay import CsvSource

    with as_file(files("replay_data")) as folder:
        job = job_at(folder / f"{DEMO}.toml")
        if share:
            job = replace(job, share=beside(job_at(share).share, share.parent))
        secrets = share_secrets(share.parent) if share else None
        source = CsvSource(folder / f"{DEMO}.csv.gz")
        plan = replaying(
            source,
            job,
            place_for(output, "demo", say=say),
            speed=speed,
            loop=True,
            port=port,
            seconds=seconds,
            share=secrets,
        )
        _run(plan, no_browser=no_browser, **sharing)


@main.command(epilog="lightoff record --job job.toml -o tuesday.lightoff")
@click.option("--job", "job_file", type=FILE, help="The job file; without it numbers can be typed in.")
@click.option("-o", "--output", type=FILE, help="Where to record; default: a new file in the folder recordings.")
@_seconds
@_no_browser
@_port
@_share_here
@_share_for
def record(
    *, job_file: Path | None, output: Path | None, seconds: float | None, no_browser: bool, port: int, **sharing: Any
) -> None:
    """Record the instruments of a job and show them live.

    Without a job file the page is there all the same, and readings can be typed in on it. README has a job file to
    begin with; check-job explains its mistakes.
    """
    from collector.files import job_at, place_for
    from collector.instruments import cautions, elsewhere
    from collector.plans import recording

    job = job_at(job_file)
    for caution in filter(None, (*cautions(job.instruments), elsewhere(job.instruments))):
        click.echo(caution, err=True)
    place = place_for(output, job_file.stem if job_file else "call", say=say)
    _run(recording(job, place, port=port, seconds=seconds, job_file=job_file), no_browser=no_browser, **sharing)


@main.command(epilog="lightoff replay tuesday.lightoff --speed 10")
@click.argument("file", type=FILE)
@click.option("--speed", default="1", show_default=True, help="0.1 to 100, or max: as fast as it goes.")
@click.option("--record", "output", type=FILE, help="Keep what is replayed as a recording of its own.")
@click.option("--job", "job_file", type=FILE, help="The job file; default: the one in the recording or beside it.")
@click.option("--loop", is_flag=True, help="Begin again at the end.")
@_seconds
@_no_browser
@_port
@_share_here
@_share_for
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
    **sharing: Any,
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
    from collector.plans import replaying

    with source_of(file) as source, tempfile.TemporaryDirectory(prefix="lightoff-") as scratch:
        for problem in getattr(source, "problems", ()):
            click.echo(f"{file}: {problem}", err=True)
        job = job_at(job_file) if job_file else job_of(file)
        place = output or Path(scratch) / f"{source.name}.lightoff"
        plan = replaying(source, job, place, speed=pace, loop=loop, port=port, seconds=seconds, hurry=hurry)
        _run(replace(plan, kept=output is not None), no_browser=no_browser, **sharing)


@main.command(cls=Simulating, epilog="lightoff simulate --cause drain_blocked --severity 0.7 --minutes 30 -o drain.csv")
@click.option("--cause", "causes", multiple=True, metavar="CAUSE", help="What is wrong, listed below; again for more.")
@click.option("--severity", "severities", type=float, multiple=True, help="0 none to 1 total; by default 0.7.")
@click.option(
    "--course", "courses", multiple=True, metavar="constant|growing|intermittent", help="By default constant."
)
@click.option("--onset", "onsets", type=float, multiple=True, metavar="SECONDS", help="When it begins; by default 0.")
@click.option("--seed", type=click.IntRange(0, 999_999_999), show_default="1", help="Same seed, same call.")
@click.option("--job", "job_file", type=FILE, help="Simulate the unit of this job file; default: a random one.")
@click.option("--instruments", show_default="full", metavar="full|draft|basic|contacts|random")
@click.option("--minutes", type=Number(0.1, 1440), help="How long; by default 30.")
@click.option("--start", metavar="TIME", help="When second 0 was; by default a winter morning.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@click.option("--live", is_flag=True, help="Run it now, with page and recording, until Ctrl+C.")
@click.option("--speed", type=Number(*SPEEDS), help="With --live: 0.1 to 100.")
@_seconds
@_no_browser
@_port
@click.option("-o", "--output", type=FILE, help="A .csv, .csv.gz or .lightoff file.")
def simulate(*, output: Path | None, live: bool, **given: Any) -> None:
    """Simulate an invented unit with something wrong, for practice and for tests.

    Writes three files beside each other: X.csv (or .csv.gz, .lightoff), its job X.toml, and X.truth.json with what was
    wrong. --severity, --course and --onset stand in the order of --cause, or once for all. What the job's own
    simulated instrument says holds where no option says it.
    """
    from collector.files import place_for
    from collector.simulate_command import Options, plan_of, written

    if click.get_current_context().get_parameter_source("port") is ParameterSource.DEFAULT:
        given["port"] = None
    options = Options(**given)
    if live:
        plan = plan_of(output, options, place=lambda: place_for(None, "simulated", say=say))
        _run(plan, no_browser=options.no_browser)
        return
    with counting("simulating", text=bar) as progress:
        done = written(output, options, progress=progress)
    click.echo(done)


@main.command("check-job", epilog="lightoff check-job job.toml")
@click.argument("file", type=FILE)
def checkjob_at(*, file: Path) -> None:
    """Explain every mistake of a job file, with its line and the nearest right key."""
    from collector.job_check import examined
    from collector.job_lines import read_text
    from collector.session import rules

    found = examined(read_text(file), file.name, rules, folder=file.parent)
    for one in (*found.mistakes, *found.cautions):
        click.echo(f"{file}: {one}", err=True)
    if found.mistakes:
        sys.exit(1)
    click.echo(f"{file}: nothing to correct")


main.add_command(check_profile)
main.add_command(scan)


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


add_analyze(main)
add_compare(main)
add_exchange(main)
add_verify(main)
add_commands(main)
add_archive(main)
add_share(main, lambda plan, no_browser: _run(plan, no_browser=no_browser))


def _run(plan: "Plan", *, no_browser: bool, share_here: str | None = None, share_for: float | None = None) -> None:
    from collector import building
    from collector.instrument_rows import losses_told
    from collector.page import show
    from collector.session import run
    from collector.share_target import shared_as
    from collector.steady import be_steady

    opened = no_browser

    def shown(address: str) -> None:
        wished = f":{plan.port}/"
        note = "" if not plan.port or wished in address else f" (port {plan.port} is taken, this one was free)"
        click.echo(f"page:      {address}{note}")
        nonlocal opened
        if not opened:
            opened = True
            show(address)

    def started() -> None:
        click.echo(f"recording: {plan.recording if plan.kept else 'not kept; say --record FILE to keep it'}")
        if plan.share and (address := shared_as(plan.job, plan.recording)):
            click.echo(f"shared:    {address}")
        click.echo("stop:      Ctrl+C" + (f", or by itself after {plan.seconds:g} s" if plan.seconds else ""))

    told: building.Share | None = None

    def shared(share: building.Share) -> None:
        nonlocal told
        if told is None or (told.token, told.port) != (share.token, share.port):
            for line in building.told(share, terminal=sys.stdout.isatty()):
                click.echo(line)
        told = share

    plan = replace(plan, building=building.wished(share_here, share_for, time.time()))
    click.echo(CAUTIONS)
    be_steady()
    collector = asyncio.run(run(plan, on_address=shown, on_start=started, on_left=say, on_share=shared))
    recorder = collector.recorder
    click.echo(f"stopped: {collector.readings} readings, {recorder.lost} lost")
    for text in losses_told(collector):
        say(text)
    if recorder.lost or recorder.failure:
        raise InputError(f"{recorder.lost} readings were lost: {recorder.failure or 'the recording stood still'}")
