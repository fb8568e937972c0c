"""What is found wrong, doubtful or missing: one shape for all subjects."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """What a finding asks for."""

    FAULT = "fault"
    """Something is wrong and has to be put right."""
    ADVICE = "advice"
    """Something to check or to keep in mind; it may be in order."""
    MISSING = "missing"
    """Something could not be judged: the text says what it would need."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found about an installation, with the numbers that it rests on."""

    name: str
    """Identifier, the same whatever the numbers are."""
    severity: Severity
    text: str
    """One sentence for a technician; numbers stand in `values`, so that the screen shows them in its own units."""
    values: tuple[tuple[str, float, str], ...] = ()
    """What it rests on: words, number, inside unit (`K` for a difference of temperatures)."""
