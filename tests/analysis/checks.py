"""Tables of check points: what others publish or compute, beside what the formulas give.

`python -m tests.analysis.checks SUBJECT` prints the deviation of each row, with `--write` into its last column.
"""

import csv
import math
import sys
from dataclasses import dataclass
from pathlib import Path

from analysis.units import conversion, parse
from collector.compute import compute

FOLDER = Path(__file__).parent / "checks"
COLUMNS = ["function", "inputs", "expected", "tolerance", "kind", "source", "achieved"]
KINDS = ("published", "library", "model", "arithmetic", "memory")
NEGLIGIBLE = 1e-9


@dataclass(frozen=True, slots=True)
class Check:
    """One row of a table."""

    subject: str
    line: int
    row: dict[str, str]

    @property
    def function(self) -> str:
        return self.row["function"].partition(".")[0]

    def deviation(self) -> tuple[float, float]:
        """What the formula gives less what is expected, and what is expected. [inside unit]"""
        function, _, field = self.row["function"].partition(".")
        result = compute(function, self.row["inputs"].split()).results[field]
        expected = parse(self.row["expected"], result.unit, difference=result.unit == "K")
        return result.value - expected, expected

    def limit(self, text: str, expected: float, unit: str) -> float:
        """A tolerance as it stands in the table, absolute. [inside unit]"""
        kind, number = text.split(maxsplit=1)
        if kind == "rel":
            return float(number) * abs(expected)
        assert kind == "abs", f"{self}: tolerance '{text}' begins neither with rel nor with abs"
        value, _, given = number.partition(" ")
        return float(value) * conversion(given or "1", unit, difference=True).scale

    @property
    def unit(self) -> str:
        """Inside unit of the result."""
        from analysis.formulas import formula

        function, _, field = self.row["function"].partition(".")
        return next(result.unit for result in formula(function).results if result.name == field)

    def __str__(self) -> str:
        return f"{self.subject}.csv:{self.line} {self.row['function']} {self.row['inputs']}"


def read(subject: str) -> list[Check]:
    """All rows of a table."""
    with (FOLDER / f"{subject}.csv").open(encoding="utf-8", newline="") as file:
        rows = csv.DictReader(file, strict=True)
        assert rows.fieldnames == COLUMNS, f"{subject}.csv: its columns are {rows.fieldnames}"
        return [Check(subject, rows.line_num, row) for row in rows]


def subjects() -> list[str]:
    """Names of the tables."""
    return sorted(path.stem for path in FOLDER.glob("*.csv"))


def rounded_up(value: float) -> str:
    """Two significant digits, never less than the value."""
    if value <= 0:
        return "0"
    step = 10 ** (math.floor(math.log10(value)) - 1)
    return f"{math.ceil(value / step * (1 - 1e-12)) * step:.2g}"


def achieved(check: Check) -> str:
    """The agreement of a row, in the form of its tolerance."""
    deviation, expected = check.deviation()
    kind, number = check.row["tolerance"].split(maxsplit=1)
    if kind == "rel":
        return f"rel {rounded_up(abs(deviation) / abs(expected) if expected else 0.0)}"
    given = number.partition(" ")[2] or "1"
    scale = conversion(given, check.unit, difference=True).scale
    return f"abs {rounded_up(abs(deviation) / scale)} {given}"


def main(arguments: list[str]) -> int:
    """Print or write the agreement achieved; exit status 1 when a row fails."""
    failed = 0
    for subject in [name for name in arguments if not name.startswith("--")] or subjects():
        rows = []
        for check in read(subject):
            row = dict(check.row)
            try:
                deviation, expected = check.deviation()
                limit = check.limit(row["tolerance"], expected, check.unit)
                row["achieved"] = achieved(check)
                word = "ok  " if abs(deviation) <= limit else "FAIL"
                print(f"{word} {check}: {row['achieved']} of {row['tolerance']}")  # noqa: T201
            except (ValueError, KeyError, StopIteration) as error:
                word = "FAIL"
                print(f"FAIL {check}: {error}")  # noqa: T201
            failed += word == "FAIL"
            rows.append(row)
        if "--write" in arguments and not failed:
            with (FOLDER / f"{subject}.csv").open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
                writer.writeheader()
                writer.writerows(rows)
    print(f"{failed} rows fail")  # noqa: T201
    return min(failed, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
