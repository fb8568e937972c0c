"""How far a server has what is recorded, and why it has not; told on the page and by the command."""

from dataclasses import asdict, dataclass
from typing import Any

LIVE = 5.0
"""Being so far behind is no delay worth telling. [s]"""


@dataclass(slots=True)
class ForwardStatus:
    """As of the last step."""

    state: str = "sending"
    """`up to date`, `sending` (it catches up), or `waiting` (the server takes nothing)."""
    since: int = 0
    """[ns]"""
    text: str = ""
    """Why it waits, in one sentence."""
    next_try: int | None = None
    """[ns]"""
    behind: float = 0.0
    """Age of the oldest reading that waits. [s]"""
    waiting: int = 0
    """Minutes of channels that wait. [1]"""
    share: float = 0.0
    """How much of the recording was compared with what the server has. [1]"""
    unsure: int = 0
    """Minutes of channels that the server has answered for, not yet for long enough. [1]"""
    sent: int = 0
    """Readings that the server has answered for, those sent again too. [1]"""
    again: int = 0
    """Readings that had to be sent again. [1]"""
    aside: int = 0
    """Readings that the server refuses. [1]"""
    damaged: int = 0
    """Damaged parts of the recording that could not be read, and are not sent. [1]"""
    shared: int = 0
    """Readings told apart from another of the same millisecond by a tag of their own. [1]"""
    unwritten: str = ""
    """Why what the server has cannot be written down."""
    failures: int = 0
    """[1]"""
    stood_still: float = 0.0
    """How long the server has taken nothing. [s]"""

    def stands_still(self, why: str, now: int, wait: float) -> None:
        """The server takes nothing."""
        self.failures += 1
        if self.state != "waiting":
            self.state, self.since = "waiting", now
        self.text, self.next_try = why, now + round(wait * 1e9)
        self.stood_still = (now - self.since) / 1e9

    def goes_on(self, now: int) -> None:
        """The server has answered."""
        if self.state == "waiting":
            self.state, self.since = "sending", now
        self.text, self.next_try, self.stood_still = "", None, 0.0

    def count_up(self, *, sent: bool, now: int) -> None:
        """Whether it is up to date now."""
        state = self.state
        if state != "waiting":
            state = "up to date" if sent or (self.behind < LIVE and self.share >= 1.0) else "sending"
        if state != self.state:
            self.state, self.since = state, now

    def told(self) -> dict[str, Any]:
        """Plain JSON values."""
        return asdict(self)
