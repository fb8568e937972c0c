"""How common the causes are in a company's own calls: a TOML file that takes the place of the table of the program."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from analysis.diagnosis.causes import CAUSES, Priors
from analysis.points import nearest
from collector.job_lines import Mistake, line_of, read_tables, read_text
from collector.job_values import shown
from drivers.base import InputError

TABLE = "shares"
"""Name of the one table that the file has."""
HINT = f"write a table [{TABLE}] with a line such as igniter_faulty = 12 for each cause that was counted"


def shares(path: Path) -> Priors:
    """Of a file; InputError in one sentence where it cannot be read or says what cannot be."""
    return parsed(read_text(path), path.name)


def parsed(text: str, name: str) -> Priors:
    """Of a text; `name` says what it is."""
    read = read_tables(text)
    if isinstance(read, Mistake):
        raise InputError(f"{name}, {read}", HINT)
    tables, lines = read
    others = [key for key in tables if key != TABLE]
    if others:
        raise InputError(f"{name}, line {line_of(lines, (others[0],))}: unknown key {shown(others[0])}", HINT)
    counted = tables.get(TABLE)
    if not isinstance(counted, dict):
        raise InputError(f"{name} has no table [{TABLE}]", HINT)
    for cause, share in counted.items():
        why = _refused(cause, share)
        if why:
            raise InputError(f"{name}, line {line_of(lines, (TABLE, cause))}: {why}", HINT)
    return _priors(counted, name)


def _refused(cause: str, share: Any) -> str:
    """Why a line cannot be; empty where it can."""
    if cause not in CAUSES:
        return f"unknown cause {shown(cause)}{nearest(cause[:60], CAUSES)}"
    if isinstance(share, bool) or not isinstance(share, int | float) or not 0 <= share < float("inf"):
        return f"the share of '{cause}' is {shown(share)}; expected a number of at least 0"
    return ""


def _priors(counted: Mapping[str, float], name: str) -> Priors:
    try:
        return Priors.of_some({cause: float(share) for cause, share in counted.items()})
    except (ValueError, OverflowError) as error:
        raise InputError(f"{name}: {error}", HINT) from None
