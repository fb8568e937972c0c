"""What can be wrong: the names of the causes, how bad, since when and in which course of time."""

from dataclasses import dataclass
from math import inf

from analysis.diagnosis.causes import CAUSES
from analysis.points import nearest
from drivers.base import InputError

COURSES = ("constant", "growing", "intermittent")
"""Severity from the onset on: all at once; growing over the time that the furnace runs; there now and then."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing wrong with a unit, from `onset` on."""

    cause: str
    """A name in `analysis.diagnosis.causes.CAUSES`."""
    severity: float = 0.7
    """0 none, just above it only just visible, 1 total; what that is for each cause stands in `faults.py`. [1]"""
    onset: float = 0.0
    """Seconds after the beginning. [s]"""
    course: str = "constant"
    """A name in `COURSES`."""
    until: float = inf
    """When it was repaired. [s]"""

    def __post_init__(self) -> None:
        """Refuse what makes no sense, in one sentence."""
        if self.cause not in CAUSES:
            raise InputError(
                f"unknown cause '{self.cause}'{nearest(self.cause, CAUSES)}",
                "`lightoff simulate --help` lists them all",
            )
        if not 0 <= self.severity <= 1:
            raise InputError(f"severity {self.severity:g} of {self.cause} is outside 0 to 1", "0 is none, 1 is total")
        if self.course not in COURSES:
            raise InputError(f"unknown course '{self.course}' of {self.cause}", f"say one of {', '.join(COURSES)}")
        if not self.onset >= 0:
            raise InputError(f"the onset {self.onset:g} s of {self.cause} is before the beginning", "say 0 or later")
