"""Recordings of the library played in programs of their own, each with its own page; a few at a time."""

import sys
from collections.abc import Sequence
from pathlib import Path

from collector.programs_apart import ProgramsApart
from drivers.base import InputError
from drivers.replay import FASTEST, SLOWEST

MOST = 3
"""Replays at a time; the oldest ends when one more begins. [1]"""


def program() -> tuple[str, ...]:
    """The program of a replay, which ends with its input; -P: as for the page."""
    return (sys.executable, "-P", "-m", "collector.tied", "replay")


class Replays(ProgramsApart):
    """Starts and ends replays for as long as its block runs; on leaving, every one has ended."""

    def __init__(self, program: Sequence[str]) -> None:
        super().__init__(program, what="replay", command="replay", most=MOST)

    def start(self, path: Path, speed: float | str) -> str:
        """Begin a replay at a speed, a number or `max`; an earlier one of the same recording ends."""
        if isinstance(speed, str):
            if speed != "max":
                raise InputError(f"'{speed[:20]}' is no speed", f"say {SLOWEST:g} to {FASTEST:g}, or max")
        elif not SLOWEST <= speed <= FASTEST:
            raise InputError(
                f"speed {speed:g} is outside {SLOWEST:g} to {FASTEST:g}", "choose one between them, or max"
            )
        arguments = (str(path), "--speed", _as_given(speed), "--port", "0", "--no-browser")
        oldest = self._begin(path.name, arguments, {"speed": speed})
        note = f"; the replay of {oldest} was ended: {MOST} at a time" if oldest else ""
        return f"opening a replay of {path.name}{note}"

    def end(self, name: str) -> str:
        """End a replay."""
        if name not in self._entries:
            raise InputError(f"{name[:80]} is not being replayed", "look at the list of recordings again")
        self._let_end(name)
        return f"the replay of {name} was ended"

    def state(self) -> list[dict[str, object]]:
        """Every replay: its file, its speed, and its address or what else there is to say."""
        return [
            {"name": name, "speed": entry.facts["speed"], "address": entry.address, "text": entry.text}
            for name, entry in self._entries.items()
        ]


def _as_given(speed: float | str) -> str:
    return speed if isinstance(speed, str) else f"{speed:g}"
