"""Attempts as the page is told them: times in milliseconds, words beside names, and only what is new to it."""

from collections.abc import Sequence
from typing import Any

from analysis.sequence.attempts import Attempt
from collector.sequence_words import OUTCOME_WORDS, PHASE_WORDS, in_words

KEPT = 200
"""Attempts that are told, the newest; older ones are left out. [1]"""

Row = dict[str, Any]


def attempt_row(attempt: Attempt, *, under_way: bool = False, outcome: str | None = None, sure: bool = True) -> Row:
    """One attempt for the page; while it is `under_way` it has no end, and the `outcome` that is decided so far.

    Times are UTC since 1970. [ms]
    """
    outcome = attempt.outcome if outcome is None else outcome
    words = OUTCOME_WORDS.get(outcome)
    phases: list[Row] = [
        {
            "phase": span.phase,
            "text": PHASE_WORDS[span.phase].short,
            "start": milliseconds(span.start),
            "end": milliseconds(span.end),
        }
        for span in attempt.phases
    ]
    if under_way and phases:
        phases[-1]["end"] = None
    return {
        "number": attempt.number,
        "call": attempt.call,
        "stage": attempt.stage,
        "start": milliseconds(attempt.start),
        "end": None if under_way else milliseconds(attempt.end),
        "outcome": outcome,
        "outcome_text": words.text if words else "under way",
        "kind": words.kind if words else "open",
        "decided": words.decided if words else "",
        "deciding_time": milliseconds(attempt.deciding_time) if words and words.decided else None,
        "probability": round(attempt.probability, 2),
        "sure": sure,
        "why": in_words(attempt.why),
        "phases": phases,
    }


def milliseconds(seconds: float) -> int:
    """A time as a browser counts it. [ms]"""
    return round(seconds * 1000)


class AttemptsTold:
    """What onlookers are told of the attempts; each gets what changed since the version that it has."""

    def __init__(self) -> None:
        self.version = 1
        """Goes up with every change. [1]"""
        self._rows: dict[int, Row] = {}
        self._changed: dict[int, int] = {}
        self._whole = 1  # whoever has an older version than this has to be told everything

    def use(self, rows: Sequence[Row], *, anew: bool = False) -> None:
        """Take the attempts as they are now, the newest last; `anew` where none of them is one that was there."""
        found = {int(row["number"]): row for row in rows[-KEPT:]}
        before = self._rows
        if found == before and not anew:
            return
        self.version += 1
        oldest = min(found, default=0)
        if anew or any(number >= oldest and number not in found for number in before) or not found:
            self._whole = self.version
        self._changed = {
            number: self.version if before.get(number) != row else self._changed[number]
            for number, row in found.items()
        }
        self._rows = found

    def since(self, version: int) -> Row | None:
        """What is new to an onlooker that has `version`, 0 for one that has none; None where nothing is.

        `whole`: what it has is to be dropped before; `first`: so are numbers below this.
        """
        if version == self.version:
            return None
        whole = version < self._whole
        rows = [row for number, row in self._rows.items() if whole or self._changed[number] > version]
        first = min(self._rows, default=0)
        return {"type": "attempts", "version": self.version, "whole": whole, "first": first, "attempts": rows}
