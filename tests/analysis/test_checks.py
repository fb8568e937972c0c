"""Every row of every table of check points, and what the tables must be as a whole."""

from itertools import groupby

import pytest

from analysis.formulas import formulas
from tests.analysis.checks import KINDS, NEGLIGIBLE, Check, read, subjects

ROWS = [check for subject in subjects() for check in read(subject)]
BY_FUNCTION = {
    name: list(rows) for name, rows in groupby(sorted(ROWS, key=lambda row: row.function), lambda row: row.function)
}


def complaints(check: Check) -> list[str]:
    """What is wrong with a row: off by more than is allowed, or than it claims, or claiming worse than the truth."""
    deviation, expected = check.deviation()
    limit = check.limit(check.row["tolerance"], expected, check.unit)
    claimed = check.limit(check.row["achieved"], expected, check.unit)
    floor = NEGLIGIBLE * (abs(expected) or 1.0)
    found = []
    if not abs(deviation) <= limit:
        found.append(f"{check}: {deviation:g} off, {limit:g} allowed")
    if not abs(deviation) <= claimed + floor:
        found.append(f"{check}: {deviation:g} off, {claimed:g} claimed")
    if not claimed <= 10 * abs(deviation) + floor:
        found.append(f"{check}: {deviation:g} off, and as bad as {claimed:g} claimed")
    return found


@pytest.mark.parametrize("function", BY_FUNCTION)
def test_agrees_with_the_outside(function: str) -> None:
    assert [complaint for check in BY_FUNCTION[function] for complaint in complaints(check)] == []


def test_each_row_says_where_it_comes_from() -> None:
    nowhere = [str(check) for check in ROWS if check.row["kind"] not in KINDS or len(check.row["source"]) <= 10]
    mixed = [str(check) for check in ROWS if check.row["kind"] == "memory" and "memory" not in check.row["source"]]
    assert (nowhere, mixed) == ([], [])


def test_there_are_enough_rows_from_outside() -> None:
    outside = [check for check in ROWS if check.row["kind"] in ("published", "library")]
    assert len(outside) >= 300, f"{len(outside)} rows are published or from a library"
    assert len({(check.row["function"], check.row["inputs"], check.row["expected"]) for check in ROWS}) == len(ROWS)


def test_memory_is_never_the_only_check_of_a_function() -> None:
    kinds = {function: {check.row["kind"] for check in rows} for function, rows in BY_FUNCTION.items()}
    assert [name for name, found in kinds.items() if found == {"memory"}] == []


def test_every_formula_of_a_number_has_a_row() -> None:
    assert [name for name, known in formulas().items() if known.results and name not in BY_FUNCTION] == []


def test_a_wrong_value_is_noticed() -> None:
    """The judge itself: the first row with its expected value moved by three tolerances, and with a boast."""
    check = next(row for row in ROWS if row.row["tolerance"].startswith("rel") and row.row["kind"] == "published")
    expected, unit = check.row["expected"].split(" ", 1)
    allowed = float(check.row["tolerance"].split()[1])
    moved = Check(check.subject, check.line, {**check.row, "expected": f"{float(expected) * (1 + 3 * allowed)} {unit}"})
    assert any("allowed" in complaint for complaint in complaints(moved))
    boast = Check(check.subject, check.line, {**check.row, "achieved": "rel 1e-12"})
    assert any("claimed" in complaint for complaint in complaints(boast))
    modest = Check(check.subject, check.line, {**check.row, "achieved": "rel 0.5"})
    assert any("as bad as" in complaint for complaint in complaints(modest))
