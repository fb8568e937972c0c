"""An onlooker who sees only the terminals of a control and the name of its phase, and notes what must never be.

It keeps its own account of draft, flame and tries and shares nothing with the control but the settings.
"""

from math import inf

from drivers.simulate.control import Control
from drivers.simulate.control_settings import ControlSettings, Inputs

NEARLY = 1e-5
"""Sums of steps differ by less. [s]"""
LONGEST_AFTER_FLAME = 2.0
"""Upper bound of flame failure response in specifications, from memory. [s]"""
RUNNING = ("run_low", "run_high")

RULES = (
    "the inducer starts only after the switch was seen open for the time of the self-check",
    "gas and igniter only with a switch seen open at the start of the attempt and closed ever since",
    "an open switch shuts gas and igniter in its own step",
    "gas only after the whole prepurge and igniter warm-up",
    "no gas is let into a flame that is seen already",
    "gas goes off within two seconds of the loss of flame",
    "gas goes off by the end of a trial without a flame",
    "no gas and no igniter with limit or roll-out open",
    "no gas without a call",
    "everything is off without power",
    "roll-out allows no gas until power or the board restarts",
    "no more trials without flame than allowed before a lockout",
    "no more light-offs than all retries together allow before a lockout",
    "high gas only with gas, inducer on high and the high switch closed",
    "the blower runs while the unit runs or the limit is open",
    "dead relays stay open",
)


class Watch:
    """Call `look` after each step; `broken` holds rule and time of each breach."""

    def __init__(self, control: Control, inputs: Inputs, settings: ControlSettings) -> None:
        self.control, self.inputs, self.settings = control, inputs, settings
        self.broken: list[tuple[str, float]] = []
        self.openings = self.chatters = self.locks = 0
        self._phase = "standby"
        self._not_open_at = -inf
        self._start_was_open = self._proven = self._gas = self._lit = self._rolled = self._called = False
        self._proved_at = self._gas_since = self._flame_at = self._locked_at = 0.0
        self._unlit = self._tries = 0

    def restarted(self) -> None:
        """The board restarted between two steps."""
        if self._relays() != (0, 0, 0, 0, 0):
            self._break("everything is off without power")
        self._rolled = self._called = self._gas = self._proven = False
        self._unlit = self._tries = 0
        self._phase = self.control.phase

    def look(self, dt: float) -> None:
        """Judge the outputs of the step of `dt` [s] that has just been made."""
        inputs, control = self.inputs, self.control
        if not (inputs.powered and inputs.door and inputs.float_ok):
            self.restarted()
            if control.phase != "standby":
                self._break("everything is off without power")
            return
        called = bool(inputs.call_heat or inputs.defrost)
        if called and not self._called:
            self._unlit = self._tries = 0
        self._called = called
        self._look_at_lockout()
        self._look_at_draft()
        self._look_at_gas(dt)
        self._look_at_others()
        self._phase = control.phase

    def _break(self, rule: str) -> None:
        assert rule in RULES
        self.broken.append((rule, self.control.now))

    def _relays(self) -> tuple[int, int, int, int, int]:
        control = self.control
        return control.inducer, control.igniter, control.valve, control.valve_high, control.blower

    def _look_at_lockout(self) -> None:
        now, phase = self.control.now, self.control.phase
        if phase == "lockout" and self._phase != "lockout":
            self._locked_at = now
            self.locks += 1
        ended = self._phase == "lockout" and phase != "lockout"
        if ended and now - self._locked_at >= self.settings.soft_lockout_minutes * 60.0 - NEARLY:
            self._unlit = self._tries = 0

    def _look_at_draft(self) -> None:
        inputs, control, now = self.inputs, self.control, self.control.now
        phase = control.phase
        if phase == "inducer_start" and self._phase != "inducer_start":
            self._start_was_open = not inputs.switch
            if inputs.switch or now - self._not_open_at < self.settings.standby_check - NEARLY:
                self._break(RULES[0])
        elif inputs.switch or control.inducer:
            self._not_open_at = now
        if phase == "prepurge" and self._phase != "prepurge":
            self._proven = self._start_was_open
            self._proved_at = now
        if not inputs.switch:
            self._proven = False
        on = control.valve or control.igniter
        if on and not self._proven:
            self._break(RULES[1])
        if not inputs.switch:
            self.chatters += self._gas
            if on:
                self._break(RULES[2])

    def _look_at_gas(self, dt: float) -> None:
        inputs, control, settings, now = self.inputs, self.control, self.settings, self.control.now
        flame = inputs.flame_current >= settings.flame_threshold
        gas = bool(control.valve)
        if self._gas and not gas and self._lit and not flame and now - self._flame_at > LONGEST_AFTER_FLAME:
            self._break("gas goes off within two seconds of the loss of flame")
        if gas and not self._gas:
            self._let_in(flame)
        elif gas and flame:
            self._unlit -= not self._lit
            self._lit = True
            self._flame_at = now
        if gas and self._lit and now - self._flame_at > LONGEST_AFTER_FLAME - dt:
            self._break("gas goes off within two seconds of the loss of flame")
        if gas and not self._lit and now - self._gas_since > settings.timing.ignition_trial + NEARLY:
            self._break("gas goes off by the end of a trial without a flame")
        if gas and not self._called:
            self._break("no gas without a call")
        self._gas = gas

    def _let_in(self, flame: bool) -> None:
        settings, now = self.settings, self.control.now
        timing = settings.timing
        if now - self._proved_at < timing.prepurge + timing.igniter_warmup - NEARLY:
            self._break("gas only after the whole prepurge and igniter warm-up")
        if flame:
            self._break("no gas is let into a flame that is seen already")
        self._lit, self._gas_since = False, now
        self.openings += 1
        self._unlit += 1
        self._tries += 1
        if self._unlit > timing.trials:
            self._break("no more trials without flame than allowed before a lockout")
        allowed = timing.trials - 1 + settings.recycles + settings.draft_retries + settings.limit_trips - 1
        if self._tries > allowed + 1:
            self._break("no more light-offs than all retries together allow before a lockout")

    def _look_at_others(self) -> None:
        inputs, control, settings = self.inputs, self.control, self.settings
        inducer, igniter, valve, valve_high, blower = self._relays()
        self._rolled = self._rolled or not inputs.rollout
        if (valve or igniter) and not (inputs.limit and inputs.rollout):
            self._break("no gas and no igniter with limit or roll-out open")
        if (valve or igniter) and self._rolled:
            self._break("roll-out allows no gas until power or the board restarts")
        if valve_high:
            fast = inducer == 2 or "inducer" in control.dead
            if not (valve and fast and (settings.stages == 1 or inputs.switch_high)):
                self._break("high gas only with gas, inducer on high and the high switch closed")
        needed = control.phase in RUNNING or not inputs.limit or not inputs.rollout
        if needed and not blower and "blower" not in control.dead:
            self._break("the blower runs while the unit runs or the limit is open")
        if any(getattr(control, name) for name in control.dead) or (valve_high and "valve" in control.dead):
            self._break("dead relays stay open")
