"""The ignition sequence of the call that runs: what the recognizer makes of the readings, in the trade's words."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from analysis.model import NANOSECONDS, Plate, Quality, Timing
from analysis.sequence.attempts import Attempt, Progress
from analysis.sequence.recognizer import Recognizer
from collector.attempt_rows import KEPT, AttemptsTold, Row, attempt_row
from collector.run_watch import RunWatch
from collector.sequence_words import OUTCOME_WORDS, PHASE_WORDS
from collector.stop_signs import FRESH, Sign, StopSigns
from collector.typed import is_typed

BACK = NANOSECONDS
"""Readings of several instruments are in no better order than this. Our choice. [ns]"""

POINTS = frozenset(
    (
        "call_heat call_heat_2 switch_closed switch_high_closed limit_closed rollout_closed float_closed door_closed"
        " gas_valve blower_on flame_current gas_manifold gas_inlet amps_igniter amps_inducer amps_blower speed_inducer"
        " volts_control volts_switch draft_switch draft_switch_high draft_collector draft_transition draft_burner_box"
        " draft_vent temp_supply temp_return temp_flue static_return static_supply flue_o2 flue_co2"
    ).split()
)
"""Points that can tell anything of the sequence; others are not offered to the recognizer."""

_AT_REST = {"rest": ("no call for heat", "a call for heat"), "gas_off": ("gas off, the call is not measured", "")}
_FIRING = ("blower_on_delay", "run_low", "run_high")


class Recognizing(Protocol):
    """What follows the sequence, see `analysis.sequence.recognizer`."""

    def step(self, point: str, time: float, value: float, quality: Quality, /) -> Progress: ...  # noqa: D102

    def look(self, now: float, /) -> Progress: ...  # noqa: D102

    def forget(self, point: str, /) -> None: ...  # noqa: D102

    @property
    def attempts(self) -> tuple[Attempt, ...]: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Told:
    """Where the sequence stands."""

    phase: str
    """Name of the phase; `rest` without a call, `gas_off` where only the gas valve tells."""
    text: str
    """In words."""
    since: int
    """UTC since 1970. [ns]"""
    expected: float | None = None
    """How long it usually lasts, None where it has no usual end. [s]"""
    next: str = ""
    """What comes next."""
    trial: int = 0
    """Which ignition trial of this call it is, 0 where none is told. [1]"""
    trials: int = 0
    """Ignition trials in one call, 0 where the job file does not say. [1]"""
    attempt: int = 0
    """Number of the attempt under way, 0 between attempts. [1]"""
    call: int = 0
    """Number of the call for heat. [1]"""
    outcome: str = ""
    """How the attempt ended once that is decided, empty until then."""
    outcome_text: str = ""
    """In words."""
    deciding_time: int | None = None
    """When that was, UTC since 1970. [ns]"""
    settled: bool = True
    """Whether phase and outcome stand; until then they may be revised."""


class LiveSequence:
    """Hands every reading that can tell something to a recognizer, and to the signs of danger, which need none.

    A defect of the recognizer ends its words and nothing else: `failed` is told once, readings and signs go on.
    """

    def __init__(
        self,
        timing: Timing | None = None,
        plate: Plate | None = None,
        *,
        recognizer: Callable[[Timing | None, Plate], Recognizing] = Recognizer,
        failed: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._timing, self._plate = timing, plate or Plate()
        self._make = recognizer
        self._failed = failed
        self.signs = StopSigns()
        self.run = RunWatch()
        self._told = AttemptsTold()
        self._recognizer: Recognizing | None = None
        self._progress = Progress()
        self._attempts: tuple[Attempt, ...] = ()
        self._earlier: tuple[Attempt, ...] = ()  # of before a change of the job
        self._counted = (0, 0)  # attempts and calls among them
        self._stopped: Sign | None = None  # how the last attempt ended, where nothing may be fired after it
        self._rows: dict[int, tuple[Attempt, Row]] = {}
        self._read: dict[str, int] = {}
        self._last = 0
        self._rest, self._rest_since = "", 0
        self._stale = True
        self._begin(earlier=())

    def use(self, timing: Timing | None, plate: Plate) -> None:
        """Work with these from now on; attempts that are over stay, one under way begins anew where they differ."""
        if plate == self._plate and _same(timing, self._timing):
            return
        self.attempts()
        self._timing, self._plate = timing, plate
        over = self._attempts if self._progress.attempt == 0 else self._attempts[:-1]
        stopped = self._stopped
        self._begin(earlier=(*self._earlier, *map(self._renumbered, over)))
        self._stopped = stopped

    def begin_anew(self) -> None:
        """A replay was moved: what was read at another time says nothing of what comes."""
        self.signs.begin_anew()
        self.run.begin_anew()
        self._begin(earlier=())
        self._told.use((), anew=True)

    def step(self, key: str, point: str, time: int, value: float, quality: Quality) -> None:
        """Take a point's value [inside unit] at `time` [ns]; `key` is the channel's that stands for the point."""
        self.run.step(point, time, value, quality)
        if point not in POINTS:
            return
        if time < self._read.get(key, time) - BACK and not is_typed(key.partition("@")[2]):
            self.begin_anew()
        self._read[key] = time
        if time < self._last - BACK:
            return  # dated back by hand, or of an instrument with a time of its own: no present
        time = self._last = max(self._last, time)
        self.signs.step(point, time, value, quality)
        self._ask(lambda one: one.step(point, time / NANOSECONDS, value, quality))

    def forget(self, point: str) -> None:
        """Nothing measures a point any more."""
        self.signs.forget(point)
        self.run.forget(point)
        if self._recognizer is not None:
            self._ask(lambda one: self._forgotten(one, point))

    def told(self, now: int) -> Told | None:
        """Where it stands `now` [ns]; None where too little is measured, or too long ago, to say anything."""
        self.signs.told(now)
        if now - self._last > FRESH * NANOSECONDS:
            return None
        self._ask(lambda one: one.look(now / NANOSECONDS))
        return self._recognized() if self._named() else self._at_rest(now)

    def warnings(self, now: int) -> tuple[Sign, ...]:
        """What is told above the phase `now` [ns], the gravest first."""
        signs, stopped = (*self.signs.told(now), *self.run.told()), self._stopped
        return signs if stopped is None or any(one.name == stopped.name for one in signs) else (stopped, *signs)

    def attempts(self) -> AttemptsTold:
        """The attempts since the recording began or a replay was moved, as onlookers are told them."""
        if self._stale:
            self._stale = False
            self._attempts = self._found()
            newest = self._attempts[-KEPT:]
            self._told.use([*map(self._over, self._earlier), *map(self._row, newest)])
        return self._told

    def _begin(self, *, earlier: tuple[Attempt, ...]) -> None:
        self._recognizer = self._make(self._timing, self._plate)
        self._progress = Progress()
        self._attempts = ()
        self._earlier = earlier
        self._counted = (earlier[-1].number, earlier[-1].call) if earlier else (0, 0)
        self._stopped = None
        self._rows.clear()
        self._read.clear()
        self._last = 0
        self._rest, self._rest_since = "", 0
        self._stale = True

    def _ask(self, question: Callable[[Recognizing], Progress]) -> None:
        """Ask the recognizer; one that fails is not asked again before it begins anew."""
        if self._recognizer is None:
            return
        self._stale = True
        try:
            self._progress = question(self._recognizer)
        except Exception as error:
            self._lose(error)
            return
        progress = self._progress
        if stop := OUTCOME_WORDS[progress.outcome].stop if progress.outcome in OUTCOME_WORDS else "":
            self._stopped = Sign(progress.outcome, stop, stop=True, since=_ns(progress.deciding_time))
        elif progress.attempt:
            self._stopped = None  # another attempt, or that outcome was revised

    def _found(self) -> tuple[Attempt, ...]:
        try:
            return self._recognizer.attempts if self._recognizer else ()
        except Exception as error:
            self._lose(error)
            return ()

    def _lose(self, error: Exception) -> None:
        self._recognizer, self._progress = None, Progress()
        what = f"{type(error).__name__}: {error}".rstrip(": ")
        self._failed(f"the ignition sequence is not followed any more ({what}); readings and alarms go on, report it")

    def _forgotten(self, recognizer: Recognizing, point: str) -> Progress:
        recognizer.forget(point)
        return self._progress

    def _renumbered(self, attempt: Attempt) -> Attempt:
        """With the numbers of attempts and calls that were found before a change of the job."""
        number, call = self._counted
        return replace(attempt, number=attempt.number + number, call=attempt.call + call) if number else attempt

    def _row(self, attempt: Attempt) -> Row:
        progress, renumbered = self._progress, self._renumbered(attempt)
        if attempt.number != progress.attempt:
            return self._over(renumbered)
        sure = progress.settled or not progress.outcome
        return attempt_row(renumbered, under_way=True, outcome=progress.outcome, sure=sure)

    def _over(self, attempt: Attempt) -> Row:
        """The row of an attempt that is over, made once."""
        before = self._rows.get(attempt.number)
        if before is None or (before[0] is not attempt and before[0] != attempt):
            self._rows[attempt.number] = before = (attempt, attempt_row(attempt))
        self._rows.pop(attempt.number - KEPT, None)
        return before[1]

    @property
    def _trials(self) -> int:
        return self._timing.trials if self._timing else 0

    def _named(self) -> bool:
        """Whether the recognizer says where it stands; at rest the contacts say it better."""
        progress = self._progress
        return progress.phase in PHASE_WORDS and (progress.phase != "standby" or progress.attempt > 0)

    def _recognized(self) -> Told:
        progress, words = self._progress, PHASE_WORDS[self._progress.phase]
        outcome = OUTCOME_WORDS.get(progress.outcome)
        number, call = self._counted
        unseen = progress.phase in _FIRING and self.signs.is_on("flame_current") is None
        return Told(
            progress.phase,
            f"{words.text} (flame not measured)" if unseen else words.text,
            _ns(progress.since),
            progress.expected,
            words.next,
            progress.trial if not self._trials or progress.trial <= self._trials else 0,
            self._trials,
            progress.attempt + number if progress.attempt else 0,
            progress.call + call,
            progress.outcome if outcome else "",
            outcome.text if outcome else "",
            _ns(progress.deciding_time) if outcome and outcome.decided else None,
            progress.settled,
        )

    def _at_rest(self, now: int) -> Told | None:
        """What call, gas valve and switch say by themselves."""
        call, gas, switch = (self.signs.is_on(point) for point in ("call_heat", "gas_valve", "switch_closed"))
        name = ""
        if call is False and not gas and (gas is False or switch is not None):
            name = "rest"
        elif call is None and gas is False:
            name = "gas_off"
        if name != self._rest:
            self._rest, self._rest_since = name, now
        if not name:
            return None
        text, following = _AT_REST[name]
        return Told(name, text, self._rest_since, next=following, trials=self._trials)


def _same(one: Timing | None, other: Timing | None) -> bool:
    """Whether two timings state the same; NaN is not equal to itself, but what prints the same is the same."""
    return repr(one) == repr(other)


def _ns(seconds: float) -> int:
    return 0 if math.isnan(seconds) else round(seconds * NANOSECONDS)
