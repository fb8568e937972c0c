"""What the technician did in this call: entered on the page, kept in the recording and rebuilt from it."""

from collections.abc import Iterable, Mapping

from analysis.diagnosis.done import DEEDS, OTHER, TESTED, Done
from analysis.diagnosis.steps.catalogue import STEPS
from analysis.model import Event, EventKind
from collector.arguments import Command, Given, text_in
from collector.collector import Collector
from collector.deed_states import MOST, UNDONE, DeedStates
from collector.standing import Standing
from drivers.base import InputError
from drivers.codecs.moments import parse_moment, told

LONGEST_DETAIL = 200
"""A longer text of an entry is refused. [characters]"""
SHOWN = 12
"""Entries that the page is told, the newest first. [1]"""


class Deeds:
    """Entries of one call; follows every one that the collector takes in.

    Of a replay it shows what had been entered where that stands. `began` is when the recording did. [ns]
    """

    def __init__(
        self,
        collector: Collector,
        *,
        recorded: Iterable[Event] = (),
        replaying: bool = False,
        began: int | None = None,
    ) -> None:
        self._collector = collector
        self._began = collector.now() if began is None else began
        self._standing = Standing(collector, EventKind.DONE, DeedStates, recorded=recorded, replaying=replaying)

    def status(self) -> dict[str, object]:
        """The last entries, the newest first, for the page."""
        states = self._standing.now()
        last = list(states.entries.values())[-SHOWN:]
        return {
            "entries": [{"id": one.id, "text": one.text, "time": one.at} for one in reversed(last)],
            "count": len(states.entries),
            "ignored": states.ignored + self._standing.missed,
        }

    def done(self) -> tuple[Done, ...]:
        """The entries as the diagnosis takes them, in the order of time."""
        return self._standing.now().done()

    def commands(self) -> Mapping[str, Command]:
        """What the page may do, by name."""
        return {"did": self.did, "undo_did": self.undo}

    def did(self, given: Given) -> str:
        """Keep that something was done, or a test made with its result, now or at `at`."""
        what = text_in(given, "what")
        detail = " ".join(text_in(given, "text", default="").split())
        if len(detail) > LONGEST_DETAIL:
            raise InputError(f"the text has {len(detail)} characters", f"write {LONGEST_DETAIL} at most")
        facts, text = _tested(given) if what == TESTED else _deed(what, detail)
        text += f" ({detail})" if detail and what != OTHER else ""
        self._refuse_in_a_replay()
        if len(self._standing.states.entries) >= MOST:
            raise InputError(f"{MOST} entries are kept already", "write a note instead")
        now = self._collector.now()
        at = parse_moment(text_in(given, "at", default=""), now, began=self._began)
        self._write(text, {"what": what, "text": text, "at": at, "id": self._standing.states.next_id(), **facts})
        return f"done: {text}, {told(at, now)}"

    def undo(self, given: Given) -> str:
        """Take an entry back; it stays in the recording and counts no more."""
        id_ = text_in(given, "id")
        self._refuse_in_a_replay()
        entry = self._standing.states.entries.get(id_)
        if entry is None:
            raise InputError(f"there is no entry '{id_[:40]}'", "look at the list again")
        text = f"taken back: {entry.text}"
        self._write(text, {"what": UNDONE, "text": text, "at": entry.at, "id": id_})
        return text

    def _refuse_in_a_replay(self) -> None:
        if self._standing.replaying:
            raise InputError("nothing can be entered here", "a replay plays what was recorded")

    def _write(self, text: str, data: Mapping[str, object]) -> None:
        self._collector.ingest(Event(self._collector.now(), EventKind.DONE, text, None, data))


def _deed(what: str, detail: str) -> tuple[Mapping[str, object], str]:
    deed = DEEDS.get(what)
    if deed is None:
        raise InputError(f"'{what[:40]}' is nothing that can be entered here", "choose one of the list, or 'other'")
    if what == OTHER and not detail:
        raise InputError("what else was done is not said", "write it and send it again")
    return {}, detail if what == OTHER else deed.text


def _tested(given: Given) -> tuple[Mapping[str, object], str]:
    test, result = text_in(given, "test"), text_in(given, "result")
    step = STEPS.get(test)
    found = next((one for one in step.results if one.name == result), None) if step else None
    if step is None or found is None:
        raise InputError(f"there is no result '{result[:40]}' of a test '{test[:40]}'", "choose one of the list")
    return {"test": test, "result": result}, f"{step.text}: {found.text}"
