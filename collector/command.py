"""What every command of `lightoff` does with what goes wrong: one sentence, and the exit status."""

import click

from drivers.base import LightoffError


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
