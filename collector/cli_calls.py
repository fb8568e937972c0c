"""The command that shows the calls of a company."""

import click

from collector.command_line import Command, Number


@click.argument("url", metavar="URL")
@click.option("--secret", metavar="PLACE", help="Where the broker's password is: env:NAME, or file:PATH.")
@click.option("--for", "seconds", type=Number(0.1, 1e8), metavar="SECONDS", help="Stop by itself after SECONDS.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@click.option("--port", type=click.IntRange(0, 65535), default=8350, show_default=True, help="Of the page.")
def watch(*, url: str, secret: str | None, seconds: float | None, no_browser: bool, port: int) -> None:
    """Show the calls that the technicians of a company share now, the worst alarm first.

    URL names a broker and a company, mqtts://name@host/COMPANY; each call on the list can be opened.
    """
    from collector.calls_command import show_calls
    from collector.page import show

    def shown(address: str) -> None:
        click.echo(f"page:      {address}")
        if not no_browser:
            show(address)

    show_calls(url, secret=secret, port=port, seconds=seconds, on_address=shown)


def add_commands(to: click.Group) -> None:
    """Put it among the others."""
    to.command("watch", cls=Command, epilog="lightoff watch mqtts://north@broker.example/north")(watch)
