"""A trial of a meter beside the call: a session of its own, shown live, in no recording."""

import asyncio
import math
import time
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from analysis.model import Channel, Event, EventKind, Quality, Reading
from analysis.points import measure_of
from analysis.units import UnitError, to_inside
from collector.arguments import Answer, Command, Given
from collector.attended import Attended
from collector.instruments import cautions
from collector.job import InstrumentSettings
from collector.job_check import Found
from collector.running import Running
from collector.supervisor import Supervisor
from drivers.base import Driver, Emission, InputError, Now, SettingsError

LONGEST = 180.0
"""A trial ends after this. [s]"""
UNASKED = 10.0
"""A trial ends when nobody asked how it stands for so long: the page is gone. [s]"""
KEPT = 120
"""Readings of a value that are kept; the oldest leave, what they showed is in the lowest and highest. [1]"""
MOST = 64
"""Values of one meter that are followed; readings of further ones are counted. [1]"""
MOVED = {
    "pressure": 2.5,
    "temperature": 0.5,
    "humidity": 0.01,
    "flame_current": 0.1e-6,
    "voltage": 0.5,
    "current": 0.05,
    "speed": 50.0,
    "fraction": 0.002,
    "trace": 2e-6,
    "contact": 0.5,
}
"""A value that went so far has moved, and does not only flicker; our choice. [inside unit]"""


class Watched:
    """One value of a meter on trial."""

    def __init__(self, channel: Channel) -> None:
        self.channel = channel
        self.count = 0
        self.quality = Quality.BAD
        self._heard = 0.0
        self._last = math.nan
        self._low, self._high = math.inf, -math.inf
        self._recent: deque[float] = deque(maxlen=KEPT)
        try:
            self._scale, self._offset = to_inside(channel.unit, measure_of(channel.point))
        except UnitError as error:
            raise SettingsError(channel.instrument, str(error)) from error

    def take(self, reading: Reading, now: float) -> None:
        """A reading that came at `now` [s]."""
        self.count += 1
        self.quality, self._last, self._heard = reading.quality, reading.value, now
        if reading.quality is not Quality.BAD and math.isfinite(reading.value):
            self._low, self._high = min(self._low, reading.value), max(self._high, reading.value)
            self._recent.append(reading.value)

    def told(self, now: float) -> dict[str, object]:
        """Plain JSON values: `value` and `by` in the inside unit, `native` and `recent` in the meter's."""
        good = self.quality is not Quality.BAD and math.isfinite(self._last)
        by = abs((self._high - self._low) * self._scale) if self._recent else 0.0
        return {
            "point": self.channel.point,
            "unit": self.channel.unit,
            "native": self._last if good else None,
            "value": self._last * self._scale + self._offset if good else None,
            "quality": int(self.quality),
            "age": now - self._heard if self.count else None,
            "count": self.count,
            "by": by,
            "moved": by >= MOVED[measure_of(self.channel.point).name],
            "recent": list(self._recent),
        }


class Trial:
    """A driver's sessions into a bounded buffer."""

    def __init__(self, driver: Driver, *, now: Now, monotonic: Callable[[], float] = time.monotonic) -> None:
        self.supervisor = Supervisor(driver, self._take, now=now)
        self.uncounted = 0
        """Readings of values beyond those that are followed. [1]"""
        self._monotonic = monotonic
        self._values: dict[str, Watched] = {}
        self._said = ""
        for channel in driver.channels:
            self._take(channel)

    def _take(self, item: Emission) -> None:
        if isinstance(item, Event):
            if item.kind is EventKind.PROBLEM:
                self._said = item.text
        elif isinstance(item, Reading):
            if found := self._values.get(item.channel):
                found.take(item, self._monotonic())
            else:
                self.uncounted += 1
        else:
            self._watch(item)

    def _shown(self) -> list[Watched]:
        """Values without those whose point came in another unit instead."""
        read = {value.channel.point for value in self._values.values() if value.count}
        return [value for value in self._values.values() if value.count or value.channel.point not in read]

    def _watch(self, channel: Channel) -> None:
        known = self._values.get(channel.key)
        if (known and known.channel == channel) or (known is None and len(self._values) >= MOST):
            return
        self._values[channel.key] = Watched(channel)

    def _statistics(self) -> Mapping[str, Any]:
        """What its driver counts, where it does."""
        ask = getattr(self.supervisor.driver, "statistics", None)
        return ask() if callable(ask) else {}

    def told(self) -> dict[str, object]:
        """How it stands; plain JSON values."""
        status, now = self.supervisor.status, self._monotonic()
        return {
            "name": status.name,
            "state": str(status.state),
            "text": status.text,
            "said": self._said,
            "values": [value.told(now) for value in self._shown()],
            "uncounted": self.uncounted,
            "unreadable": self._statistics().get("unreadable", 0),
        }


class Trials:
    """One trial at a time, as long as the block of its `work` runs; `commands` are what the page may ask.

    `examine` says what there is to say of the job with one more instrument, `running` are those of the call. What is
    taken into the call ends the trial before.
    """

    def __init__(
        self,
        examine: Callable[[object], Found],
        running: Running,
        *,
        now: Now,
        longest: float = LONGEST,
        unasked: float = UNASKED,
    ) -> None:
        self._examine, self._running, self._now = examine, running, now
        running.holding = self.holding
        self.work = Attended("trial", longest=longest, unasked=unasked)
        self._trial: Trial | None = None
        self._number = 0

    @property
    def commands(self) -> Mapping[str, Command]:
        """The commands by their names."""
        return {"trial_start": self.start, "trial_state": self.state, "trial_stop": lambda _: self.stop()}

    def start(self, given: Given) -> Answer:
        """Begin with an instrument as the job file would have it; an earlier trial ends. Mistakes are told instead."""
        found = self._examine(given.get("instrument"))
        if found.job is None:
            mistakes = [{"key": one.key, "text": one.text} for one in found.mistakes]
            return Answer("this has to be corrected first", {"started": False, "mistakes": mistakes})
        settings = found.job.instruments[-1]
        if holder := self._holder(settings):
            raise InputError(f"{settings.address} is read as '{holder}' in this call already", "choose another address")
        (driver,) = self._running.make([settings])
        self._trial = trial = Trial(driver, now=self._now)
        self._number += 1
        self.work.begin(trial.supervisor.run)
        told = {"started": True, "number": self._number, "cautions": cautions([settings])}
        return Answer("on trial; nothing of it is recorded", told)

    def state(self, given: Given) -> Answer:
        """How a trial stands, by its number; whoever asks keeps it going."""
        if self._trial is None:
            raise InputError("nothing is on trial", "begin again")
        if given.get("number") != self._number:
            raise InputError("another trial was begun meanwhile, on another page", "begin again")
        self.work.ask()
        told = {"running": self.work.running, "why": self.work.why, "left": self.work.left, **self._trial.told()}
        return Answer("as it stands", told)

    def stop(self) -> Answer:
        """End the trial."""
        self.work.stop()
        return Answer("the trial is over")

    def holding(self) -> list[asyncio.Task[Any]]:
        """End the trial, since the port is wanted; its tasks."""
        return self.work.stop("ended, since the meter was taken into the call")

    def _holder(self, wanted: InstrumentSettings) -> str:
        """Name of the instrument of the call that has the same port under another name; empty where none has."""
        if wanted.driver != "serial" or not wanted.address:
            return ""
        port = Path(wanted.address).resolve()
        same = (one for one in self._running.settings if one.driver == "serial" and one.address)
        return next((one.name for one in same if Path(one.address or "").resolve() == port), "")
