"""The commands on instruments: looking for them, and checking what is written about them."""

import asyncio
import json
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import click

from collector.command_line import Command, Number

if TYPE_CHECKING:
    from collector.scan import Search
    from collector.scan_command import Show
    from drivers.profile import Profile
    from drivers.registry import Kind

LOOK = 10.0
"""How long a search lasts that is not told. [s]"""


@click.command("check-profile", cls=Command, epilog='lightoff check-profile my-meter.toml --text "P=0.52 inH2O"')
@click.argument("profile", required=False, metavar="FILE|NAME")
@click.option("--list", "listing", is_flag=True, help="List the profiles that come with the program, and your own.")
@click.option("--text", help="Read this message instead of the examples, and show what it says.")
@click.option("--hex", "digits", metavar="BYTES", help="The same with bytes in hexadecimal digits, such as 'AA 55 01'.")
@click.option("--of", default="", metavar="SOURCE", help="Characteristic, topic, question or register it belongs to.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def check_profile(
    *, profile: str | None, listing: bool, text: str | None, digits: str | None, of: str, as_json: bool
) -> None:
    """Explain every mistake of a profile, with its line, and read its own examples with it.

    A profile describes an instrument: how it talks, and what each value means. docs/profiles.md shows how to write one.
    """
    if listing == (profile is not None) or (text is not None and digits is not None):
        raise click.UsageError("Give one profile or --list, and at most one of --text and --hex.")
    if profile is None:
        _list_profiles(as_json=as_json)
        return
    from collector.profile_report import report
    from collector.profile_text import as_json as plain
    from collector.profile_text import told

    found = report(profile)
    if found.profile and (text is not None or digits is not None):
        _read_typed(found.profile, text, digits, of, as_json=as_json)
        return
    for mistake in found.mistakes:
        click.echo(f"{found.path}: {mistake}", err=True)
    if as_json:
        click.echo(plain(found))
    elif found.profile:
        click.echo(told(found))
    if not found.right:
        sys.exit(1)


@click.command(cls=Command, epilog="lightoff scan --for 20 --modbus /dev/ttyUSB0")
@click.option(
    "--for",
    "seconds",
    type=Number(min=0.1, max=1e6),
    metavar="SECONDS",
    help="How long; by default 10, watching: no end.",
)
@click.option("--watch", "watching", is_flag=True, help="Go on and show what the instruments show, until Ctrl+C.")
@click.option("--modbus", metavar="ADDRESS", help="Ask the units on this port or at this server.")
@click.option("--mqtt", metavar="URL", help="Listen at this broker.")
@click.option("--secret", metavar="env:NAME|file:PATH", help="Where the broker's password is kept.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object; watching, one for each change.")
def scan(
    *, seconds: float | None, watching: bool, modbus: str | None, mqtt: str | None, secret: str | None, as_json: bool
) -> None:
    """Look for instruments and show what they measure, with the lines for the job file.

    Looks at everything that can be looked for at once; what cannot look says why. It changes nothing on an instrument.
    """
    from drivers.registry import KINDS

    if secret is not None and mqtt is None:
        raise click.UsageError("--secret is for the broker of --mqtt.")
    kinds = KINDS if secret is None else {**KINDS, "mqtt": _with_secret(KINDS["mqtt"], secret)}
    asked = {"modbus": modbus, "mqtt": mqtt}
    ask = {name: address for name, address in asked.items() if address is not None}
    search_for_instruments(kinds, ask, seconds, watching=watching, as_json=as_json)


def search_for_instruments(
    kinds: "Mapping[str, Kind]", ask: Mapping[str, str], seconds: float | None, *, watching: bool, as_json: bool
) -> None:
    """Look with these kinds for so long [s], show it, and end with status 1 where none of them could look.

    So it is where one of the addresses to `ask` at could not be looked at.
    """
    from collector.scan import Search
    from collector.scan_command import look, watch
    from collector.scan_text import answer, plain

    search = Search(kinds, ask=ask)
    began = time.monotonic()

    async def run() -> None:
        show = _shown(seconds or LOOK, watching=watching, as_json=as_json)
        await (watch(search, seconds, show) if watching else look(search, seconds or LOOK, show))

    with suppress(KeyboardInterrupt):  # what was found until then is shown
        asyncio.run(run())
    if not watching and sys.stderr.isatty():
        click.echo("\r" + " " * 60 + "\r", err=True, nl=False)
    if not as_json:
        click.echo(answer(search, round(time.monotonic() - began, 1), kinds=kinds))
    elif not watching:
        click.echo(json.dumps(plain(search), indent=2, ensure_ascii=False))
    if _blind(search) or search.troubles.keys() & ask.keys():
        sys.exit(1)


def _with_secret(kind: "Kind", place: str) -> "Kind":
    """The kind of a broker, asked with the password that is kept there."""
    from collector.job_values import secret_place
    from collector.profiles import secret_from
    from drivers.mqtt_probe import NOBODY, probe

    try:
        kept = secret_place(place)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--secret") from None
    return replace(kind, probe=partial(probe, secret=secret_from(kept, NOBODY)))


def _blind(search: "Search") -> bool:
    """Whether nothing could be looked at."""
    return not search.found and len(search.troubles) == len(search.transports)


def _shown(seconds: float, *, watching: bool, as_json: bool) -> "Show":
    """How the search is shown meanwhile."""
    from collector.scan_command import news, nothing, progress, screen

    write, complain = partial(click.echo, nl=False), partial(click.echo, nl=False, err=True)
    if watching:
        terminal = sys.stdout.isatty() and not as_json
        return screen(write) if terminal else news(write, complain, as_json=as_json)
    return progress(complain, seconds) if sys.stderr.isatty() else nothing


def _list_profiles(*, as_json: bool) -> None:
    from collector.profile_report import listed
    from collector.profile_text import listed_plain, table

    found = listed()
    click.echo(json.dumps(listed_plain(found), indent=2) if as_json else table(found))


def _read_typed(profile: "Profile", text: str | None, digits: str | None, of: str, *, as_json: bool) -> None:
    from collector.profile_report import said_of
    from collector.profile_text import said_plain, typed
    from collector.profile_values import data
    from drivers.registry import KINDS

    try:
        message = data(digits) if digits is not None else (text or "").encode()
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--hex") from None
    said = said_of(profile, KINDS[profile.driver].decoder(profile), message, of)
    click.echo(json.dumps(said_plain(said), indent=2) if as_json else typed(profile, said))
    if said.reason:
        sys.exit(1)
