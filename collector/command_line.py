"""What the commands have in common: errors as one sentence, numbers in a range, a line that shows progress."""

import math
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from drivers.base import LightoffError

FILE = click.Path(path_type=Path)


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
            context.exit(getattr(error, "status", 1))
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


class Number(click.FloatRange):
    """A finite number in a range."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number; wrong usage where it is none, or is outside."""
        number: float = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value} is not a finite number.", param, ctx)
        return number


def say(text: str) -> None:
    """Tell something on standard error."""
    click.echo(f"lightoff: {text}", err=True)


@contextmanager
def counting(label: str, *, text: Callable[[float], str] = "{:,} readings".format) -> Iterator[Callable[[float], None]]:
    """A line that counts, when standard error is a terminal and the work is longer than a second."""
    began = time.monotonic()

    def show(count: float) -> None:
        if sys.stderr.isatty() and time.monotonic() - began > 1:
            click.echo(f"\r{label}: {text(count)}", err=True, nl=False)

    yield show
    if sys.stderr.isatty() and time.monotonic() - began > 1:
        click.echo("", err=True)


def bar(share: float) -> str:
    """How much of the work is done, as a bar."""
    done = round(30 * share)
    return f"[{'#' * done}{'.' * (30 - done)}] {100 * share:3.0f} %"
