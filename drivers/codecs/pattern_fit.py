"""How far a line fits a pattern: for whoever writes the pattern, not for reading."""

import re

LONGEST = 512
"""Longest pattern, and longest line, that is looked at. [1]"""


def fitting(pattern: str, line: str) -> tuple[str, str] | None:
    """The longest beginning of a pattern that the beginning of a line fits, and what of the line that takes.

    The pattern is one that `LinePattern` takes. None where the whole line fits, and for what is too long to be looked
    at. A beginning ends where every group is closed, and never between a piece and its repeat.
    """
    line = line.strip()
    if len(pattern) > LONGEST or len(line) > LONGEST:
        return None
    for end in range(len(pattern), 0, -1):
        beginning = pattern[:end]
        if pattern[end : end + 1] in ("?", "*", "+", "{"):
            continue  # without its repeat a piece fits another line
        try:
            match = re.compile(beginning, re.ASCII).match(line)
        except (re.error, ValueError, OverflowError, RecursionError):
            continue  # cut within a group or a set
        if match:
            return None if end == len(pattern) and match.end() == len(line) else (beginning, match[0])
    return "", ""
