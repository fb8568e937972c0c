"""The search for instruments as the page asks for it: begun, looked at, ended; it holds no port of the call."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import asdict

from collector.arguments import Answer, Command, Given
from collector.attended import Attended
from collector.instruments import place
from collector.job import InstrumentSettings
from collector.offers import titles_of
from collector.scan import Search
from drivers.base import InputError
from drivers.found import Found
from drivers.registry import KINDS, Kind

NEVER = 'it cannot be looked for here; give its address below, under "It is not in the list"'
SECONDS = 12.0
"""How long a search looks. [s]"""
GRACE = 8.0
"""How much longer it may take to end. [s]"""
UNASKED = 10.0
"""It ends when nobody asked for it for so long: the page is gone. [s]"""


class Searches:
    """One search at a time, as long as the block of its `work` runs; `commands` are what the page may ask.

    `running` are the instruments of the call: what is found of them is told with their name.
    """

    def __init__(
        self,
        *,
        running: Callable[[], Sequence[InstrumentSettings]],
        kinds: Mapping[str, Kind] = KINDS,
        seconds: float = SECONDS,
        unasked: float = UNASKED,
    ) -> None:
        self._running, self._kinds, self._seconds = running, kinds, seconds
        self.work = Attended("search", longest=seconds + GRACE, unasked=unasked)
        self._search: Search | None = None

    @property
    def commands(self) -> Mapping[str, Command]:
        """The commands by their names."""
        return {"scan_start": lambda _: self.start(), "scan_state": self.state, "scan_stop": lambda _: self.stop()}

    def start(self) -> Answer:
        """Begin to look; an earlier search ends, and what it found is forgotten."""
        search = self._search = Search(self._kinds)
        self.work.begin(lambda: search.run(self._seconds))
        return Answer("looking for meters", {"seconds": self._seconds})

    def state(self, _: Given) -> Answer:
        """What is found so far, and why one way cannot look; whoever asks keeps it going."""
        search = self._search
        if search is None:
            raise InputError("nothing is being looked for", "begin a search")
        self.work.ask()
        titles = titles_of(self._kinds)
        troubles = {name: NEVER for name in self._kinds if name not in search.transports} | search.troubles
        told = {
            "running": self.work.running,
            "why": self.work.why,
            "left": max(0.0, self.work.left - GRACE),
            "found": [self._told(one) for one in search.found.values()],
            "troubles": [
                {"title": titles[name], "text": _untitled(text, {name, titles[name]})}
                for name, text in sorted(troubles.items())
            ],
            "dropped": search.dropped,
        }
        return Answer("as it stands", told)

    def stop(self) -> Answer:
        """End the search; what it found stays."""
        self.work.stop()
        return Answer("no longer looking")

    def _told(self, found: Found) -> dict[str, object]:
        there = place(found)
        taken = next((one.name for one in self._running() if place(one) == there), "")
        return {**asdict(found), "taken": taken}


def _untitled(text: str, titles: Collection[str]) -> str:
    """A sentence without whom it is about, where that stands before it already."""
    about, _, rest = text.partition(": ")
    return rest if rest and about.casefold() in {title.casefold() for title in titles} else text
