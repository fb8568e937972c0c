"""Numbers that a person reads off a meter and types in."""

import asyncio
import math
import re
import threading
from collections import deque
from collections.abc import Callable, Collection, Iterable, Mapping
from types import MappingProxyType

from analysis.model import NANOSECONDS, Channel, Reading, with_origin
from analysis.points import MEASURES, POINTS, Measure, nearest
from analysis.units import UnitError, to_inside
from drivers.base import Emit, InputError, Now

LIMIT = 1000
"""Entries kept while no session takes them, and channels. [1]"""
LONGEST_METER = 40
"""[characters]"""
AHEAD = NANOSECONDS
"""How far an entry's time may lie in the future. [ns]"""

_ENTRY = re.compile(r"\s*([-+−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?)\s*([^\d\s.,].*?)?\s*")  # noqa: RUF001


HANDS = "by hand"
"""Name of the driver, and origin of its instruments."""


STEP = 1_000
"""Least time between two entries of a meter; still told apart as float seconds, as 1 ns is not. [ns]"""


class Manual:
    """Driver of what is typed in; entries wait, without a session too, until one emits them.

    One channel per point, meter and unit: a number is kept as it was typed, so another unit is another channel; `known`
    are those that the recording has already, `taken` the times [ns] at which these have readings. An entry may be dated
    back, so times need not rise; two of the same time are told apart by a microsecond. At most `limit` entries wait; a
    further one is refused.
    """

    name = HANDS

    def __init__(
        self,
        now: Now,
        *,
        known: Iterable[Channel] = (),
        taken: Mapping[str, Collection[int]] = MappingProxyType({}),
        limit: int = LIMIT,
    ) -> None:
        self._now = now
        self._limit = limit
        self._lock = threading.Lock()
        self._waiting: deque[tuple[Channel, Reading]] = deque()
        self._channels: dict[str, Channel] = {}
        self._known = {channel.key: channel for channel in known}
        self._recorded = taken
        self._last: dict[str, int] = {}
        """Time of the last entry of now, by channel. [ns]"""
        self._taken: dict[str, dict[int, None]] = {}
        """Times of the last entries of each channel, the oldest first. [ns]"""
        self._wake: Callable[[], object] | None = None
        self._counts = {"entered": 0, "refused": 0}

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Channels entered so far."""
        return tuple(self._channels.values())

    def statistics(self) -> dict[str, int]:
        """Entries taken, refused and still waiting. [1]"""
        return {**self._counts, "waiting": len(self._waiting)}

    def enter(self, point: str, value: float, unit: str, meter: str = "", time: int | None = None) -> Reading:
        """Queue a value read off a meter at `time` [ns], by default now; from any thread.

        Returns the reading as it will be emitted; InputError when it cannot be taken.
        """
        with self._lock:
            try:
                entry = self._checked(point, value, unit.strip(), " ".join(meter.split()), time)
            except InputError:
                self._counts["refused"] += 1
                raise
            channel, reading = entry
            self._channels[channel.key] = channel
            self._take_time(channel.key, reading.time)
            if time is None:
                self._last[channel.key] = reading.time
            self._waiting.append(entry)
            self._counts["entered"] += 1
            if self._wake:
                self._wake()
        return reading

    def _take_time(self, key: str, time: int) -> None:
        taken = self._taken.setdefault(key, {})
        taken[time] = None
        if len(taken) > self._limit:
            del taken[next(iter(taken))]

    async def run(self, emit: Emit) -> None:
        """One session: emit what waits and what is entered, each channel before its first reading; never ends."""
        loop = asyncio.get_running_loop()
        entered = asyncio.Event()
        announced: set[str] = set()
        with self._lock:
            self._wake = lambda: loop.call_soon_threadsafe(entered.set)
        try:
            while True:
                entered.clear()
                while self._waiting:
                    channel, reading = self._waiting[0]
                    if channel.key not in announced:
                        emit(channel)
                        announced.add(channel.key)
                    emit(reading)
                    self._waiting.popleft()  # only now: an entry that was not taken waits for the next session
                    await asyncio.sleep(0)
                await entered.wait()
        finally:
            with self._lock:
                self._wake = None

    def _checked(self, point: str, value: float, unit: str, meter: str, time: int | None) -> tuple[Channel, Reading]:
        if point not in POINTS:
            raise InputError(f"by hand: there is no point '{point}'{nearest(point)}")
        measure = MEASURES[POINTS[point].measure]
        inside = _inside(point, value, unit, measure)
        moment = self._checked_time(point, time)
        if len(meter) > LONGEST_METER or not meter.isprintable() or set(meter) & set("@[]"):
            raise InputError(
                f"by hand: '{meter[:LONGEST_METER]}' cannot be the name of a meter",
                f"use at most {LONGEST_METER} characters without @, [ and ]",
            )
        instrument = with_origin("by hand", meter or "not named")
        channel = Channel(point, instrument, unit)
        known = self._channels.get(channel.key) or self._known.get(channel.key, channel)
        if known.unit != unit and to_inside(known.unit, measure) == to_inside(unit, measure):
            channel = known  # the same unit in another spelling
        elif known.unit != unit:
            channel = Channel(point, f"{instrument} ({unit})", unit)
        if time is None:
            moment = max(moment, self._last.get(channel.key, moment - STEP) + STEP)
        taken, recorded = self._taken.get(channel.key, ()), self._recorded.get(channel.key, ())
        while moment in taken or moment in recorded:  # two numbers of one minute are two readings
            moment += STEP
        if not math.isfinite(inside):
            raise InputError(f"by hand: {value:g} {unit} for {point} is not a finite number", "enter what it shows")
        if len(self._waiting) >= self._limit:
            raise InputError(
                f"by hand: {value:g} {unit} for {point} was not taken, since {self._limit} entries wait already",
                "start the recording that takes them, then enter it again",
            )
        if channel.key not in self._channels and len(self._channels) >= self._limit:
            raise InputError(f"by hand: {self._limit} meters are known already", "use the name of one of them")
        return channel, Reading(channel.key, moment, float(value))

    def _checked_time(self, point: str, time: int | None) -> int:
        now = self._now()
        if time is None:
            return now
        if time > now + AHEAD:
            ahead = (time - now) / NANOSECONDS
            raise InputError(f"by hand: the time of {point} lies {ahead:.0f} s in the future", "correct the time")
        if time < 0:
            raise InputError(f"by hand: the time of {point} lies before 1970", "correct the time")
        return time


def parse_entry(text: str, point: str = "") -> tuple[float, str]:
    """Number and unit as typed, such as `0.52 inH2O`; the unit is empty where none is given. InputError.

    Of a contact also words: closed and open where `point` says that one is closed, on and off at any other, since an
    open valve is on.
    """
    contact = point in POINTS and POINTS[point].measure == "contact"
    words = {"closed": 1.0, "open": 0.0} if point.endswith("_closed") else {"on": 1.0, "off": 0.0}
    if contact and (state := words.get(text.strip().lower())) is not None:
        return state, ""
    match = _ENTRY.fullmatch(text)
    if match is None and contact:
        hint = f"write 1 or 0, or {' or '.join(words)}; 1 is: {POINTS[point].text}"
        raise InputError(f"by hand: '{text[:LONGEST_METER]}' is no state of a contact", hint)
    if match is None:
        hint = "write the decimal sign as a point" if "," in text else "write for example '0.52 inH2O'"
        raise InputError(f"by hand: '{text[:LONGEST_METER]}' is not a number with a unit", hint)
    number, unit = match.groups()
    return float(number.replace("−", "-")), unit or ""  # noqa: RUF001


def _inside(point: str, value: float, unit: str, measure: Measure) -> float:
    """The value in the inside unit of its measure; InputError when the unit does not fit."""
    if not unit and measure.name != "contact":  # a bare 45 for a humidity would be 4500 %
        example = f"{value:g} {measure.trade}"
        raise InputError(f"by hand: {value:g} for {point} has no unit", f"write for example '{example}'")
    try:
        scale, offset = to_inside(unit, measure)
    except UnitError as error:
        raise InputError(f"by hand: {error}", f"{point} is measured in {measure.trade} or {measure.metric}") from error
    return value * scale + offset
