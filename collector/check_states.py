"""What is ticked and what is open after a row of check events, whoever wrote them."""

from dataclasses import dataclass, replace

from analysis.model import Event

MOST_OPEN = 200
"""Entries open at a time. [1]"""
MOST_TICKS = 500
"""Lines ticked at a time, those of other versions included. [1]"""
REMEMBERED = 50
"""Closed entries that can be opened again; older ones are in the recording. [1]"""

OPEN_LIST = "open"
"""Stands for a list in the events of what is opened."""
TICKED, UNTICKED = "ticked", "unticked"
OPENED, CLOSED, REOPENED = "open", "closed", "open again"


@dataclass(frozen=True, slots=True)
class Tick:
    """A line that is ticked."""

    time: int
    """[ns]"""
    title: str
    """The list's, as it was recorded."""
    text: str


@dataclass(frozen=True, slots=True)
class Entry:
    """Something that is or was open."""

    id: str
    item: str
    text: str
    detail: str
    """Which one, where there are several; may be empty."""
    since: int
    """[ns]"""
    closed: int | None = None
    """When it was closed. [ns]"""
    how: str = ""
    """What was done to close it."""


class CheckStates:
    """Follows check events one after the other; what cannot be understood or is beyond a bound is counted."""

    def __init__(self) -> None:
        self.ticked: dict[tuple[str, str], Tick] = {}
        """By list and item."""
        self.open: dict[str, Entry] = {}
        self.closed: dict[str, Entry] = {}
        """The last ones, the newest at the end."""
        self.ignored = 0
        """Events that were not followed. [1]"""
        self._number = 0

    def next_id(self) -> str:
        """An id that no entry has had."""
        return f"open-{self._number + 1}"

    def apply(self, event: Event) -> None:
        """Follow one event."""
        facts = [event.data.get(name) for name in ("list", "item", "state", "id")]
        texts = [fact for fact in facts if isinstance(fact, str)]
        if len(texts) < len(facts) or not self._applied(event, *texts):
            self.ignored += 1

    def _applied(self, event: Event, list_: str, item: str, state: str, id_: str) -> bool:
        title, _, text = event.text.partition(": ")
        if list_ == OPEN_LIST:
            return self._entry(event, item, state, id_, text)
        if state == UNTICKED:
            self.ticked.pop((list_, item), None)
            return True
        if state != TICKED or ((list_, item) not in self.ticked and len(self.ticked) >= MOST_TICKS):
            return False
        self.ticked[list_, item] = Tick(event.time, title, text)
        return True

    def _entry(self, event: Event, item: str, state: str, id_: str, text: str) -> bool:
        number = id_.removeprefix("open-")
        if number.isdecimal() and len(number) < 10:
            self._number = max(self._number, int(number))
        if state == CLOSED and id_ in self.open:
            self.closed[id_] = replace(self.open.pop(id_), closed=event.time, how=text)
            while len(self.closed) > REMEMBERED:
                del self.closed[next(iter(self.closed))]
            return True
        if id_ in self.open or len(self.open) >= MOST_OPEN:
            return False
        if state == REOPENED and id_ in self.closed:
            self.open[id_] = replace(self.closed.pop(id_), closed=None, how="")
            return True
        if state == OPENED:
            self.open[id_] = Entry(id_, item, text, str(event.data.get("detail") or ""), event.time)
            return True
        return False
