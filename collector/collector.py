"""Takes every reading through one synchronous function and keeps the instruments' supervisors running."""

import asyncio
import math
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, Protocol, runtime_checkable

from analysis.model import Channel, Event, EventKind, Plate, Quality, Reading, Timing
from analysis.points import DERIVED
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmChange, AlarmState
from collector.alarms import Alarms
from collector.arrivals import Arrivals
from collector.attachments import Attachment
from collector.clock import Clock
from collector.derived import MARGINS, Derived
from collector.fanout import FanOut, Value
from collector.first_drop import CHAIN, Drops
from collector.normalize import Normalizer, Zeros, refuse_zero, zeroing
from collector.open_channels import OpenChannels
from collector.recorder import Recorder
from collector.rows import Many, Rows
from collector.sequence import LiveSequence
from collector.sessions import Sessions
from collector.speakers import Speakers
from collector.store import Store
from collector.succession import Succession
from collector.supervisor import Supervisor
from collector.suspicions import Suspicions
from collector.talking import TalkBack
from collector.typed import Typed, is_typed
from drivers.base import Driver, Emission, InputError, Past, SettingsError
from drivers.manual import HANDS

TICK = 0.5
"""Time between two looks at what happens without a reading: shelved alarms, a machine that slept. [s]"""

REMEMBERED = 50
"""Events kept for whoever begins to look on. [1]"""
OUT_OF_RANGE = 2**63
"""A time beyond this cannot be recorded. [ns]"""


@runtime_checkable
class OwnTime(Protocol):
    """A driver whose readings have a time of their own: a replay, or a simulated unit at another pace."""

    def now(self) -> int:
        """Where it stands. [ns]"""
        ...


