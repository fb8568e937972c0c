"""Whether hoses, probes or leads may be swapped: suspected and said, and no value is changed."""

import math
from dataclasses import dataclass

from analysis.model import NANOSECONDS, Event, EventKind, Plate, Quality
from collector.suspicion_rules import OF, WATCHED, Held, Look, Rule

CLEAR = 5.0
"""How long signs have to be right before it is over. [s]"""


@dataclass(frozen=True, slots=True)
class Suspicion:
    """One that holds."""

    name: str
    points: tuple[str, ...]
    """What is doubtful."""
    instruments: tuple[str, ...]
    word: str
    """In three words or four."""
    text: str
    """One sentence for people."""
    since: int
    """When the signs were first wrong. UTC since 1970. [ns]"""


class Suspicions:
    """Follows the signs of what is measured; a point whose time went back begins all anew."""

    def __init__(self, plate: Plate) -> None:
        self._look = Look(plate)
        self._begin_anew()

    def use(self, plate: Plate) -> None:
        """Work with this plate from now on."""
        self._look.use(plate)

    def _begin_anew(self) -> None:
        self._look.held.clear()
        self._look.now = 0
        self._wrong: dict[str, int] = {}
        self._right: dict[str, int] = {}
        self._told: dict[str, Suspicion] = {}

    def step(self, point: str, time: int, value: float, quality: Quality, instrument: str) -> list[Event]:
        """Take a point's value [inside unit] at `time` [ns]; what begins to be suspected, or is over."""
        if point not in WATCHED:
            return []
        before = self._look.held.get(point)
        if before is not None and time < before.time - NANOSECONDS:
            self._begin_anew()
        self._look.now = max(self._look.now, time)
        if quality is Quality.BAD or math.isnan(value):
            self._look.held.pop(point, None)
        else:
            self._look.held[point] = Held(time, value, instrument)
        return [event for name, rule in OF.get(point, ()) for event in self._judge(name, rule)]

    def forget(self, point: str) -> None:
        """Nothing reads a point any more: nothing can be said of it."""
        self._look.held.pop(point, None)
        for name, _ in OF.get(point, ()):
            for known in (self._wrong, self._right, self._told):
                known.pop(name, None)

    def told(self) -> list[Suspicion]:
        """What is suspected now."""
        return list(self._told.values())

    def _judge(self, name: str, rule: Rule) -> list[Event]:
        wrong, now = rule.wrong(self._look), self._look.now
        if wrong is not True:
            self._wrong.pop(name, None)
        if wrong is not False:
            self._right.pop(name, None)
        if wrong is True and name not in self._told:
            since = self._wrong.setdefault(name, now)
            return self._suspect(name, rule, since) if now - since >= rule.hold * NANOSECONDS else []
        if wrong is False and name in self._told:
            since = self._right.setdefault(name, now)
            if now - since >= CLEAR * NANOSECONDS:
                return self._over(name)
        return []

    def _suspect(self, name: str, rule: Rule, since: int) -> list[Event]:
        held = [self._look.held[point].instrument for point in rule.points if point in self._look.held]
        instruments = tuple(dict.fromkeys(held))
        told = Suspicion(name, rule.points, instruments, rule.word, f"{', '.join(instruments)}: {rule.text}", since)
        self._told[name] = told
        return [Event(self._look.now, EventKind.PROBLEM, told.text, instruments[0], {"suspicion": name, "over": False})]

    def _over(self, name: str) -> list[Event]:
        told = self._told.pop(name)
        text = f"{', '.join(told.instruments)}: {told.word} no longer, the signs are as they should be"
        return [Event(self._look.now, EventKind.PROBLEM, text, told.instruments[0], {"suspicion": name, "over": True})]
