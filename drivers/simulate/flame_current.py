"""Flame rectification: the small direct current that a flame lets through between the rod and the burners' ground."""

import math
import random

from drivers.simulate.maths import FLOATS, Maths, Number

_LEAK = 0.5
"""Mean share of the current lost past a wholly cracked insulator; common practice, no published source. [1]"""
_UNREST = 0.35
"""Standard deviation of that share; common practice, no published source. [1]"""
_MEMORY = 0.3
"""How long a wander of the leak lasts; common practice, no published source. [s]"""


class FlameCurrent:
    """Current that follows the flame with a lag. ValueError where noise is asked for in arrays.

    nominal : of a clean rod in a full flame of rated input [A]; lag : of flame and amplifier [s]; chance : where the
    noise of a cracked insulator comes from, none for its mean alone.
    """

    __slots__ = (
        "_chance",
        "_dt",
        "_follow",
        "_forget",
        "_kick",
        "_lag",
        "_nominal",
        "_wander",
        "amps",
        "ground_factor",
        "insulator",
        "rod_factor",
    )

    def __init__(self, m: Maths, nominal: Number, lag: float, chance: random.Random | None = None) -> None:
        if chance is not None and m is not FLOATS:
            raise ValueError("noise of the flame current is drawn for one unit; leave the random source out for arrays")
        self._nominal, self._lag, self._chance = nominal, lag, chance
        self._dt = self._follow = self._forget = self._kick = self._wander = 0.0
        self.rod_factor: Number = 1.0
        """Knob: 1 clean, 0 wholly coated. [1]"""
        self.ground_factor: Number = 1.0
        """Knob: 1 good, 0 no way back to the control. [1]"""
        self.insulator: Number = 0.0
        """Knob: 0 sound, 1 cracked through. [1]"""
        self.amps: Number = 0.0
        """State and output. [A]"""

    def step(self, dt: float, flame: Number) -> None:
        """Advance by `dt` [s] with `flame`, what reaches the rod as a share of a full strong flame [1]."""
        if dt != self._dt:
            self._dt, self._follow = dt, math.exp(-dt / self._lag)
            self._forget = math.exp(-dt / _MEMORY)
            self._kick = math.sqrt(1.0 - self._forget * self._forget)
        leak = _LEAK
        if self._chance is not None and self.insulator > 0.0:
            self._wander = self._wander * self._forget + self._chance.gauss(0.0, _UNREST) * self._kick
            leak = min(max(leak + self._wander, 0.0), 1.0)
        target = self._nominal * flame * self.rod_factor * self.ground_factor * (1.0 - self.insulator * leak)
        self.amps = target + (self.amps - target) * self._follow
