"""What `docs/analyze.md` shows of the program, written anew by `python -m tests.analyze_document`."""

import json
import re
from collections.abc import Callable
from contextlib import chdir
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from analysis.check_table import ROWS
from analysis.data import KINDS
from analysis.measures.names import NAMES
from collector.cli import main
from collector.sequence_words import OUTCOME_WORDS, PHASE_WORDS

DOCUMENT = Path(__file__).parents[1] / "docs" / "analyze.md"
EXAMPLE = "igniter_aged"
"""The bundled recording that is shown."""
SHOWN = {
    "SAFETY": 99,
    "ATTEMPTS": 14,
    "MEASURES": 16,
    "CHECKS against the job file": 12,
    "CAUSES": 14,
    "NEXT TESTS": 14,
    "ALARMS": 4,
    "DATA PROBLEMS": 4,
}
"""Lines of each section; of longer ones the first are shown, and then a line of dots."""
DOTS = "  ..."
OTHER_CHECKS = (
    "| `furnace.timing.trials` | ignition trials in one call without a flame between | gas_valve, or gas_manifold |",
    "| `heat_pump.compressor_lockout`, `heat_pump.auxiliary_lockout` | whether the two leave a band without heat, or"
    " with both at once | nothing: the figures of the job file |",
)
OF_THE_FILE = {
    "row_not_read": "a row or cell of the file that could not be read, with its line; the others were read",
}
KNOWN = ("stage", "phase", "outcome")
"""Words of measures that stand in tables of their own."""
MARKED = re.compile(r"<!-- (\w+) -->\n(.*?)<!-- end -->", re.DOTALL)


def printed(*options: str) -> str:
    """What the command prints of the example."""
    with as_file(files("replay_data")) as folder, chdir(folder):
        result = CliRunner().invoke(main, ["analyze", f"{EXAMPLE}.csv.gz", *options])
    assert result.exit_code == 0, result.stderr
    return result.stdout


def text_shown() -> str:
    """The text of the example, long sections cut."""
    rows: list[str] = []
    for part in printed().rstrip().split("\n\n"):
        title, most = next(((name, most) for name, most in SHOWN.items() if part.startswith(name)), ("", 99))
        lines = part.splitlines()
        left = [*lines[: most + 1], DOTS] if title and len(lines) > most + 2 else lines
        rows += [*left, ""]
    return f"```\n$ lightoff analyze {EXAMPLE}.csv.gz\n" + "\n".join(rows).rstrip() + "\n```\n"


def json_shown() -> str:
    """The object of the example with the first of each list, two of the phases."""
    whole = json.loads(printed("--json"))
    found: dict[str, Any] = {name: value[:1] if isinstance(value, list) else value for name, value in whole.items()}
    for attempt in found["attempts"]:
        attempt["phases"] = attempt["phases"][:2]
    for key in ("used", "left_out"):
        found["recording"]["channels"][key] = found["recording"]["channels"][key][:1]
    text = json.dumps(found, ensure_ascii=False, indent=1)
    return f"Of each list only the first is shown here:\n```json\n{text}\n```\n"


def outcomes() -> str:
    """The table of outcomes."""
    rows = [f"| `{name}` | {words.text} | {words.decided or '-'} |" for name, words in OUTCOME_WORDS.items()]
    return "\n".join(["| outcome | what happened | the deciding moment |", "|---|---|---|", *rows]) + "\n"


def phases() -> str:
    """The table of phases."""
    rows = [f"| `{name}` | {words.text} |" for name, words in PHASE_WORDS.items()]
    return "\n".join(["| phase | what the unit does |", "|---|---|", *rows]) + "\n"


def measures() -> str:
    """The table of measures."""
    rows = []
    for one in NAMES:
        words = "; ".join(
            f"{word}: {', '.join(f'`{value}`' for value in values)}" for word, values in one.words if word not in KNOWN
        )
        rows.append(f"| `{one.pattern}` | {one.text} | {words or '-'} |")
    return (
        "\n".join(["| measure | what it is, and where it is read | the word in brackets |", "|---|---|---|", *rows])
        + "\n"
    )


def checks() -> str:
    """The table of checks."""
    rows = [f"| `{row.check}` | {row.words} | {row.needs} |" for row in ROWS]
    return "\n".join(["| check | what is judged | what it needs |", "|---|---|---|", *rows, *OTHER_CHECKS]) + "\n"


def kinds() -> str:
    """The table of kinds of data problems."""
    rows = [f"| `{name}` | {text} |" for name, text in {**KINDS, **OF_THE_FILE}.items()]
    return "\n".join(["| kind | what it means |", "|---|---|", *rows]) + "\n"


MADE: dict[str, Callable[[], str]] = {
    "text": text_shown,
    "json": json_shown,
    "outcomes": outcomes,
    "phases": phases,
    "measures": measures,
    "checks": checks,
    "kinds": kinds,
}
"""What stands between the marks of these names."""


def rewritten(document: str, *names: str) -> str:
    """The document with what stands between marks made anew."""

    def made(found: re.Match[str]) -> str:
        return f"<!-- {found[1]} -->\n{MADE[found[1]]()}<!-- end -->" if found[1] in names else found[0]

    return MARKED.sub(made, document)


if __name__ == "__main__":
    DOCUMENT.write_text(rewritten(DOCUMENT.read_text(), *MADE))
