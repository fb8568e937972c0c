"""The command that looks whether a recording is whole, and the way to hand one over while it is recorded."""

from pathlib import Path

import click

from collector.command_line import FILE, bar, counting
from drivers.base import InputError


@click.argument("file", type=FILE)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def verify(*, file: Path, as_json: bool) -> None:
    """Look whether a recording is whole, and say what is in it and what is missing.

    Every block of readings, every event and every photograph is held against its checksum, and the file against
    SQLite's own rules. Exit status 1 when something is damaged: export and analyze still read the rest.
    """
    from collector.verify import verified
    from collector.verify_text import json_of, lines

    with counting(f"verifying {file.name}", text=bar) as progress:
        found = verified(file, progress)
    click.echo(json_of(file, found) if as_json else "\n".join(lines(file, found)))
    if found.faults:
        click.get_current_context().exit(1)


def hand_over(recording: Path, output: Path, *, force: bool, events: Path | None) -> None:
    """Make a recording of its own of what there is at this moment, for `lightoff export`."""
    from collector.handing_over import handed_over

    if events:
        raise click.BadParameter(f"{output} has all events in it", param_hint="--events")
    if output.exists() and not force:
        raise InputError(f"{output} is there already", "choose another name or say --force")
    with counting(f"copying {recording.name}", text=bar) as progress:
        count = handed_over(recording, output, progress)
    click.echo(f"{output}: {count} readings")


def add_commands(to: click.Group) -> None:
    """Put it among the others."""
    to.command("verify", epilog="lightoff verify tuesday.lightoff")(verify)
