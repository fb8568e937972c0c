"""The instruments of a job in a running call: when another job is taken, those that differ stop and start."""

import asyncio
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from analysis.model import Event, EventKind
from collector.collector import Collector
from collector.instruments import cautions
from collector.job import InstrumentSettings
from drivers.base import Driver, InputError
from drivers.registry import KINDS

Make = Callable[[Iterable[InstrumentSettings]], list[Driver]]
"""Drivers of instruments, in their order, with what those that run share; InputError where one cannot be made."""

ON_PAPER = frozenset({"isolated"})
"""Keys that no driver works with: a session goes on where only they differ."""


@dataclass(frozen=True, slots=True)
class Step:
    """From the instruments that run to those of another job: everything is made, nothing is started."""

    settings: tuple[InstrumentSettings, ...]
    gone: tuple[str, ...] = ()
    changed: Mapping[str, str] = field(default_factory=dict)
    """Names, and the keys that differ."""
    made: Mapping[str, Driver] = field(default_factory=dict)
    """New and changed ones, by name."""
    replays: tuple[str, ...] = ()
    """Replays that the other job has otherwise: they begin and end with a call."""


class Running:
    """Follows the job; without `make` the instruments stay as they are."""

    def __init__(
        self, collector: Collector, instruments: Iterable[InstrumentSettings], make: Make | None = None
    ) -> None:
        self._collector = collector
        self._make = make
        self.holding: Callable[[], Sequence[asyncio.Task[Any]]] = tuple
        """Ends what else may hold a port that is wanted now, and gives its tasks."""
        self.settings = tuple(instruments)
        """In force."""

    def make(self, instruments: Iterable[InstrumentSettings]) -> list[Driver]:
        """A driver for each, with what those that run share; LightoffError where one cannot be made."""
        if self._make is None:
            raise InputError("the instruments of this call stay as they are", "start `lightoff record`")
        return self._make(instruments)

    def prepare(self, instruments: Iterable[InstrumentSettings]) -> Step:
        """What another job's instruments need; LightoffError where one cannot be, and nothing is changed."""
        wanted = tuple(instruments)
        before, after = _followed(self.settings), _followed(wanted)
        changed = {name: _different(before[name], one) for name, one in after.items() if name in before}
        anew = [one for name, one in after.items() if name not in before or set(changed[name]) - ON_PAPER]
        made = dict(zip((one.name for one in anew), self.make(anew) if anew else (), strict=True))
        for driver in made.values():
            self._collector.check(driver)
        return Step(
            wanted,
            gone=tuple(name for name in before if name not in after),
            changed={name: ", ".join(keys) for name, keys in changed.items() if keys},
            made=made,
            replays=_replays_changed(self.settings, wanted),
        )

    def cautions(self, step: Step) -> list[str]:
        """What must be minded before what is new or changed begins."""
        return cautions(one for one in step.settings if one.name in step.made or one.name in step.changed)

    def follow(self, step: Step) -> None:
        """Stop what is gone, start what is new, both for what is changed; each is an event of the recording."""
        collector = self._collector
        ending = [collector.remove(name, text="removed from the job") for name in step.gone]
        for name, keys in step.changed.items():
            if name in step.made:
                ending.append(collector.remove(name, told="changed", text=f"changed in the job: {keys}"))
            else:
                self._tell(name, "changed", f"changed in the job: {keys}")
        tasks = [*(task for task in ending if task), *(self.holding() if step.made else ())]
        for name, driver in step.made.items():
            if name not in step.changed:
                self._tell(name, "added", "added to the job")
            collector.add(driver, after=tasks)
        for caution in self.cautions(step):
            collector.ingest(Event(collector.now(), EventKind.PROBLEM, caution))
        self.settings = step.settings

    def _tell(self, name: str, state: str, text: str) -> None:
        data = {"state": state, "text": text}
        self._collector.ingest(Event(self._collector.now(), EventKind.INSTRUMENT, f"{name}: {text}", name, data))


def _followed(settings: Iterable[InstrumentSettings]) -> dict[str, InstrumentSettings]:
    """Those with a driver that comes and goes, by name."""
    return {one.name: one for one in settings if one.driver in KINDS}


def _different(before: InstrumentSettings, after: InstrumentSettings) -> list[str]:
    """Keys that differ."""
    now = dict(after)
    return [key for key, value in dict(before).items() if now[key] != value]


def _replays_changed(before: Iterable[InstrumentSettings], after: Iterable[InstrumentSettings]) -> tuple[str, ...]:
    one, other = (
        {(it.name, it.address) for it in some if it.driver == "replay" and it.address} for some in (before, after)
    )
    return tuple(sorted({name for name, _ in one ^ other}))