class Collector:
    """Everything between the drivers and the recording, on one thread."""

    def __init__(
        self,
        store: Store,
        *,
        plate: Plate,
        rules: Sequence[AlarmRule],
        clock: Clock,
        zeros: Zeros | None = None,
        recorded: Iterable[Channel] = (),
        timing: Timing | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.clock = clock
        self._own: OwnTime | None = None
        self.alarms = Alarms(rules)
        self.derived = Derived(plate)
        self.sequence = LiveSequence(timing, plate, failed=self._problem)
        self.drops = Drops()
        self.fanout = FanOut()
        self.recorder = Recorder(store, now=self.now, announce=self._announce, monotonic=monotonic)
        self._sessions = Sessions(now=self.now, gone=self._gone)
        self.latest: dict[str, Value] = {}
        """Last value of each channel and derived quantity, inside units."""
        self.arrivals: dict[str, Arrivals] = {}
        """How the readings of each channel arrive."""
        self.remembered: deque[Event] = deque(maxlen=REMEMBERED)
        """The last events; older ones are in the recording."""
        self.followers: list[Callable[[Event], None]] = []
        """Told of every event that is taken in; alarms are not among them."""
        self.talk_back: TalkBack | None = None
        """Carries notes and requests to whoever is at the unit, where that is watched from here."""
        self._monotonic = monotonic
        self.speakers = Speakers()
        """Which instrument stands for each point."""
        self.succession = Succession()
        """Which channel stands for each meter that showed another unit."""
        self.suspicions = Suspicions(plate)
        self._channels = OpenChannels(zeros or {}, recorded)
        self._native: dict[str, float] = {}
        self._typed = Typed()
        self.opened = 0
        """Goes up whenever a channel is opened or gone, or another one stands for its meter. [1]"""

    @property
    def supervisors(self) -> list[Supervisor]:
        """Those of the instruments that are there."""
        return self._sessions.supervisors

    @property
    def running(self) -> bool:
        """Whether an instrument that is added begins at once."""
        return self._sessions.running

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Channels opened so far."""
        return self._channels.channels

    @property
    def readings(self) -> int:
        """Readings taken in so far. [1]"""
        return sum(arrivals.count for arrivals in self.arrivals.values())

    def now(self) -> int:
        """Time in the recording: where a replay or a simulated unit stands while it is alone, else the clock's. [ns]"""
        return self._own.now() if self._own else self.clock()

    def age(self, channel: str) -> float | None:
        """Time since the last reading of a channel came, or None when none has. [s]"""
        return self.arrivals[channel].age(self._monotonic())

    def add(self, driver: Driver, *, after: Sequence[asyncio.Task[Any]] = ()) -> None:
        """Take a driver in: its known channels are opened now, its sessions begin with `run`, or now while that runs.

        The end of the tasks `after` is waited for before, for a short while: they may hold its port.
        """
        if driver.name != HANDS:
            alone = all(supervisor.driver.name == HANDS for supervisor in self.supervisors)
            # a recording that runs keeps its time
            self._own = driver if isinstance(driver, OwnTime) and alone and not self.running else None
        for channel in driver.channels:
            self.ingest(channel)
        self._sessions.add(Supervisor(driver, self.ingest, now=self.now), after)

    def check(self, driver: Driver) -> None:
        """Refuse a driver whose channels cannot be in this recording: SettingsError, and nothing is opened."""
        for channel in driver.channels:
            self._channels.normalizer(channel)

    def remove(self, name: str, *, told: str = "removed", text: str = "") -> asyncio.Task[None] | None:
        """Let an instrument go: its session ends within two seconds, its channels stay in the recording.

        What its last session still had is recorded, then the event `told` of it; its values hold no alarm and no
        derived quantity any more. Returns the task that does so, None where there was no session to end. InputError
        where there is no instrument of that name.
        """
        return self._sessions.remove(name, told=told, text=text)

    def _gone(self, supervisor: Supervisor, event: Event) -> None:
        if isinstance(supervisor.driver, OwnTime) and self._own is supervisor.driver:
            self._own = None
        kept = {key for other in self.supervisors for key in other.channels}
        for channel in supervisor.channels.values():
            if channel.key not in kept:
                self._forget(channel.key, channel.point)
        self.ingest(replace(event, time=self.now()))

    def _forget(self, key: str, point: str) -> None:
        """A channel that nothing reads any more is no present."""
        self.opened += 1
        self._channels.close(key)
        for known in (self._native, self.latest):
            known.pop(key, None)
        now = self.now()
        changes = self.alarms.forget(point, key, now)
        self.drops.forget(key)
        if self.speakers.forget(point, key):
            self.sequence.forget(point)
            self.suspicions.forget(point)
            for name in self.derived.forget(point):
                if self.latest.pop(name, None):
                    changes += self.alarms.forget(name, name, now)
        self.apply(changes)

    def ingest(self, item: Emission) -> None:
        """Take one item in: normalize, remember, queue for the store, step the alarms, offer to listeners.

        Raises SettingsError for a channel whose point or unit cannot be, and for a reading of a channel not announced.
        """
        if isinstance(item, Reading):
            self._ingest_reading(item)
        elif isinstance(item, Event):
            if item.kind is EventKind.ZEROED:
                self._channels.zero(item)
            elif item.kind is EventKind.UNIT_CHANGED:
                self._unit_changed(item)
            self.recorder.put(item)
            for follow in self.followers:
                follow(item)
            self._announce(item)
            if item.kind is EventKind.WITHDRAWN:
                self._withdrawn(item)
            elif item.data.get("what") == "seek":
                self._typed.moved()
            if item.data.get("what") in ("seek", "loop"):
                self.sequence.begin_anew()
        else:
            self._open(item)

    def record_past(self, past: Past) -> None:
        """Record readings that are no present; SettingsError for a channel that was not announced."""
        if self._channels.get(past.channel) is None:
            raise SettingsError(past.channel, "gave readings of a channel it never announced", "report it")
        self.recorder.put(Many(past.channel, Rows(past.time, past.value, past.quality)))

    def _ingest_reading(self, reading: Reading) -> None:
        normalizer = self._channels.get(reading.channel)
        if not isinstance(reading.value, float | int) or not -OUT_OF_RANGE <= reading.time < OUT_OF_RANGE:
            raise SettingsError(reading.channel, f"gave {reading!r}, which is no reading", "report it")
        if normalizer is None:
            raise SettingsError(reading.channel, "gave a reading of a channel it never announced", "report it")
        self.recorder.put(reading)
        if (standing := self.succession.standing(reading.channel)) != reading.channel:
            self._change_over(standing, reading.channel, reading.time)  # its old unit again, or a replay that was moved
        self.arrivals[reading.channel].arrive(self._monotonic())
        if not is_typed(normalizer.channel.instrument) or self._typed.take(reading):
            self._show(normalizer, reading)

    def _show(self, normalizer: Normalizer, reading: Reading) -> None:
        """A reading is what its meter shows now."""
        value, quality = normalizer(reading.value, reading.quality, reading.time)
        self._native[reading.channel] = reading.value
        point = normalizer.channel.point
        self._offer(reading.channel, point, reading.time, value, quality, typed=is_typed(normalizer.channel.instrument))
        if point in CHAIN:
            self.drops.step(reading.channel, point, reading.time, value, quality)
        if not self.speakers.hear(point, reading.channel, reading.time, quality):
            return
        self.sequence.step(reading.channel, point, reading.time, value, quality)
        for event in self.suspicions.step(point, reading.time, value, quality, normalizer.channel.instrument):
            self.ingest(event)
        for name, derived, derived_quality in self.derived.step(point, reading.time, value, quality):
            self._offer(name, name, reading.time, derived, derived_quality)

    def _withdrawn(self, event: Event) -> None:
        """What was typed in counts as never read: the entry before it stands again, or there is no value."""
        key, at = str(event.data["channel"]), int(str(event.data["at"]))
        normalizer = self._channels.get(key)
        if not self._typed.withdraw(key, at) or normalizer is None:
            return
        self.apply(self.alarms.withdraw(key, self.now()))
        if self.speakers.of.get(normalizer.channel.point) == key:
            self.sequence.forget(normalizer.channel.point)
        self._show(normalizer, self._typed.newest(key) or Reading(key, at, math.nan, Quality.BAD))

    def attach(self, attachment: Attachment, content: bytes, event: Event) -> None:
        """Record a file beside the readings, which do not wait for it; the event follows when all of it is durable.

        InputError when too much waits already: then nothing was taken.
        """
        self.recorder.attach(attachment, content, lambda: self.ingest(event))

    def _offer(self, key: str, point: str, time: int, value: float, quality: Quality, *, typed: bool = False) -> None:
        item = (key, time, value, quality)
        self.latest[key] = item
        for change in self.alarms.step(point, time, value, quality, key, typed=typed):
            self._alarm_changed(change)
        self.fanout.offer(item)

    def _open(self, channel: Channel) -> None:
        if self._channels.open(channel):
            self.opened += 1
            self.arrivals.setdefault(channel.key, Arrivals())
            self.recorder.put(channel)

    def _unit_changed(self, event: Event) -> None:
        """A meter shows another unit: its zero, what it stands for and what alarms hold of it go over to the other."""
        before, after = (self._channels.get(str(event.data.get(end))) for end in ("from", "to"))
        if before is None or after is None or before.channel.point != after.channel.point:
            return
        self._change_over(before.channel.key, after.channel.key, event.time)

    def _change_over(self, before: str, after: str, time: int) -> None:
        if (old := self._channels.get(before)) and (zeroed := old.carried_to(self._channels[after], time)):
            self.ingest(zeroed)
        self.succession.change(before, after)
        self.speakers.change_over(self._channels.point_of(after), before, after)
        self.alarms.change_over(before, after)
        self.latest.pop(before, None)
        self._native.pop(before, None)
        self.opened += 1

    def _announce(self, event: Event) -> None:
        self.remembered.append(event)
        self.fanout.offer(event)

    def _problem(self, text: str) -> None:
        self.ingest(Event(self.now(), EventKind.PROBLEM, text))

    def _alarm_changed(self, change: AlarmChange) -> None:
        data = {"alarm": change.name, "from": str(change.from_state), "to": str(change.to_state)}
        event = Event(change.time, EventKind.ALARM, change.text, change.name, data)
        self.recorder.put(event)
        if {change.from_state, change.to_state} != {AlarmState.NORMAL, AlarmState.SUPPRESSED}:
            self._announce(event)  # an alarm that only begins or ends to be watched is for the recording alone

    def apply(self, changes: Sequence[AlarmChange]) -> None:
        """Record and announce changes of alarms that a command or the clock brought about."""
        for change in changes:
            self._alarm_changed(change)

    def use_job(self, plate: Plate, rules: Sequence[AlarmRule], timing: Timing | None = None) -> None:
        """Take another plate and other alarms into force at once; ValueError, and nothing changed, where they clash.

        No reading is touched; what the plate gives for pressures that are there already is offered with their times.
        """
        Alarms(rules)  # refuses what cannot be watched together before anything changes
        self.derived.use(plate)
        self.suspicions.use(plate)
        self.sequence.use(timing, plate)
        known = [name for name in DERIVED if name in self.latest]
        again = {name: (name, time, value, quality) for time, (name, value, quality) in self.derived.again()}
        for name in known:
            if name in MARGINS and name not in again:  # without a switch point there is none
                del self.latest[name]
                self.fanout.offer((name, self.now(), math.nan, Quality.BAD))
        for name, item in again.items():
            self.latest[name] = item
            self.fanout.offer(item)
        held = [(self._channels.point_of(key), *item) for key, item in self.latest.items()]
        self.apply(self.alarms.use(rules, held, self.now()))

    def zero(self, channel: str) -> Event:
        """Zero a meter at what it shows now; raw values stay as they are. InputError when that cannot be its zero."""
        normalizer, native = self._channels.get(channel), self._native.get(channel, math.nan)
        if normalizer is None or math.isnan(native):
            raise InputError(f"there is no reading of '{channel}' to zero", "wait until the meter shows a value")
        refuse_zero(normalizer.channel, native)
        return self._zero_at(normalizer, native)

    def undo_zero(self, channel: str) -> Event:
        """Take a meter as it shows again, from now on; InputError when it is not zeroed."""
        normalizer = self._channels.get(channel)
        if normalizer is None or channel not in self.latest or not self.zeros(channel):
            raise InputError(f"'{channel}' is not zeroed", "there is nothing to undo")
        return self._zero_at(normalizer, 0.0)

    def _zero_at(self, normalizer: Normalizer, native: float) -> Event:
        event = zeroing(normalizer.channel, native, self.latest[normalizer.channel.key][1] + 1)
        self.ingest(event)
        return event

    def zeros(self, channel: str) -> float:
        """What a channel's meter is taken to show at nothing now. [native unit]"""
        latest = self.latest.get(channel)
        return self._channels[channel].zero_at(latest[1] + 1) if latest else 0.0

    def zeroed_since(self, channel: str) -> int | None:
        """From when on a channel's zero holds, None where its meter is taken as it shows. [ns]"""
        latest = self.latest.get(channel)
        return self._channels[channel].zeroed_since(latest[1] + 1) if latest else None

    async def run(self) -> None:
        """Run until cancelled: then the sessions end, and what is queued is written before this returns."""
        recording = asyncio.create_task(self.recorder.run(), name="recorder")
        sessions = asyncio.create_task(self._sessions.run(self._tick), name="sessions")
        try:
            await asyncio.wait([recording, sessions], return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._sessions.stop()
            sessions.cancel()
            await asyncio.wait([sessions])
            self.recorder.stop()
            await asyncio.shield(recording)
        if not sessions.cancelled() and (error := sessions.exception()):
            raise error

    async def _tick(self) -> None:
        while True:
            await asyncio.sleep(TICK)
            self.apply(self.alarms.tick(self.now()))
            if (slept := self.clock.woke()) > 0:
                text = f"the machine slept for {slept:.0f} s; time was set anew from its clock"
                self.ingest(Event(self.clock(), EventKind.CLOCK, text, None, {"slept": slept}))
