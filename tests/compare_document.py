"""What `docs/compare.md` shows of the program, written anew by `python -m tests.compare_document`."""

import json
import re
from collections.abc import Callable
from contextlib import chdir
from functools import lru_cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from analysis.comparison.meaning import TABLE
from collector.compare_json import in_json
from collector.compare_run import Compare, compared
from collector.compare_text import lines
from collector.opened import open_data

DOCUMENT = Path(__file__).parents[1] / "docs" / "compare.md"
BEFORE, AFTER = "drain_backs_up.csv.gz", "drain_cleared.csv.gz"
"""The bundled recordings that are shown: the demo's unit with a drain that backs up, and cleared."""
SHOWN = {"CANNOT TELL": 4, "NO CHANGE that these instruments can see": 6}
"""Lines of long sections that are shown; then a line of dots."""
DOTS = "  ..."
MARKED = re.compile(r"<!-- (\w+) -->\n(.*?)<!-- end -->", re.DOTALL)
FEW = {"measures": 1, "chain": 2, "not_compared": 1, "only_after": 1, "notes": 1}
"""How many of each list are shown."""


@lru_cache(maxsize=1)
def example() -> Compare:
    """The bundled pair, compared."""
    with as_file(files("replay_data")) as folder, chdir(folder):
        return compared(open_data(Path(BEFORE)), open_data(Path(AFTER)))


def text_shown() -> str:
    """The text of the example, long sections cut."""
    rows: list[str] = []
    for part in "\n".join(lines(example())).split("\n\n"):
        title = part.partition("\n")[0]
        own = part.splitlines()
        most = SHOWN.get(title, len(own))
        rows += [*own[: most + 1], *([DOTS] if len(own) > most + 1 else []), ""]
    return f"```\n$ lightoff compare {BEFORE} {AFTER}\n" + "\n".join(rows).rstrip() + "\n```\n"


def json_shown() -> str:
    """The object of the example, of each list the first ones; a measure that changed."""
    whole = in_json(example())
    whole["measures"].sort(key=lambda one: one["verdict"] not in ("better", "worse"))
    found: dict[str, Any] = {
        name: value[: FEW.get(name, 9)] if isinstance(value, list) else value for name, value in whole.items()
    }
    for side in ("before", "after"):
        for key in ("used", "left_out"):
            found[side]["channels"][key] = found[side]["channels"][key][:1]
    text = json.dumps(found, ensure_ascii=False, indent=1)
    return f"Of each list only the first are shown here:\n```json\n{text}\n```\n"


def meanings() -> str:
    """The table of what is better."""
    ways = {
        "larger": "larger",
        "smaller": "smaller",
        "nearer": "nearer to a target",
        "none": "no way: `changed`",
        "not compared": "not compared",
    }
    rows = [f"| `{pattern.replace('|', ' or ')}` | {ways[way]} | {words or '-'} |" for pattern, way, words in TABLE]
    return (
        "\n".join(
            [
                "| names (regular expression, the first that fits) | better is | in words, or why |",
                "|---|---|---|",
                *rows,
            ]
        )
        + "\n"
    )


MADE: dict[str, Callable[[], str]] = {"text": text_shown, "json": json_shown, "meanings": meanings}
"""What stands between the marks of these names."""


def rewritten(document: str, *names: str) -> str:
    """The document with what stands between marks made anew."""

    def made(found: re.Match[str]) -> str:
        return f"<!-- {found[1]} -->\n{MADE[found[1]]()}<!-- end -->" if found[1] in names else found[0]

    return MARKED.sub(made, document)


if __name__ == "__main__":
    DOCUMENT.write_text(rewritten(DOCUMENT.read_text(), *MADE))
