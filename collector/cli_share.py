"""The command that shows a call which another machine shares, or lists those of a company."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from collector.command_line import FILE, Command, Number, say

if TYPE_CHECKING:
    from collector.session import Plan

Run = Callable[["Plan", bool], None]
"""Runs a plan, without a browser where that is said."""


def add_commands(to: click.Group, run: Run) -> None:
    """Put it among the others."""

    @to.command(cls=Command, epilog="lightoff watch mqtts://ann@broker.example/cold-company/Ann/2026-01-14")
    @click.argument("url")
    @click.option("--secret", metavar="PLACE", help="Where the password is: env:NAME, or file:PATH only you can read.")
    @click.option("--certificate", type=FILE, help="A file with a certificate of our own and its key, if it wants one.")
    @click.option("-o", "--output", type=FILE, help="Where to record; default: a new file in the folder recordings.")
    @click.option("--for", "seconds", type=Number(min=0.1, max=1e8), metavar="SECONDS", help="Stop after SECONDS.")
    @click.option("--no-browser", is_flag=True, help="Do not open a browser.")
    @click.option("--port", type=click.IntRange(0, 65535), default=8350, show_default=True, help="Port of the page.")
    def watch(
        *,
        url: str,
        secret: str | None,
        certificate: Path | None,
        output: Path | None,
        seconds: float | None,
        no_browser: bool,
        port: int,
    ) -> None:
        """Show a call that another machine shares over a broker, and record it here too.

        URL is mqtts://USER@BROKER/COMPANY/TECHNICIAN/CALL, as `lightoff record` prints it. Nothing that is done here
        changes anything there. Given the same recording again it goes on, and asks for what it lacks. docs/sharing.md
        explains what is shared.

        Where URL ends with the company, mqtts://USER@BROKER/COMPANY, its calls are listed, the worst alarm first, and
        each can be opened.
        """
        from collector.fleet_address import of_a_company

        if of_a_company(url):
            _list(url, secret=secret, seconds=seconds, no_browser=no_browser, port=port)
            return
        from collector.watching import Wanted, watching

        wanted = Wanted(url=url, secret=secret, certificate=certificate, output=output, seconds=seconds, port=port)
        run(watching(wanted, say=say), no_browser)


def _list(url: str, *, secret: str | None, seconds: float | None, no_browser: bool, port: int) -> None:
    from collector.calls_command import show_calls
    from collector.page import show

    def shown(address: str) -> None:
        click.echo(f"page:      {address}")
        if not no_browser:
            show(address)

    show_calls(url, secret=secret, port=port, seconds=seconds, on_address=shown)
