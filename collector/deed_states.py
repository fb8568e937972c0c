"""What the technician did, after a row of events, whoever wrote them."""

from collections.abc import Iterable
from dataclasses import dataclass

from analysis.diagnosis.done import Done
from analysis.model import NANOSECONDS, Event, EventKind

MOST = 500
"""Entries followed; further ones are counted. [1]"""
UNDONE = "undone"
"""Stands for the taking back of an entry, whose id it has."""


@dataclass(frozen=True, slots=True)
class Deed:
    """One entry."""

    id: str
    what: str
    """Name in `analysis.diagnosis.done.DEEDS`, or `tested`; those of other versions may be others."""
    text: str
    at: int
    """When it was done. [ns]"""
    test: str = ""
    result: str = ""


class DeedStates:
    """Follows done events one after the other; what cannot be understood or is beyond a bound is counted."""

    def __init__(self) -> None:
        self.entries: dict[str, Deed] = {}
        """By id, in the order in which they were entered; what was taken back is gone."""
        self.ignored = 0
        """Events that were not followed. [1]"""
        self._number = 0

    def next_id(self) -> str:
        """An id that no entry has had."""
        return f"done-{self._number + 1}"

    def apply(self, event: Event) -> None:
        """Follow one event."""
        what, text, at, id_ = (event.data.get(name) for name in ("what", "text", "at", "id"))
        known = isinstance(what, str) and isinstance(text, str) and isinstance(id_, str)
        if not known or isinstance(at, bool) or not isinstance(at, int):
            self.ignored += 1
            return
        number = str(id_).removeprefix("done-")
        if number.isdecimal() and len(number) < 10:
            self._number = max(self._number, int(number))
        if what == UNDONE:
            if self.entries.pop(str(id_), None) is None:
                self.ignored += 1
        elif id_ in self.entries or len(self.entries) >= MOST:
            self.ignored += 1
        else:
            test, result = (str(event.data.get(name) or "") for name in ("test", "result"))
            self.entries[str(id_)] = Deed(str(id_), str(what), str(text), at, test, result)

    def done(self) -> tuple[Done, ...]:
        """The entries as the diagnosis takes them, in the order of time."""
        told = [Done(one.what, one.at / NANOSECONDS, one.test, one.result) for one in self.entries.values()]
        return tuple(sorted(told, key=lambda one: one.at))


def done_in(events: Iterable[Event]) -> tuple[Done, ...]:
    """What was done according to the events of a recording, in the order of time."""
    states = DeedStates()
    for event in events:
        if event.kind is EventKind.DONE:
            states.apply(event)
    return states.done()
