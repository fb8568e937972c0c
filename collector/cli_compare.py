"""The command that compares a recording before a repair with one after it."""

from pathlib import Path

import click

from collector.command_line import FILE, bar, counting, say

EXAMPLES = """lightoff compare before.lightoff after.lightoff
  lightoff compare monday.csv friday.csv --job job.toml --units metric --json"""


@click.argument("before", metavar="BEFORE", type=FILE)
@click.argument("after", metavar="AFTER", type=FILE)
@click.option(
    "--job", "job_file", type=FILE, help="The job file of both; default: the one in each recording or beside it."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--units", type=click.Choice(["trade", "metric"]), default="trade", show_default=True)
@click.option("--all", "every", is_flag=True, help="In text, also what was not compared, and why.")
def compare(*, before: Path, after: Path, job_file: Path | None, as_json: bool, units: str, every: bool) -> None:
    """Say what a repair changed: two recordings or CSV files of one unit, measure by measure.

    The second is put into the weather of the first where that was measured; each difference has its uncertainty and a
    verdict: better, worse, changed, no change that these instruments can see, cannot tell. Then how attempts ended, and
    the chain of evidence for a claim. No result clears a heat exchanger. docs/compare.md explains every name.

    Exit status 0 compared, 1 nothing comparable or something is wrong with the input, 2 wrong usage.
    """
    from collector.compare_json import text_of
    from collector.compare_run import compared
    from collector.compare_text import lines
    from collector.opened import open_data

    with counting(f"comparing {before.name} and {after.name}", text=bar) as progress:
        first = open_data(before, job_file, lambda share: progress(share / 4))
        second = open_data(after, job_file, lambda share: progress((1 + share) / 4))
        found = compared(first, second, lambda share: progress((1 + share) / 2), units=units)
    click.echo(text_of(found) if as_json else "\n".join(lines(found, every=every)))
    if found.found.nothing:
        say(f"nothing to compare: {found.found.nothing}")
        click.get_current_context().exit(1)


def add_commands(to: click.Group) -> None:
    """Put it among the others."""
    to.command("compare", epilog=EXAMPLES)(compare)
