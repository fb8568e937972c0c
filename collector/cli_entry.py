"""The commands for hands: a reading and a photograph into a recording, and photographs out of one again."""

import re
from pathlib import Path

import click

from collector.command_line import FILE, Command
from drivers.base import InputError

_MINUS = "\u2212"
"""No option begins with it."""
_NEGATIVE = re.compile(r"-[\d.]")


class Entering(Command):
    """A command whose values may be negative: `-1.25 inH2O` is a suction and no option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Arguments with a minus sign where a hyphen begins a number."""
        return super().parse_args(ctx, [_MINUS + one[1:] if _NEGATIVE.match(one) else one for one in args])


_at = click.option(
    "--at",
    default="",
    metavar="TIME",
    help='When: 06:31, 06:31:20, -5min, "2026-01-14 06:31"; default: now. Long before the recording: with its date.',
)
_recording = click.option(
    "--recording",
    type=FILE,
    help="The recording; default: the one that is being made now. In a finished one --at counts back from its end.",
)


@click.argument("point")
@click.argument("value")
@click.option("--meter", default="", metavar="NAME", help="The meter it was read off.")
@_at
@click.option("--photo", type=FILE, help="A photograph of it: JPEG, PNG, WebP or HEIC, at most 20 MiB.")
@_recording
def enter(*, point: str, value: str, meter: str, at: str, photo: Path | None, recording: Path | None) -> None:
    """Record VALUE with its unit, read off a meter at POINT by hand.

    It goes into the recording that is being made now, or afterwards into a finished one. A suction is negative; at
    the pressure switch a pressure is positive when it acts to close it. A contact is 1 or 0. The points stand in
    README; a wrong entry is withdrawn on the page.
    """
    from collector import entering

    wish = entering.Wish(point=point, value=value.replace(_MINUS, "-"), meter=meter, at=at, photo=photo)
    click.echo(entering.enter(wish, recording))


@click.argument("file", type=FILE)
@click.option("--text", default="", metavar="TEXT", help="What it shows.")
@_at
@_recording
def attach(*, file: Path, text: str, at: str, recording: Path | None) -> None:
    """Attach a photograph to the recording: of a rating plate, a meter, a part.

    FILE is kept byte for byte, with what the camera wrote into it; that may be the place where it was taken.
    """
    from collector import entering

    click.echo(entering.enter(entering.Wish(at=at, text=text, photo=file), recording))


@click.argument("recording", type=FILE)
@click.option("-o", "--output", type=FILE, required=True, help="The folder to write them to; made where it is not.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
def photos(*, recording: Path, output: Path, force: bool) -> None:
    """Take the photographs out of a recording, byte for byte, with a list of when and what."""
    from collector.photographs import write_photographs

    count = write_photographs(recording, output, force=force)
    if not count:
        raise InputError(f"{recording} has no photographs", "attach one with `lightoff attach`")
    click.echo(f"{output}: {count} photograph{'s' if count > 1 else ''}")


def add_commands(to: click.Group) -> None:
    """Put them among the others."""
    example = 'lightoff enter gas_manifold "3.5 inH2O" --meter "dial gauge" --at 06:31'
    to.command("enter", cls=Entering, epilog=example)(enter)
    to.command("attach", cls=Entering, epilog='lightoff attach plate.jpg --text "rating plate"')(attach)
    to.command("photos", epilog="lightoff photos call.lightoff -o photographs")(photos)
