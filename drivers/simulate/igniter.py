"""A hot-surface igniter: what it draws and how hot it becomes."""

from dataclasses import dataclass

from drivers.simulate.maths import Number

_ZERO = 273.15
_ROOM = 293.15
"""Where the cold current is taken. [K]"""


@dataclass(frozen=True, slots=True)
class IgniterUnit:
    """One invented igniter of silicon carbide; common practice, no published source, where no other is named."""

    voltage: Number = 120.0
    """At which its currents hold. [V]"""
    current_cold: Number = 2.0
    """Just switched on at room temperature: 60 ohm, of 40 to 90 in published test guides. [A]"""
    current_hot: Number = 3.6
    """Settled: silicon carbide conducts better when hot. [A]"""
    temp_hot: Number = 1370.0
    """Settled: 2500 degF at 120 V in published descriptions. [degC]"""
    heat_capacity: Number = 3.6
    """Of the part that glows. [J/K]"""
    convection: Number = 0.15
    """Share of the settled power that goes by convection and through the ends, the rest by radiation. [1]"""


SILICON_CARBIDE = IgniterUnit()
SILICON_NITRIDE = IgniterUnit(current_cold=2.4, current_hot=0.75, temp_hot=1350.0, heat_capacity=0.45)
"""Conducts worse when hot; 65 to 100 W and 1350 degC are the published requirement cited in the tests."""


class Igniter:
    """A resistance with a heat capacity that radiates; second order in the step.

    Source: Ohm's law and the law of Stefan and Boltzmann, whose constant and surface follow from the settled state;
    conductance linear in temperature between its cold and its hot value (common practice, no published source).
    """

    __slots__ = ("_capacity", "_cold", "_linear", "_radiation", "_slope", "amps", "factor", "temp")

    def __init__(self, unit: IgniterUnit) -> None:
        hot = unit.temp_hot + _ZERO
        power = unit.voltage * unit.current_hot
        self._slope = (unit.current_hot - unit.current_cold) / unit.voltage / (hot - _ROOM)
        self._cold = unit.current_cold / unit.voltage - self._slope * _ROOM
        self._radiation = (1.0 - unit.convection) * power / (hot**4 - _ROOM**4)
        self._linear = unit.convection * power / (hot - _ROOM)
        self._capacity = unit.heat_capacity
        self.factor: Number = 1.0
        """Knob: conductance over that of a new one; an aged one conducts less, 0 is open. [1]"""
        self.temp: Number = 20.0
        """State and output. [degC]"""
        self.amps: Number = 0.0
        """Output, at the end of the step. [A]"""

    def step(self, dt: float, *, voltage: Number, temp_room: Number) -> None:
        """Advance by `dt` [s] with `voltage` across it [V], 0 when not powered."""
        cold, slope, radiation, linear = self._cold, self._slope, self._radiation, self._linear
        drive, room, share = voltage * voltage * self.factor, temp_room + _ZERO, dt / self._capacity
        gained = linear * room + radiation * room * room * room * room
        kelvin = self.temp + _ZERO
        squared = kelvin * kelvin
        first = drive * (cold + slope * kelvin) + gained - linear * kelvin - radiation * squared * squared
        between = kelvin + share * first
        squared = between * between
        second = drive * (cold + slope * between) + gained - linear * between - radiation * squared * squared
        kelvin = kelvin + 0.5 * share * (first + second)
        self.temp = kelvin - _ZERO
        self.amps = voltage * self.factor * (cold + slope * kelvin)
