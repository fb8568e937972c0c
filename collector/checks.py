"""The checks of a call: ticks and open entries, kept in the recording and rebuilt from it."""

from collections.abc import Iterable, Mapping

from analysis.model import Event, EventKind
from collector.arguments import Command, Given, text_in
from collector.check_states import (
    CLOSED,
    MOST_OPEN,
    OPEN_LIST,
    OPENED,
    REOPENED,
    TICKED,
    UNTICKED,
    CheckStates,
    Entry,
)
from collector.checklists import LISTS, OTHER, Checklist, Item, opening_of
from collector.collector import Collector
from collector.standing import Standing
from drivers.base import InputError

LONGEST_DETAIL = 120
"""A longer text of an entry is refused. [characters]"""
CLOSED_SHOWN = 12
"""Closed entries that the page is told. [1]"""
NAMED = 5
"""Open entries named when a call ends. [1]"""


class Checklists:
    """Ticks and open entries of one call; follows every check that the collector takes in.

    Of a replay it shows what held at the time where that stands, so that a replay moved back shows less again.
    """

    def __init__(self, collector: Collector, *, recorded: Iterable[Event] = (), replaying: bool = False) -> None:
        self._collector = collector
        self._standing = Standing(collector, EventKind.CHECK, CheckStates, recorded=recorded, replaying=replaying)

    def status(self) -> dict[str, object]:
        """What is ticked, open and closed now, for the page."""
        states = self._standing.now()
        names = [one.name for one in LISTS]
        names += sorted({list_ for list_, _ in states.ticked} - set(names))
        return {
            "lists": [{"list": name, "ticked": _ticked(states, name)} for name in names],
            "open": [_open(entry) for entry in states.open.values()],
            "closed": [
                {"id": one.id, "text": one.text, "since": one.since, "closed": one.closed, "how": one.how}
                for one in list(states.closed.values())[-CLOSED_SHOWN:]
            ],
            "ignored": states.ignored + self._standing.missed,
        }

    def left_open(self) -> str:
        """One sentence that names what is still open at the end of a call; empty when nothing is, and for a replay."""
        entries = [] if self._standing.replaying else [one.text for one in self._standing.states.open.values()]
        if not entries:
            return ""
        more = f" and {len(entries) - NAMED} more" if len(entries) > NAMED else ""
        named = ", ".join(entries[:NAMED]) + more
        return f"still open: {named}; put it back, or leave gas and power off, tagged, and tell the customer in writing"

    def commands(self) -> Mapping[str, Command]:
        """What the page may do, by name."""
        return {"check": self.check, "open_entry": self.open, "close_entry": self.close, "reopen_entry": self.reopen}

    def check(self, given: Given) -> str:
        """Tick a line of a list, or take its tick back."""
        checklist, item = _line(text_in(given, "list"), text_in(given, "item"))
        done = given.get("done")
        if not isinstance(done, bool):
            raise InputError("'done' must be true or false", "send it again with one of them")
        self._refuse_in_a_replay()
        text = f"{checklist.title.lower()}: {item.text}"
        if ((checklist.name, item.item) in self._standing.states.ticked) == done:
            return f"{text}, {'ticked' if done else 'not ticked'} already"
        text += "" if done else ", not done"
        id_ = f"{checklist.name}-{item.item}"
        return self._write(text, _facts(checklist.name, item.item, TICKED if done else UNTICKED, id_))

    def open(self, given: Given) -> str:
        """Keep in sight what is opened for a test, until it is closed."""
        item, detail = text_in(given, "item"), " ".join(text_in(given, "text", default="").split())
        kind = opening_of(item)
        if kind is None:
            raise InputError(f"'{item[:40]}' is nothing that can be opened here", "choose one of the list, or 'other'")
        if len(detail) > LONGEST_DETAIL:
            raise InputError(f"the text has {len(detail)} characters", f"write {LONGEST_DETAIL} at most")
        if kind is OTHER and not detail:
            raise InputError("what else was opened is not said", "write it and send it again")
        self._refuse_in_a_replay()
        self._refuse_when_full()
        text = _said(kind.text, detail) if kind is not OTHER else detail
        if any(entry.text == text for entry in self._standing.states.open.values()):
            raise InputError(f"{text} is open already", "write which one, if it is another")
        return self._write(f"opened: {text}", _facts(OPEN_LIST, item, OPENED, self._standing.states.next_id()), detail)

    def close(self, given: Given) -> str:
        """Close what was put back."""
        entry = self._entry(given, self._standing.states.open, "open")
        kind = opening_of(entry.item)
        known = kind is not None and kind is not OTHER
        text = _said(kind.closed, entry.detail) if kind and known else f"{entry.text}, {OTHER.closed}"
        return self._write(f"closed: {text}", _facts(OPEN_LIST, entry.item, CLOSED, entry.id), entry.detail)

    def reopen(self, given: Given) -> str:
        """Take a closing back."""
        entry = self._entry(given, self._standing.states.closed, "closed")
        self._refuse_when_full()
        return self._write(
            f"opened again: {entry.text}", _facts(OPEN_LIST, entry.item, REOPENED, entry.id), entry.detail
        )

    def _entry(self, given: Given, entries: Mapping[str, Entry], what: str) -> Entry:
        id_ = text_in(given, "id")
        self._refuse_in_a_replay()
        if id_ not in entries:
            raise InputError(f"there is no {what} entry '{id_[:40]}'", "look at the list again")
        return entries[id_]

    def _refuse_in_a_replay(self) -> None:
        if self._standing.replaying:
            raise InputError("nothing can be ticked, opened or closed here", "a replay plays what was recorded")

    def _refuse_when_full(self) -> None:
        if len(self._standing.states.open) >= MOST_OPEN:
            raise InputError(f"{MOST_OPEN} entries are open already", "close some of them first")

    def _write(self, text: str, facts: Mapping[str, object], detail: str = "") -> str:
        data = {**facts, "detail": detail} if detail else facts
        self._collector.ingest(Event(self._collector.now(), EventKind.CHECK, text, None, data))
        return text


def _line(list_: str, item: str) -> tuple[Checklist, Item]:
    for checklist in LISTS:
        for line in checklist.items if checklist.name == list_ else ():
            if line.item == item:
                return checklist, line
    raise InputError(f"there is no line '{item[:40]}' in a list '{list_[:40]}'", "load the page again")


def _facts(list_: str, item: str, state: str, id_: str) -> Mapping[str, object]:
    return {"list": list_, "item": item, "state": state, "id": id_}


def _said(text: str, detail: str) -> str:
    return f"{text} ({detail})" if detail else text


def _ticked(states: CheckStates, name: str) -> list[dict[str, object]]:
    """Ticked lines of a list; those that this version does not know bring their texts."""
    known = {item.item for one in LISTS if one.name == name for item in one.items}
    return [
        {"item": item, "since": tick.time} | ({} if item in known else {"title": tick.title, "text": tick.text})
        for (list_, item), tick in states.ticked.items()
        if list_ == name
    ]


def _open(entry: Entry) -> dict[str, object]:
    kind = opening_of(entry.item)
    return {
        "id": entry.id,
        "item": entry.item,
        "text": entry.text,
        "since": entry.since,
        "caution": kind.caution if kind else "",
    }
