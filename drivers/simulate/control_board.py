"""The relays of the control: what is commanded, what a dead relay makes of it, and the blower with its delays."""

from math import inf

from drivers.base import InputError
from drivers.simulate.control_settings import OUTPUTS, Inputs

LOW, HIGH, FAN = 1, 2, 3
"""Speeds of inducer and blower; the fan speed is the blower's alone."""


class Board:
    """Outputs that hold until the next step."""

    __slots__ = (
        *("blower", "igniter", "inducer", "now", "valve", "valve_high"),
        *("_blower_dead", "_blower_heat", "_blower_until", "_dead"),
        *("_igniter", "_inducer", "_valve", "_valve_high"),
    )

    def __init__(self) -> None:
        self.now = 0.0
        """Time of the last step; the owner may set it before the first. [s]"""
        self.inducer = 0
        """0 off, 1 low, 2 high."""
        self.igniter = 0
        self.valve = 0
        self.valve_high = 0
        self.blower = 0
        """0 off, 1 low heat, 2 high heat, 3 fan."""
        self._inducer = self._igniter = self._valve = self._valve_high = 0
        self._blower_heat = 0
        self._blower_until = inf
        self._dead: frozenset[str] = frozenset()
        self._blower_dead = False

    @property
    def dead(self) -> frozenset[str]:
        """Relays that no longer close: some of `inducer`, `igniter`, `valve`, `blower`."""
        return self._dead

    @dead.setter
    def dead(self, outputs: frozenset[str]) -> None:
        if unknown := outputs - OUTPUTS:
            raise InputError(f"control has no output {', '.join(sorted(unknown))}", f"use {', '.join(sorted(OUTPUTS))}")
        self._dead = outputs
        self._blower_dead = "blower" in outputs
        if self._blower_dead:
            self.blower = 0
        self._drive()

    def _drive(self) -> None:
        """Pass the commands on to the relays that live."""
        dead = self._dead
        self.inducer = 0 if "inducer" in dead else self._inducer
        self.igniter = 0 if "igniter" in dead else self._igniter
        self.valve, self.valve_high = (0, 0) if "valve" in dead else (self._valve, self._valve_high)

    def _all_off(self) -> None:
        self._inducer = self._igniter = self._valve = self._valve_high = 0
        self._blower_heat = self.blower = 0
        self._blower_until = inf
        self._drive()

    def _blow(self, speed: int) -> None:
        """Run the blower for heat until told how long."""
        self._blower_heat = speed
        self._blower_until = inf

    def _blow_for(self, seconds: float) -> None:
        """Let the blower run on, unless its end is set already."""
        if self._blower_until == inf:
            self._blower_until = self.now + seconds

    def _set_blower(self, inputs: Inputs) -> bool:
        """Drive the blower; whether its run for heat ended in this step."""
        heat = self._blower_heat
        over = heat > 0 and self.now >= self._blower_until
        if over:
            heat = self._blower_heat = 0
        if not heat:
            if not inputs.limit:
                heat = HIGH
            elif inputs.call_fan or inputs.call_compressor:
                heat = FAN
        self.blower = 0 if self._blower_dead else heat
        return over
