"""What a command is given and what it answers: plain JSON values, checked here."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from drivers.base import InputError

LONGEST_TEXT = 2000
"""A longer note is refused. [characters]"""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command answers where one sentence is not enough."""

    text: str
    """One sentence for people."""
    data: Mapping[str, object] = field(default_factory=dict)
    """Facts for the page; plain JSON values."""


Given = Mapping[str, object]
Command = Callable[[Given], str | Answer]


def text_in(given: Given, name: str, default: str | None = None) -> str:
    """Text of an argument, `default` where it is empty; InputError where there is neither."""
    value = given.get(name, default)
    if not isinstance(value, str) or (not value.strip() and default is None):
        raise InputError(f"'{name}' must be a text", "write something and send it again")
    if len(value) > LONGEST_TEXT:
        raise InputError(f"'{name}' has {len(value)} characters", f"write {LONGEST_TEXT} at most")
    readable = value.encode("utf-8", "replace").decode()  # half a character would stop whoever writes it
    return readable.strip() or default or ""


def number_in(given: Given, name: str) -> float:
    """Number of an argument; InputError where it is none."""
    value = given.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e9:
        raise InputError(f"'{name}' must be a number", "send it again with one")
    return float(value)
