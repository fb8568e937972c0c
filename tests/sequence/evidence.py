"""What the channels of a recording can show of what was true: looked up in what they did show, where that matters."""

from collections.abc import Iterator, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analysis.model import Series, Timing
from analysis.sequence.attempts import Attempt
from tests.sequence.recordings import Recorded

Array = NDArray[np.float64]

DRAFT = "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high".split()
INDUCER = [*DRAFT, "amps_inducer", "speed_inducer"]
VALVE = ["gas_valve", "gas_manifold"]
BURNING = [*VALVE, "flame_current"]
WARMTH = ["temp_supply", "temp_supply_2", "temp_flue"]
SWITCH = ["switch_closed", "volts_switch"]
BLOWER = ["blower_on", "amps_blower", "static_return", "static_supply"]
LEAST = {"amps_inducer": 0.15, "speed_inducer": 200.0, "gas_manifold": 40.0, "amps_blower": 0.4}
LEAST_DRAFT = 12.0
"""Move by which a channel shows that something came on. [inside unit, Pa]"""
NEAR = 6.0
"""A channel covers a time when it was read so shortly before and after; contacts are repeated every 5 s. [s]"""
OPEN_VOLTS = 12.0


class Evidence:
    """The channels of a recording by point."""

    def __init__(self, recorded: Recorded) -> None:
        self.recorded = recorded
        self._of: dict[str, list[Series]] = {}
        for one in recorded.series:
            good = ~np.isnan(one.value)
            self._of.setdefault(one.channel.point, []).append(Series(one.channel, one.time[good], one.value[good]))

    @property
    def timed(self) -> bool:
        """Whether the job file has the timings of the unit; the defaults are none."""
        return self.recorded.timing not in (None, Timing())

    @cached_property
    def group(self) -> str:
        """`A`: contacts or flame, and a draft that moves; `B`: less."""
        draft = any(_spread(one) > LEAST_DRAFT for point in DRAFT for one in self._of.get(point, ()))
        firm = self.recorded.points & {"gas_valve", "switch_closed", "flame_current"}
        return "A" if draft and firm else "B"

    def has(self, points: Sequence[str] | str, at: float) -> bool:
        """Whether one of the points was read shortly before and after a time."""
        return any(_covers(one, at) for one in self._series(points))

    def values(self, points: Sequence[str] | str, start: float, end: float) -> Iterator[Array]:
        """Values of each channel between two times, where there are some."""
        for one in self._series(points):
            found = one.value[np.searchsorted(one.time, start) : np.searchsorted(one.time, end, "right")]
            if found.size:
                yield found

    def came_on(self, points: Sequence[str], at: float, until: float) -> bool:
        """Whether a channel of the points shows that something came on at a time, and stayed on for a while.

        Between two tries the inducer rests for less than three seconds; who samples too slowly does not see that.
        """
        for one in self._series(points):
            least = LEAST.get(one.channel.point, LEAST_DRAFT)
            before = np.abs(_between(one, at - 12.0, at + 1.0))
            after = _between(one, at + 0.5 * min(until - at, 8.0), min(until, at + 20.0))
            if after.size and abs(np.median(after)) - (before.min() if before.size else 0.0) > least:
                return True
        return False

    def blower_came(self, start: float, end: float) -> bool:
        """Whether a channel of the blower shows it at rest in a span; one that turned before tells no delay."""
        for point in BLOWER:
            for one in self._of.get(point, ()):
                least = 0.5 if point == "blower_on" else 0.25 * float(np.abs(one.value).max(initial=0.0))
                span = np.abs(_between(one, start, end))
                if span.size and span.min() < least and self.has([point], end):
                    return True
        return False

    def opened(self, contact: str, at: float) -> bool:
        """Whether a contact shows open about a time."""
        return any(found.min() < 0.5 for found in self.values(contact, at - 2.0, at + 3.0))

    def switch_opened(self, at: float) -> bool:
        """Whether contact, volts or the pressure at the switch show it open about a time."""
        volts = any(found.max() > OPEN_VOLTS for found in self.values("volts_switch", at - 2.0, at + 3.0))
        return self.opened("switch_closed", at) or volts or self._pressure_below("switch_open", at - 2.0, at + 1.0)

    def proved_at(self, at: float) -> bool:
        """Whether a channel shows that draft was proved then, and not long before.

        A unit that lights on high waits for its high switch, or gives that up, with the low one closed for long.
        """
        before, after = at - 2.5, at + NEAR
        closing = getattr(self.recorded.plate, "switch_close", ())
        low = closing[-1] if closing else -np.inf
        opened = [*(value < 0.5 for value in self._held("switch_closed", before))]
        opened += [value > OPEN_VOLTS for value in self._held("volts_switch", before)]
        opened += [value < low for value in self._held("draft_switch", before)]
        high = [value < 0.5 for value in self._held("switch_high_closed", before)]
        closed = [value > 0.5 for value in self._held("switch_high_closed", after)]
        return any(opened) or (any(high) and any(closed))

    def _held(self, point: str, at: float) -> Iterator[float]:
        """What each channel of a point showed last before a time, where it covers that."""
        for one in self._series(point):
            if _covers(one, at):
                yield float(one.value[np.searchsorted(one.time, at) - 1])

    def never_reached(self, start: float, end: float) -> bool:
        """Whether the pressure at the switch stayed well below its closing point."""
        return self._pressure_below("switch_close", start, end, every=True)

    def _pressure_below(self, name: str, start: float, end: float, *, every: bool = False) -> bool:
        points = getattr(self.recorded.plate, name, ())
        if not points:
            return False
        limit = 0.85 * points[-1]
        found = [found.max() if every else found.min() for found in self.values("draft_switch", start, end)]
        return bool(found) and max(found) < limit

    def shows_start(self, attempt: Attempt) -> bool:
        """Whether a channel shows the inducer start of an attempt."""
        runs = attempt.spans("inducer_start", "prepurge", "igniter_warmup", "ignition_trial", "interpurge")
        until = runs[-1].end if runs else attempt.end
        return until > attempt.start and self.came_on(INDUCER, attempt.start, until)

    def valve_shown(self, attempt: Attempt) -> bool:
        """Whether a channel shows the valve open in an attempt in which it was."""
        trials = attempt.spans("ignition_trial", "blower_on_delay", "run_low", "run_high")
        if not trials:
            return False
        if self.has("gas_valve", trials[0].start):
            return True
        return self.came_on(["gas_manifold"], trials[0].start, trials[-1].end)

    def _series(self, points: Sequence[str] | str) -> Iterator[Series]:
        for point in [points] if isinstance(points, str) else points:
            yield from self._of.get(point, ())


def _spread(one: Series) -> float:
    return float(np.ptp(np.quantile(one.value, [0.02, 0.98]))) if one.value.size else 0.0


def _covers(one: Series, at: float) -> bool:
    place = int(np.searchsorted(one.time, at))
    before = place > 0 and at - one.time[place - 1] <= NEAR
    return before and place < one.time.size and bool(one.time[place] - at <= NEAR)


def _between(one: Series, start: float, end: float) -> Array:
    return one.value[np.searchsorted(one.time, start) : np.searchsorted(one.time, end, "right")]
