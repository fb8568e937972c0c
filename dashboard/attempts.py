"""The ignition attempts that the recorder has told, for browsers that come later."""

from typing import Any

Message = dict[str, Any]

MOST = 200
"""Attempts that are remembered, the newest. [1]"""


class Attempts:
    """By their numbers; a message of the recorder brings those that are new or changed."""

    def __init__(self) -> None:
        self._rows: dict[int, Message] = {}

    def forget(self) -> None:
        """Another recording, or another place in it."""
        self._rows.clear()

    def use(self, message: Message) -> Message:
        """Remember what a message brings; the message for those who know what was told before."""
        first = message.get("first")
        rows = [row for row in message["attempts"] if isinstance(row, dict) and _is_number(row.get("number"))]
        whole = bool(message.get("whole"))
        if whole:
            self._rows.clear()
        self._rows |= {row["number"]: row for row in rows[-MOST:]}
        least = max(first if isinstance(first, int) else 0, max(self._rows, default=0) - MOST + 1)
        self._rows = {number: self._rows[number] for number in sorted(self._rows) if number >= least}
        return {"type": "attempts", "whole": whole, "first": least, "attempts": rows}

    def known(self) -> list[Message]:
        """The message for who knows nothing yet; none where there is no attempt."""
        rows = list(self._rows.values())
        return [{"type": "attempts", "whole": True, "first": min(self._rows), "attempts": rows}] if rows else []


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
