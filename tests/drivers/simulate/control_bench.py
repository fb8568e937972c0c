"""A control on a plant that does as it should, what its log says, and how long phases last in the trade."""

from collections.abc import Callable

from drivers.simulate.attempts import Attempt, AttemptLog
from drivers.simulate.control import Control
from drivers.simulate.control_settings import ControlSettings, Inputs

ENVELOPE = {
    "inducer_start": (2.0, 60.0),  # common practice, from memory; then a retry
    "prepurge": (0.0, 60.0),  # common practice, from memory; 34 s in a published textbook's sequence of operation
    "igniter_warmup": (3.0, 45.0),  # common practice, from memory
    "ignition_trial": (2.0, 15.0),  # common practice, from memory
    "blower_on_delay": (0.0, 90.0),  # 30-45 s in the same textbook, 30-90 s in an appliance manual
    "post_purge": (5.0, 34.0),  # common practice, from memory; 34 s in the same textbook
    "blower_off_delay": (60.0, 240.0),  # common practice, from memory
    "interpurge": (15.0, 60.0),  # common practice, from memory
    "lockout": (900.0, 10800.0),  # 15 min for one draft case and about 1 h in appliance manuals
}
"""Shortest and longest phase that is met in the trade. [s]"""
FLAME = 2e-6
"""A good flame. [A]"""


class Bench:
    """A control and a plant that does as it should; `force` overrides what the control sees."""

    def __init__(self, settings: ControlSettings | None = None, dt: float = 0.1) -> None:
        self.control = Control(settings)
        self.inputs = Inputs()
        self.dt = dt
        self.force: dict[str, float] = {}
        self.burns = True
        self.openings = 0
        self._draft = self._high = self._glow = self._fire = 0.0

    @property
    def log(self) -> AttemptLog:
        return self.control.log

    @property
    def relays(self) -> tuple[int, int, int, int, int]:
        control = self.control
        return control.inducer, control.igniter, control.valve, control.valve_high, control.blower

    def step(self) -> None:
        control, inputs, dt = self.control, self.inputs, self.dt
        self._draft = min(self._draft + dt, 4.0) if control.inducer else max(self._draft - 2.0 * dt, 0.0)
        self._high = min(self._high + dt, 3.0) if control.inducer == 2 else 0.0
        self._glow = self._glow + dt if control.igniter else 0.0
        lit = control.valve and self.burns and (self._fire > 0.0 or self._glow > 5.0)
        self._fire = self._fire + dt if lit else 0.0
        inputs.switch = int(self._draft >= 3.0)
        inputs.switch_high = int(self._high >= 2.5)
        inputs.flame_current = FLAME if self._fire >= 2.0 else 0.0
        inputs.limit = inputs.rollout = inputs.powered = inputs.door = inputs.float_ok = 1
        for name, value in self.force.items():
            setattr(inputs, name, value)
        before = control.valve
        control.step(dt, inputs)
        self.openings += control.valve > before

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds / self.dt)):
            self.step()

    def until(self, reached: str | Callable[[], bool], within: float = 400.0) -> float:
        """Step until a phase, or whatever is asked, is reached; the time it took. [s]"""
        start = self.control.now
        while not (self.control.phase == reached if isinstance(reached, str) else reached()):
            assert self.control.now - start < within, f"{reached} not reached from {self.control.phase}"
            self.step()
        return self.control.now - start

    def call(self, **inputs: float) -> None:
        for name, value in {"call_heat": 1, **inputs}.items():
            setattr(self.inputs, name, value)

    def hang_up(self) -> None:
        self.inputs.call_heat = self.inputs.call_heat_2 = self.inputs.defrost = 0

    def heating(self, **inputs: float) -> None:
        self.call(**inputs)
        self.until("run_low")

    def attempts(self) -> list[Attempt]:
        self.control.finish()
        return list(self.log.attempts)

    def events(self, word: str) -> list[str]:
        return [text for _, text in self.log.events if word in text]


def spans(attempt: Attempt) -> list[tuple[str, float]]:
    return [(span["phase"], span["end"] - span["start"]) for span in attempt["phases"]]


def outcomes(bench: Bench) -> list[str]:
    return [attempt["outcome"] for attempt in bench.attempts()]
