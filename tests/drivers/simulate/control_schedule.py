"""Schedules of mishaps: a plant that now follows the control, now does as it likes, at any length of step."""

from random import Random

from analysis.model import Timing
from drivers.simulate.control import Control
from drivers.simulate.control_settings import ControlSettings, Inputs

AT_REST = {"call_heat": 0, "call_heat_2": 0, "call_fan": 0, "call_compressor": 0, "defrost": 0}
CLOSED = ("limit", "rollout", "powered", "door", "float_ok")
OUTPUTS = ("inducer", "igniter", "valve", "blower")


class Mishap:
    """Comes at random moments and lasts a random time."""

    __slots__ = ("_change", "_length", "_rng", "_wait", "active")

    def __init__(self, rng: Random, wait: float, length: tuple[float, float]) -> None:
        self._rng, self._wait, self._length = rng, wait, length
        self.active = False
        self._change = rng.expovariate(1.0 / wait) if wait else 1e12

    def at(self, now: float) -> bool:
        """Whether it is there at this time. [s]"""
        if now >= self._change:
            self.active = not self.active
            self._change = now + (
                self._rng.uniform(*self._length) if self.active else self._rng.expovariate(1.0 / self._wait)
            )
        return self.active


class Schedule:
    """One control with its settings and everything that befalls it; `seed` gives the same again."""

    def __init__(self, seed: int) -> None:
        rng = self._rng = Random(seed)
        self.typical = seed % 8 == 0
        """Whether the settings are the typical ones."""
        self.settings = ControlSettings() if self.typical else hurried(rng)
        self.control = Control(self.settings)
        self.inputs = Inputs()
        self._wild = rng.random() < 0.15
        self._step = 0.5 if self.typical else rng.choice((0.0, 0.05, 0.1, 0.2, 0.5))
        scale = 20.0 if self.typical else rng.choice((2.0, 6.0, 20.0, 60.0))

        def mishap(low: float, high: float, rarely: float = 1.0) -> Mishap:
            wait = rng.choice((0.0, 0.0, 1.0, 3.0, 10.0)) * scale * rarely
            return Mishap(rng, wait, (low, high))

        self._chatter = mishap(0.1, 0.5)
        self._stuck_open, self._stuck_closed = mishap(1.0, 15.0, 3.0), mishap(1.0, 25.0, 3.0)
        self._high_open = mishap(0.1, 10.0)
        self._dark, self._false = mishap(0.3, 8.0), mishap(0.1, 6.0, 5.0)
        self._calls = {name: mishap(0.1, 10.0) for name in AT_REST}
        self._no_call = mishap(0.1, 4.0, 2.0)
        self._opens = {"limit": mishap(0.1, 8.0), "rollout": mishap(0.1, 5.0, 10.0)}
        self._opens |= {name: mishap(0.1, 3.0, 6.0) for name in ("powered", "door", "float_ok")}
        self._reset = mishap(0.1, 0.2, 6.0)
        self._delays = [rng.uniform(*span) for span in ((0.3, 3.0), (0.1, 2.0), (0.2, 3.0))]
        self._moved = self._let = 0.0
        self._dead = rng.random() < 0.3
        self._was_running = False

    def next_step(self) -> float:
        """Length of the next step. [s]"""
        return self._step or self._rng.uniform(0.05, 0.5)

    def befall(self, dt: float) -> bool:
        """Set the inputs for the step to come; whether the control restarts before it."""
        control, inputs, rng = self.control, self.inputs, self._rng
        if self._dead and control.phase == "standby" and rng.random() < 0.05:
            control.dead = frozenset(name for name in OUTPUTS if rng.random() < 0.2)
        if self._wild:
            for name in ("switch", "switch_high", *CLOSED, *AT_REST):
                if rng.random() < 0.1:
                    setattr(inputs, name, int(rng.random() < (0.9 if name in CLOSED else 0.5)))
            inputs.flame_current = rng.choice((0.0, 0.4e-6, 0.5e-6, 3e-6))
            return rng.random() < 0.002
        now = control.now + dt
        running = control.inducer > 0
        self._moved = self._moved + dt if running == self._was_running else 0.0
        self._was_running = running
        follows = running if self._moved >= self._delays[0 if running else 1] else not running
        inputs.switch = int((follows or self._stuck_closed.at(now)) and not self._stuck_open.at(now))
        if self._chatter.at(now):
            inputs.switch = 0
        inputs.switch_high = int(inputs.switch and control.inducer == 2 and not self._high_open.at(now))
        self._let = self._let + dt if control.valve else 0.0
        lit = self._let >= self._delays[2] and not self._dark.at(now)
        inputs.flame_current = 2e-6 if lit or self._false.at(now) else 0.0
        for name, calls in self._calls.items():
            setattr(inputs, name, int(calls.at(now)))
        if not self._no_call.at(now):
            inputs.call_heat = 1
        for name, opens in self._opens.items():
            setattr(inputs, name, int(not opens.at(now)))
        before = self._reset.active
        return self._reset.at(now) and not before


def hurried(rng: Random) -> ControlSettings:
    """Settings with short times and small counts, so that much happens soon."""
    between = rng.uniform
    return ControlSettings(
        timing=Timing(
            prepurge=between(0.0, 3.0),
            igniter_warmup=between(0.0, 3.0),
            ignition_trial=between(1.0, 6.0),
            blower_on_delay=between(0.0, 5.0),
            post_purge=between(0.0, 3.0),
            blower_off_delay=between(0.0, 10.0),
            trials=rng.randint(1, 4),
        ),
        stages=rng.choice((1, 2, 2)),
        staging=rng.choice(("thermostat", "timer")),
        low_stage_minutes=between(0.0, 0.2),
        light_on=rng.choice(("low", "high")),
        proving_limit=between(1.0, 8.0),
        interpurge=between(0.0, 4.0),
        draft_retries=rng.randint(0, 4),
        recycles=rng.randint(0, 4),
        limit_trips=rng.randint(1, 4),
        forced_stage=rng.choice(("none", "low", "high")),
        forced_after=rng.randint(1, 2),
        soft_lockout_minutes=between(0.0, 0.2),
        stage_trial=between(0.0, 4.0),
        flame_failure_response=between(0.0, 0.8),
        flame_stabilise=between(0.0, 3.0),
        flame_clear=between(0.0, 3.0),
        standby_check=between(0.0, 1.5),
        switch_release=between(0.0, 5.0),
    )
