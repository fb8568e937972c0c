"""The command that sends to a server: finished recordings, or what technicians say on a broker."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from collector.command_line import Command, Number, bar, counting, say
from drivers.base import InputError


@click.argument("given", nargs=-1, required=True, metavar="RECORDING...|BROKER [URL]")
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
@click.option("--broker-secret", metavar="PLACE", help="Where the broker's password is: env:NAME, or file:PATH.")
@click.option(
    "--group", metavar="PLACE", help="Where the workers' common name is: env:NAME, or file:PATH. See docs/fleet.md."
)
@click.option("--once", is_flag=True, help="From a broker: end when nothing waits there any more.")
@click.option("--for", "seconds", type=Number(0.1, 1e8), metavar="SECONDS", help="From a broker: stop after SECONDS.")
@click.option("--json", "as_json", is_flag=True, help="From a broker: print what was done as one JSON object.")
def archive(*, given: tuple[str, ...], settle: float, patience: float, **options: Any) -> None:
    """Send recordings to a time-series server that takes line protocol.

    What the server has already is not sent again, so the command may be broken off and repeated at any time; what it
    has stands in a file beside each recording. Without a URL they go where their job says. docs/fleet.md explains what
    arrives there.

    From a BROKER (mqtt://host, or mqtts://name@host/COMPANY for one company alone), what technicians share goes to the
    server while they share it. Start it any number of times: the workers share the work, and one that is killed loses
    nothing.
    """
    from collector.archive_command import Wanted, send
    from collector.fleet_address import BROKERS

    of_brokers = {name: options.pop(name) for name in ("broker_secret", "group", "once", "seconds", "as_json")}
    if any(one.startswith(BROKERS) for one in given):
        if len(given) != 2 or not given[0].startswith(BROKERS) or "://" not in given[1]:
            raise InputError("from a broker, archive takes a broker and a server", "say lightoff archive BROKER URL")
        _from_broker(given[0], given[1], settle=settle, patience=patience, **of_brokers, **options)
        return
    if given_one := next((name for name, said in of_brokers.items() if said), None):
        option = {"seconds": "--for", "as_json": "--json"}.get(given_one, f"--{given_one.replace('_', '-')}")
        raise click.UsageError(f"{option} is for a broker: lightoff archive BROKER URL.")
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


def _from_broker(broker: str, url: str, *, as_json: bool, **options: Any) -> None:
    from collector.fleet_command import FromBroker, archive_from_broker
    from collector.fleet_senml import PackDecoder

    with counting("archiving", text=lambda _: told) as progress:
        told = ""

        def tell(status: Mapping[str, Any]) -> None:
            nonlocal told
            delay = f", 99 % within {status['delay_p99']:.2f} s" if status["delay_p99"] else ""
            told = f"{status['readings']:,} readings of {status['calls']} calls{delay}  {status['text']}"
            progress(0.0)

        done = archive_from_broker(FromBroker(broker=broker, url=url, **options), PackDecoder(), began=say, tell=tell)
    if as_json:
        click.echo(json.dumps(done))
    else:
        click.echo(f"{done['readings']} readings of {done['calls']} calls; {done['why']}")
    for why, count in done["aside"].items():
        say(f"{count} set aside: {why}")
    if not done["done"] or done["aside"]:
        click.get_current_context().exit(1)


def add_commands(to: click.Group) -> None:
    """Put it among the others."""
    example = "lightoff archive tuesday.lightoff http://127.0.0.1:8428"
    to.command("archive", cls=Command, epilog=example)(archive)
