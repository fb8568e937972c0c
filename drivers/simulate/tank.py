"""Propane in a tank: its liquid chills while gas is drawn, and two regulators bring its pressure down to the house."""

from dataclasses import dataclass

import numpy as np

from analysis.gas import propane_pressure
from drivers.simulate.maths import Maths, Number

LIQUID_DENSITY = 508.0
"""Liquid propane at 60 degF: 4.24 lb a US gallon, property sheets of LP-gas suppliers. [kg/m3]"""
STEEL_HEAT = 480.0
"""Heat capacity of carbon steel, handbook value. [J/kg/K]"""
# Vaporising heat and heat capacity of the liquid as parabolas through three points of the equation of state of Lemmon,
# McLinden and Wagner (2009): 427e3, 375e3, 332e3 J/kg and 2240, 2490, 2740 J/kg/K at -43, 0 and 27 degC.
_VAPORISING = (375e3, -1444.8, -5.475)
_LIQUID = (2490.0, 7.931, 0.0492)
# Share of a lying cylinder's wall that the liquid wets, by its share of the volume: least squares of the circle's
# geometry on root, first and second power; within 0.012 from 0.03 to 0.9.
_WETTED = (1.024, -0.687, 0.469)
_ZERO = 273.15
_LAST = 0.1
"""The last of the liquid, whose vapour does not hold its pressure any more. [kg]"""
_SHUT = 1e-3
"""Smallest passage of a frozen regulator, so that its resistance stays a number. [1]"""


@dataclass(frozen=True, slots=True)
class TankUnit:
    """Tank and regulators of one invented house; where nothing else is said: common practice, no published source."""

    volume: Number = 1.893
    """Of the tank, full of water: 500 US gallons. [m3]"""
    fill: Number = 0.5
    """Share of it that is liquid at the start; 0.8 is a full tank. [1]"""
    temp: Number = 0.0
    """Of the liquid at the start. [degC]"""
    steel: Number = 200.0
    """Steel that cools with the liquid. [kg]"""
    area: Number = 8.6
    """Whole wall. [m2]"""
    film: Number = 8.0
    """Still air and radiation to the wall. [W/m2/K]"""
    vapour: Number = 1.0
    """Vapour pressure over that of pure propane; 1.12 is commercial propane. [1]"""
    first_setting: Number = 68_950.0
    """First-stage regulator: 10 psi. [Pa]"""
    first_drop: Number = 20_000.0
    """What it takes wide open at the rated flow. [Pa]"""
    second_setting: Number = 2_989.0
    """Second-stage regulator: 12 in. w.c., so that 11 to 13 reach the appliance. [Pa]"""
    second_drop: Number = 14_000.0
    """What it takes wide open at the rated flow. [Pa]"""


class Tank:
    """Liquid of one temperature, heated through the wetted wall, and the two regulators behind it.

    rated_flow : flow at which the regulators take `first_drop` and `second_drop` when wide open. [kg/s]
    """

    __slots__ = (
        "_first",
        "_first_pressure",
        "_fit",
        "_full",
        "_m",
        "_second",
        "_steel",
        "_unit",
        "_wall",
        "freeze",
        "heat_from_outside",
        "liquid",
        "temp",
        "vapour",
    )

    def __init__(self, m: Maths, unit: TankUnit, rated_flow: Number) -> None:
        self._m, self._unit = m, unit
        self.freeze: Number = 0.0
        """Knob: share of both regulators' passage that ice has closed. [1]"""
        self._full = unit.volume * LIQUID_DENSITY
        self.liquid: Number = unit.fill * self._full
        """State: liquid left. [kg]"""
        self.temp: Number = unit.temp + 0.0
        """State: temperature of the liquid. [degC]"""
        self._steel = unit.steel * STEEL_HEAT
        self._wall = unit.film * unit.area
        self._first = unit.first_drop / rated_flow**2
        self._second = unit.second_drop / rated_flow**2
        celsius = np.linspace(-60.0, 60.0, 121)
        fitted = np.polyfit(1 / (celsius + _ZERO), np.log(propane_pressure(celsius)), 4)
        self._fit = tuple(float(coefficient) for coefficient in fitted)
        self.vapour: Number = self._vapour()
        """Output: absolute pressure of the vapour. [Pa]"""
        self.heat_from_outside: Number = 0.0
        """Output: heat through the wetted wall. [W]"""

    def drive(self, box: Number, conductance: Number, resistance: Number, wear: Number, pressure: Number) -> Number:
        """Largest pressure across the orifices that the tank and its regulators can keep up. [Pa]

        box : behind the orifices [Pa]; conductance : square of the flow for each Pa across them [kg2/s2/Pa];
        resistance : of all between the second regulator and them [Pa s2/kg2]; wear : multiplier of the regulators' own
        resistance [1]; pressure : barometer [Pa]. What a flow takes is linear in its square: closed forms.
        """
        m, unit = self._m, self._unit
        open_share = m.maximum(1.0 - self.freeze, _SHUT)
        wear = wear / (open_share * open_share)
        second = self._second * wear
        last = resistance + second
        tank = self.vapour - pressure
        by_second = (unit.second_setting - box) / (1.0 + resistance * conductance)
        by_first = (unit.first_setting - box) / (1.0 + last * conductance)
        by_tank = (tank - box) / (1.0 + (last + self._first * wear) * conductance)
        return m.minimum(m.minimum(by_second, by_first), by_tank)

    def outlet(self, flow_squared: Number, wear: Number, pressure: Number) -> Number:
        """Pressure behind the second-stage regulator, gauge. [Pa]"""
        m, unit = self._m, self._unit
        open_share = m.maximum(1.0 - self.freeze, _SHUT)
        taken = flow_squared * wear / (open_share * open_share)
        first = m.minimum(unit.first_setting, self.vapour - pressure - self._first * taken)
        return m.minimum(unit.second_setting, first - self._second * taken)

    def step(self, dt: float, *, flow: Number, temp_outdoor: Number, charge: Number = 1.0) -> None:
        """Draw `flow` [kg/s] for `dt` [s]; `charge` is the share of the liquid that is reached by heat [1]."""
        temp, held = self.temp, self.liquid * charge
        fill = held / self._full
        root, first, second = _WETTED
        wetted = root * self._m.sqrt(fill) + fill * (first + fill * second)
        self.heat_from_outside = heat = self._wall * wetted * (temp_outdoor - temp)
        vaporising = _VAPORISING[0] + temp * (_VAPORISING[1] + temp * _VAPORISING[2])
        capacity = held * (_LIQUID[0] + temp * (_LIQUID[1] + temp * _LIQUID[2])) + self._steel
        self.temp = temp + dt * (heat - flow * vaporising) / capacity
        self.liquid = self._m.maximum(self.liquid - flow * dt, 0.0)
        self.vapour = self._vapour()

    def _vapour(self) -> Number:
        inverse = 1.0 / (self.temp + _ZERO)
        fourth, third, second, first, constant = self._fit
        log = constant + inverse * (first + inverse * (second + inverse * (third + inverse * fourth)))
        left = self._m.minimum(self.liquid / _LAST, 1.0)
        return self._unit.vapour * self._m.exp(log) * left
