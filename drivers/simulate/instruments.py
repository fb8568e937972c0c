"""What meters show of a plant: lag, delay, errors within their class, noise, resolution, drop-outs, clocks, moves.

What is true is only looked at; the same plant seen by other meters is the same plant. Not modelled: hysteresis,
warm-up, and errors of a sensor that change while it is used.
"""

import math
from collections import deque
from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from analysis.model import NANOSECONDS, Channel, Event, EventKind, with_origin
from analysis.points import POINTS, measure_of
from analysis.units import conversion
from drivers.simulate.lags import Lags
from drivers.simulate.meters import DropOuts, Input, Meter, MeterClock
from drivers.simulate.observed import Block, Observed, Readings
from drivers.simulate.sensor_errors import drawn_errors

Array = NDArray[np.float64]
Ticks = NDArray[np.int64]

TICK = NANOSECONDS // 1000
"""Readings have times of whole milliseconds. [ns]"""
_HANDLED = 10.0
"""Noise while a hose is in somebody's hand over that on a tap; our choice. [1]"""
_AROUND = {"temperature": "temp_room", "humidity": "humidity_room"}
"""What a probe sees that is carried from one place to another; a pressure meter sees nothing, the room's."""


class Observer:
    """Looks at a plant through meters, block by block; into what blocks the time is cut changes nothing.

    Each meter draws from streams of its own, so that one more changes no other. The true errors of each sensor are
    drawn once, within its statement: what is of the reading as a gain, what is an amount or of a full scale as an
    offset, a tolerance as one share of whatever is greater, rectangular; a stated uncertainty normal.
    """

    def __init__(self, meters: Iterable[Meter], seed: int) -> None:
        self._samplers: list[_Sampler] = []
        column = 0
        for meter in meters:
            self._samplers.append(_Sampler(meter, seed, column))
            column += len(meter.inputs)
        names = [sampler.meter.name for sampler in self._samplers]
        if len(set(names)) < len(names):
            raise ValueError(f"two meters of one name among {', '.join(names)}")
        self._probes = [probe for sampler in self._samplers for probe in sampler.probes]
        sensors = [probe.entry.sensor for probe in self._probes]
        self._delay = max((sensor.delay for sensor in sensors), default=0.0)
        self._lags = Lags([sensor.response_time for sensor in sensors])
        self._begun: set[str] = set()

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Channels of the points that the meters are on first; a moved one has further ones."""
        return tuple(probe.channels[0] for probe in self._probes)

    def slack(self, time: float) -> float:
        """How far the time of a reading taken after `time` [s] may lie before it. [s]"""
        clocks = [sampler.meter.clock for sampler in self._samplers]
        return max([0.0, *(clock.jitter - clock.offset - clock.drift * 1e-6 * time for clock in clocks)])

    def observe(self, block: Block) -> Observed:
        """What the meters show; ValueError for a block that does not go on evenly where the last one ended."""
        time = np.asarray(block.time, np.float64)
        if not time.size:
            return Observed((), (), ())
        truth = np.full((time.size, len(self._probes)), np.nan)
        for column, probe in enumerate(self._probes):
            truth[:, column] = probe.truth(block)
        truth[~np.isfinite(truth)] = np.nan
        first = len(self._lags.time)
        self._lags.follow(time, truth)
        readings: list[Readings] = []
        events: list[Event] = []
        for sampler in self._samplers:
            readings += (found for found in sampler.read(self._lags, first) if found.time.size)
            events += sampler.moved(float(time[-1]))
        self._lags.forget(float(time[-1]) - self._delay)
        begun = [found.channel for found in readings if found.channel.key not in self._begun]
        self._begun.update(channel.key for channel in begun)
        return Observed(tuple(begun), tuple(readings), tuple(events))


class _Probe:
    """One input: where it is, its true errors, and what it shows."""

    def __init__(self, entry: Input, column: int, meter: Meter, generator: np.random.Generator) -> None:
        sensor, measure = entry.sensor, measure_of(entry.point)
        self.entry, self.column = entry, column
        points = [entry.point, *(move.point for move in entry.moves)]
        instrument = with_origin("simulated", meter.name)
        limits = (sensor.unit, sensor.low, sensor.high, sensor.accuracy, sensor.response_time or None)
        self.channels = [Channel(point, instrument, *limits) for point in points]
        self.turns = np.array([_ticks(move.time, meter.clock) for move in entry.moves], np.int64)
        """When readings begin to belong to the next point. [ms]"""
        self._scale, self._offset = conversion(measure.inside, sensor.unit, difference=measure.difference)
        self._errors = drawn_errors(sensor, measure, generator)
        self.last = -(2**62)
        """Time of the last reading of a meter that reports on change. [ms]"""
        self.before = math.nan
        """What it showed last. [native unit]"""

    def truth(self, block: Block) -> Array:
        """What is there where the input is, hose in hand or on a tap. [inside unit]"""
        found = _of(block, self.entry.point)
        for move in self.entry.moves:
            found = np.where(block.time >= move.time, _of(block, move.point), found)
        if self.entry.moves:
            measure = POINTS[self.entry.point].measure
            around = 0.0 if measure == "pressure" else _of(block, _AROUND.get(measure, ""))
            found = np.where(self._in_hand(block.time), around, found)
        return found

    def _in_hand(self, time: Array) -> NDArray[np.bool_]:
        found = np.zeros(time.shape, np.bool_)
        for move in self.entry.moves:
            found |= (time >= move.time - move.before) & (time < move.time + move.after)
        return found

    def show(self, inside: Array, noise: Array | float, time: Array) -> Array:
        """What the meter prints, with as many digits as its resolution has, and no more than its range."""
        sensor = self.entry.sensor
        native = inside * self._scale + self._offset
        shown = native + self.entry.unzeroed
        for error in self._errors:
            shown = shown + error.at(native)
        handled = np.where(self._in_hand(time), _HANDLED, 1.0) if self.entry.moves else 1.0
        shown = shown + sensor.noise * noise * handled
        rounded = np.round(np.rint(shown / sensor.resolution) * sensor.resolution, sensor.decimals) + 0.0
        return np.clip(rounded, sensor.low, sensor.high)

    def split(self, ticks: Ticks, value: Array) -> Iterator[Readings]:
        """Readings of each point that the input was on."""
        there = ~np.isnan(value)
        ticks, value = ticks[there], value[there]
        turns = [0, *np.searchsorted(ticks, self.turns).tolist(), ticks.size]
        for channel in dict.fromkeys(self.channels):
            parts = [slice(*turns[n : n + 2]) for n, other in enumerate(self.channels) if other == channel]
            times = np.concatenate([ticks[part] for part in parts])
            yield Readings(channel, times * TICK, np.concatenate([value[part] for part in parts]))


class _Sampler:
    """One meter: when it looks, what gets through, and when it says that was."""

    def __init__(self, meter: Meter, seed: int, column: int) -> None:
        streams = np.random.SeedSequence([seed, *meter.name.encode()]).spawn(4)
        own, self._noise, self._jitter, silences = (np.random.default_rng(stream) for stream in streams)
        self.meter = meter
        self._every = (1 / meter.rate if meter.rate else meter.repeat) / (1 + meter.clock.drift * 1e-6)
        self._phase = self._every - own.uniform(0.0, self._every)  # never at nothing
        self._first: float | None = None
        self._taken = 0
        self._last = -(2**62)
        self._silences = _Silences(meter.drop_outs, silences)
        self.probes = [_Probe(entry, column + n, meter, own) for n, entry in enumerate(meter.inputs)]
        turns = [(move.time, probe, n) for probe in self.probes for n, move in enumerate(probe.entry.moves)]
        self._moves = deque(sorted(turns, key=lambda turn: turn[0]))

    def read(self, lags: Lags, first: int) -> Iterator[Readings]:
        """What comes of the times from row `first` on."""
        end = float(lags.time[-1])
        if self._first is None:
            self._first = float(lags.time[0]) + self._phase
        most = max(int((end - self._first) / self._every) - self._taken + 2, 0)
        time: Array = self._first + np.arange(self._taken, self._taken + most, dtype=np.float64) * self._every
        time = time[time <= end]
        self._taken += time.size
        self._silences.until(end)
        if self.meter.rate is None:
            return self._changes(lags, first, time)
        return self._samples(lags, time) if time.size else iter(())

    def _samples(self, lags: Lags, time: Array) -> Iterator[Readings]:
        jitter = self._jitter.uniform(-1.0, 1.0, time.size) * self.meter.clock.jitter
        ticks = _rising(_ticks(time + jitter, self.meter.clock), self._last)
        self._last = int(ticks[-1])
        noise = self._noise.standard_normal((time.size, len(self.probes)))
        heard = self._silences.heard(time)
        time, ticks, noise = time[heard], ticks[heard], noise[heard]
        for own, probe in zip(noise.T, self.probes, strict=True):
            inside = lags.straight(time - probe.entry.sensor.delay, probe.column)
            yield from probe.split(ticks, probe.show(inside, own, time))

    def _changes(self, lags: Lags, first: int, repeats: Array) -> Iterator[Readings]:
        rows = lags.time[first:]
        for probe in self.probes:
            shown = probe.show(lags.shown[first:, probe.column], 0.0, rows)
            changed = (shown != np.concatenate([[probe.before], shown[:-1]])) & ~np.isnan(shown)
            probe.before = float(shown[-1])
            if not (repeats.size or changed.any()):
                continue
            time = np.union1d(rows[changed], repeats)
            ticks = _rising(_ticks(time, self.meter.clock), probe.last)
            probe.last = int(ticks[-1])
            heard = self._silences.heard(time)
            value = probe.show(lags.held(time[heard], probe.column), 0.0, time[heard])
            yield from probe.split(ticks[heard], value)

    def moved(self, end: float) -> Iterator[Event]:
        """What the technician says about moves up to `end` [s] and the jitter of the clock after it."""
        while self._moves and self._moves[0][0] - 2 * self.meter.clock.jitter <= end:
            _, probe, number = self._moves.popleft()
            old, new = probe.channels[number : number + 2]
            text = f"{old.instrument}: moved from {POINTS[old.point].text} to {POINTS[new.point].text}"
            data = {"channel": old.key, "point": new.point}
            yield Event(int(probe.turns[number]) * TICK, EventKind.POINT_CHANGED, text, old.instrument, data)


class _Silences:
    """Spans in which nothing is heard of a meter: exponential gaps, exponential lengths."""

    def __init__(self, drop_outs: DropOuts, generator: np.random.Generator) -> None:
        self._drop_outs, self._generator = drop_outs, generator
        self._spans: list[tuple[float, float]] = []
        self._end = -math.inf

    def until(self, end: float) -> None:
        """Draw on to `end` [s] and forget those that were over before the last one."""
        if not self._drop_outs.per_minute:
            return
        self._spans = [span for span in self._spans if span[1] > self._end]
        self._end = end
        while not self._spans or self._spans[-1][0] <= end:
            after = self._spans[-1][1] if self._spans else 0.0
            begin = after + self._generator.exponential(60.0 / self._drop_outs.per_minute)
            self._spans.append((begin, begin + self._generator.exponential(self._drop_outs.mean_length)))

    def heard(self, time: Array) -> NDArray[np.bool_]:
        """Whether something is heard at each time."""
        begins, ends = np.array(self._spans).reshape(-1, 2).T
        found: NDArray[np.bool_] = np.searchsorted(begins, time, "right") == np.searchsorted(ends, time, "right")
        return found


def _of(block: Block, point: str) -> Array:
    values = block.values.get(point)
    return np.full(block.time.shape, np.nan) if values is None else np.asarray(values, np.float64)


def _ticks(time: Array | float, clock: MeterClock) -> Ticks:
    """What a meter's clock says. [ms]"""
    return np.rint((np.asarray(time) * (1 + clock.drift * 1e-6) + clock.offset) * 1000).astype(np.int64)


def _rising(ticks: Ticks, last: int) -> Ticks:
    """Times that rise by one at least, after `last`. [ms]"""
    place = np.arange(ticks.size)
    return np.maximum.accumulate(np.maximum(ticks - place, last + 1)) + place
