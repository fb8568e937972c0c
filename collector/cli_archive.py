"""The command that sends finished recordings to a server."""

from pathlib import Path

import click

from collector.command_line import Command, Number, bar, counting, say
from drivers.base import InputError

BROKERS = ("mqtt://", "mqtts://")


@click.argument("given", nargs=-1, required=True, metavar="RECORDING... [URL]")
@click.option("--bucket", help="Where on the server; default: what the job says, else lightoff.")
@click.option("--org", help="Whose bucket it is, on servers that have several owners.")
@click.option("--secret", metavar="PLACE", help="Where the token is: env:NAME, or file:PATH that only you can read.")
@click.option(
    "--settle",
    type=Number(0, 3600),
    default=60.0,
    show_default=True,
    help="Seconds for which the server is watched after its last answer: killed before, it may have lost that.",
)
@click.option(
    "--patience",
    type=Number(0, 1e6),
    default=120.0,
    show_default=True,
    help="Seconds for which a server that takes nothing is waited for.",
)
def archive(*, given: tuple[str, ...], settle: float, patience: float, **options: str | None) -> None:
    """Send recordings to a time-series server that takes line protocol.

    What the server has already is not sent again, so the command may be broken off and repeated at any time; what it
    has stands in a file beside each recording. Without a URL they go where their job says. docs/fleet.md explains what
    arrives there.
    """
    from collector.archive_command import Wanted, send

    if any(one.startswith(BROKERS) for one in given):
        raise InputError("archiving from a broker is not there yet", "name recordings, and the URL of a server")
    url = given[-1] if "://" in given[-1] else None
    recordings = [Path(one) for one in (given[:-1] if url else given)]
    if not recordings:
        raise click.UsageError("Name a recording before the URL.")
    wanted = Wanted(url=url, settle=settle, patience=patience, **options)
    failed = False
    for recording in recordings:
        with counting(f"sending {recording.name}", text=bar) as progress:
            done = send(recording, wanted, progress=progress)
        click.echo(f"{recording}: {done.text}")
        for problem in done.problems:
            say(f"{recording}: {problem}")
        failed = failed or bool(done.problems)
    if failed:
        click.get_current_context().exit(1)


def add_commands(to: click.Group) -> None:
    """Put it among the others."""
    example = "lightoff archive tuesday.lightoff http://127.0.0.1:8428"
    to.command("archive", cls=Command, epilog=example)(archive)
