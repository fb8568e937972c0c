"""Fuel gas: orifices, clocking the meter, manifold pressure, altitude, and the propane tank in the cold.

These functions judge readings. Opening or adjusting gas parts belongs to licensed people and the maker's instructions.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.points import nearest
from analysis.psychrometrics import pressure_at_altitude
from analysis.ranges import bounded, finite, quiet

CUBIC_FOOT = 0.028316846592
"""[m3]"""
FOOT = 0.3048
"""[m]"""
POUND_HEAT = 2326.0
"""One Btu/lb. [J/kg]"""
DIALS = (0.25 * CUBIC_FOOT, 0.5 * CUBIC_FOOT, CUBIC_FOOT, 2 * CUBIC_FOOT, 5 * CUBIC_FOOT, 0.01, 0.1)
"""Usual sizes of test dials: 1/4, 1/2, 1, 2 and 5 ft3, 0.01 and 0.1 m3; common practice, no published source. [m3]"""
BASE_TEMPERATURE = 288.70555555555556
"""60 degF, where heating values are stated. [K]"""
BASE_PRESSURE = 101559.7748
"""14.73 psi absolute, where heating values are stated. [Pa]"""

_ZERO = 273.15
"""0 degC. [K]"""
_ORIFICE = 1658.5 * CUBIC_FOOT / 3600 / (0.0254**2 * 249.08891**0.5)
"""The trade's orifice constant, given there in ft3/h, square inches and inches of water: the root of 2 over the density
of air, which it puts at 1.2184 kg/m3. [m/s/Pa**0.5]"""

CRITICAL_TEMPERATURE = 369.89
"""Of propane. [K]"""
CRITICAL_PRESSURE = 4.2512e6
"""Of propane. [Pa]"""
_SATURATION = ((-6.7722, 1.0), (1.6938, 1.5), (-1.3341, 2.2), (-3.1876, 4.8), (0.94937, 6.2))
"""Coefficients and exponents of propane's vapour pressure."""
COMMERCIAL = 1.12
"""Vapour pressure of commercial propane over that of pure propane, both absolute. Property sheets of the trade give
127, 196, 210 and 287 psi gauge at 70, 100, 105 and 130 degF, which is 1.104 to 1.134; grades differ by 3 %. [1]"""
PROPANE_HEAT = 21_591 * POUND_HEAT
"""Higher heating value of liquid propane, property sheets of LP-gas suppliers. [J/kg]"""
VAPORISING_HEAT = 375e3
"""Of propane at 0 degC, equation of state of Lemmon, McLinden and Wagner; 427e3 at -43, 332e3 at 27 degC. [J/kg]"""
HEAT_OF_LIQUID = 2490.0
"""Heat capacity of liquid propane at 0 degC, the same equation of state; 2240 at -43, 2740 at 27 degC. [J/kg/K]"""
HEAT_OF_STEEL = 480.0
"""Heat capacity of carbon steel, handbook value. [J/kg/K]"""


@dataclass(frozen=True, slots=True)
class AltitudeRule:
    """One reading of how the input is reduced at altitude; above 2000 ft it takes off a share for each 1000 ft."""

    name: str
    text: str
    """The rule in words."""
    source: str
    each: float = 0.0
    """Taken off for each 1000 ft. [1]"""
    origin: float = 0.0
    """Where those are counted from. [ft]"""
    flat: float = 0.0
    """Taken off at once. [1]"""
    end: float = np.inf
    """Above this the rule says nothing: a kit and the maker's instructions are needed. [ft]"""
    physics: bool = False
    """The density of the air, and none of the numbers above."""


ALTITUDE_BEGIN = 2000.0
"""Up to here the rules in use take nothing off. [ft]"""
_MANUALS = "published installation manuals, brand withheld"
ALTITUDE_RULES: Mapping[str, AltitudeRule] = MappingProxyType(
    {
        rule.name: rule
        for rule in (
            AltitudeRule("four percent from sea level", "4 % a 1000 ft from sea level, above 2000 ft", _MANUALS, 0.04),
            AltitudeRule("four percent from 2000 ft", "4 % a 1000 ft from 2000 ft", "a trade page", 0.04, 2000.0),
            AltitudeRule("two percent from sea level", "2 % a 1000 ft from sea level, above 2000 ft", _MANUALS, 0.02),
            AltitudeRule("ten percent to 4500 ft", "10 % from 2000 to 4500 ft", _MANUALS, flat=0.10, end=4500.0),
            AltitudeRule("five percent to 4500 ft", "5 % from 2000 to 4500 ft", _MANUALS, flat=0.05, end=4500.0),
            AltitudeRule("unchanged to 5500 ft", "no change to 5500 ft, a kit above", _MANUALS, end=5500.0),
            AltitudeRule("density ratio", "density of the air", "physics, the standard atmosphere", physics=True),
        )
    }
)
"""Readings in published use that contradict each other: which one was taken belongs in the record."""


@quiet
def orifice_flow(
    diameter: ArrayLike, pressure: ArrayLike, specific_gravity: ArrayLike, coefficient: ArrayLike = 0.90
) -> NDArray[np.float64]:
    """Gas flow through a burner orifice.

    diameter : (...) bore of the orifice, 0 < value <= 0.05. [m]
    pressure : (...) manifold pressure before the orifice, gauge, 0 <= value <= 10000. [Pa]
    specific_gravity : (...) density of the gas over that of air, 0.05 <= value <= 5. [1]
    coefficient : (...) discharge coefficient, 0 < value <= 1; 0.90 for the usual spud. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [m3/s]

    Valid: gas near 60 degF and sea level; tables of the codes lie up to 5 % off the formula, so that the meter decides.
    Method: Bernoulli's equation, coefficient * area * sqrt(2 * pressure / density), with the air of 1.2184 kg/m3 that
        the trade's constant 1658.5 (ft3/h, square inches, inches of water) implies; air of 60 degF gives 0.2 % less.
    Source: the trade's formula as used in BCcampus, open plumbing textbook, appendix 2, whose table it reproduces.
    """
    bore = bounded(diameter, above=0.0, high=0.05)
    velocity = _ORIFICE * np.sqrt(bounded(pressure, 0.0, 10000.0) / bounded(specific_gravity, 0.05, 5.0))
    return finite(bounded(coefficient, above=0.0, high=1.0) * (np.pi / 4.0 * bore**2) * velocity)


@quiet
def gravity_factor(specific_gravity: ArrayLike, base: ArrayLike = 0.60) -> NDArray[np.float64]:
    """Multiplier for the flow of a gas of another gravity than that of a table.

    specific_gravity : (...) density of the gas over that of air, 0.05 <= value <= 5. [1]
    base : (...) gravity that the table is made for, 0.05 <= value <= 5. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: orifices and short pipes of turbulent flow.
    Method: root of the base over the gravity.
    Source: Bernoulli's equation; multiplier tables of fuel gas codes and piping guides follow it.
    """
    return finite(np.sqrt(bounded(base, 0.05, 5.0) / bounded(specific_gravity, 0.05, 5.0)))


@quiet
def wobbe_index(heating_value: ArrayLike, specific_gravity: ArrayLike) -> NDArray[np.float64]:
    """Wobbe index: gases of one index give one input through one orifice at one pressure.

    heating_value : (...) higher heating value by volume, value > 0. [J/m3]
    specific_gravity : (...) density of the gas over that of air, 0.05 <= value <= 5. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [J/m3]

    Valid: heating value and gravity at the same conditions.
    Method: heating value over the root of the gravity.
    Source: definition, ISO 6976.
    """
    return finite(bounded(heating_value, above=0.0) / np.sqrt(bounded(specific_gravity, 0.05, 5.0)))


@quiet
def meter_flow(dial: ArrayLike, revolutions: ArrayLike, seconds: ArrayLike) -> NDArray[np.float64]:
    """Gas flow from the test dial of a meter and a stopwatch.

    dial : (...) volume of one revolution, see `DIALS`, value > 0. [m3]
    revolutions : (...) turns that were timed, value >= 0. [1]
    seconds : (...) time that they took, value > 0. [s]
    returns : (...) flow as the meter counts, broadcast shape; NaN where an input is NaN or out of range. [m3/s]

    Valid: other appliances off by their controls, their gas left on, pilots known; whole turns, a minute or more.
    Method: dial times turns over time.
    Source: definition; tables in installation manuals are this quotient, rounded.
    """
    return finite(bounded(dial, above=0.0) * bounded(revolutions, 0.0) / bounded(seconds, above=0.0))


@quiet
def absolute_pressure(gauge: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Absolute pressure of the gas in a meter or pipe.

    gauge : (...) pressure against the outside air. [Pa]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the result is not positive. [Pa]

    Valid: barometer of the place, not reduced to sea level.
    Method: sum.
    Source: definition.
    """
    return finite(bounded(bounded(gauge) + bounded(pressure, 20000.0, 120000.0), above=0.0))


@quiet
def meter_correction(temp: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Multiplier from what a meter without compensation counts to gas at 60 degF and 14.73 psi absolute.

    temp : (...) gas in the meter, -50 <= value <= 60. [degC]
    pressure : (...) absolute pressure of the gas in the meter, see `absolute_pressure`, 20000 <= value <= 300000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: dry gas; compressibility left out, which is 0.3 % for methane at house pressure, 1.1 % to 300 kPa.
    Method: ideal gas, pressure over base pressure times base temperature over temperature.
    Source: ideal gas law; base 60 degF and 14.73 psi absolute as usual for billing in North America.
    """
    kelvin = bounded(temp, -50.0, 60.0) + _ZERO
    return finite(bounded(pressure, 20000.0, 300000.0) / BASE_PRESSURE * (BASE_TEMPERATURE / kelvin))


@quiet
def meter_input(
    volume: ArrayLike,
    seconds: ArrayLike,
    heating_value: ArrayLike,
    temp: ArrayLike | None = None,
    pressure: ArrayLike | None = None,
    *,
    others: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Input of an appliance by clocking the gas meter.

    volume : (...) gas that the meter counted, value > 0. [m3]
    seconds : (...) time that it took, value > 0. [s]
    heating_value : (...) higher heating value by volume at 60 degF and 14.73 psi absolute, value > 0. [J/m3]
    temp : (...) gas in the meter, -50 <= value <= 60; none, with none for the pressure, where the meter compensates
        by itself or nothing is to be corrected. [degC]
    pressure : (...) absolute pressure of the gas in the meter, see `absolute_pressure`, 20000 <= value <= 300000; none
        as for the temperature. [Pa]
    others : (...) input of appliances and pilots that stayed on, value >= 0; 0 where all were off. [W]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the others take more than all. [W]

    Valid: after 10 min of firing, other appliances off by their controls with their gas left on, so that no pilot goes
        out; heating value from the gas supplier. An input outside the rating plate's window is for licensed people.
    Method: volume over time times heating value, times `meter_correction` where temperature and pressure are given,
        less the others.
    Source: definition; clocking as in installation manuals and NFPA 54, annex on input checks.
    """
    if (temp is None) != (pressure is None):
        raise ValueError("a meter is corrected with both temp and pressure of its gas; give both or neither")
    total = bounded(volume, above=0.0) / bounded(seconds, above=0.0) * bounded(heating_value, above=0.0)
    if temp is not None and pressure is not None:
        total = total * meter_correction(temp, pressure)
    return finite(bounded(total - bounded(others, 0.0), 0.0))


@quiet
def input_at_manifold(rated: ArrayLike, rated_pressure: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Input to expect at another manifold pressure than the rated one.

    rated : (...) input at the rated manifold pressure, value >= 0. [W]
    rated_pressure : (...) rated manifold pressure, value > 0. [Pa]
    pressure : (...) manifold pressure as read, value >= 0. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [W]

    Valid: same orifices and same gas, both pressures against the same side. A reading outside the maker's window is for
        licensed people, and the manifold pressure never makes up for altitude.
    Method: input in proportion to the root of the pressure.
    Source: Bernoulli's equation.
    """
    share = bounded(pressure, 0.0) / bounded(rated_pressure, above=0.0)
    return finite(bounded(rated, 0.0) * np.sqrt(share))


@quiet
def altitude_factor(altitude: ArrayLike, rule: str) -> NDArray[np.float64]:
    """Multiplier for the rated input at altitude, by the rule that is named; the rules contradict each other.

    altitude : (...) height above sea level, -500 <= value <= 4500. [m]
    rule : `four percent from sea level`, `four percent from 2000 ft`, `two percent from sea level`,
        `ten percent to 4500 ft`, `five percent to 4500 ft`, `unchanged to 5500 ft` or `density ratio`. [-]
    returns : (...) same shape; NaN where the input is NaN or out of range, or the rule says nothing. [1]

    Valid: the maker's instructions and the local code say which rule holds; record it. Orifices, never the manifold
        pressure, make the change, and that is licensed work.
    Method: 1 up to 2000 ft, above it 1 less what the rule takes off; for the density ratio the pressure of the standard
        atmosphere over that at sea level.
    Source: published installation manuals, brand withheld, after NFPA 54, annex E; 4 % from 2000 ft a trade page;
        density ratio ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 3.
    """
    if rule not in ALTITUDE_RULES:
        raise ValueError(f"unknown altitude rule '{rule}'{nearest(rule, ALTITUDE_RULES) or _all(ALTITUDE_RULES)}")
    chosen, metres = ALTITUDE_RULES[rule], bounded(altitude, -500.0, 4500.0)
    if chosen.physics:
        return finite(pressure_at_altitude(metres) / pressure_at_altitude(0.0))
    feet = np.round(metres / FOOT, 6)
    less = chosen.flat + chosen.each * (feet - chosen.origin) / 1000.0
    factor = np.where(feet > ALTITUDE_BEGIN, 1.0 - less, 1.0)
    return finite(np.where(feet <= chosen.end, factor, np.nan))


@quiet
def propane_pressure(temp: ArrayLike, kind: str = "pure") -> NDArray[np.float64]:
    """Vapour pressure over liquid propane, absolute.

    temp : (...) temperature of the liquid, -60 <= value <= 60. [degC]
    kind : `pure`, or `commercial` with its lighter parts. [-]
    returns : (...) same shape; NaN where the input is NaN or out of range. [Pa]

    Valid: pure propane to 0.05 %. Commercial to about 3 %, published from 0 to 130 degF only; in deeper cold its
        factor is an assumption, and as a tank empties its lighter parts go first and the factor falls.
    Method: equation of Wagner's form; commercial is 1.12 times pure at every temperature.
    Source: Lemmon, McLinden and Wagner, J. Chem. Eng. Data 54 (2009) 3141, equation for the vapour pressure; for
        commercial propane property sheets of the trade, mean of their figures.
    """
    factors = {"pure": 1.0, "commercial": COMMERCIAL}
    if kind not in factors:
        raise ValueError(f"unknown kind of propane '{kind}'{nearest(kind, factors) or _all(factors)}")
    kelvin = bounded(temp, -60.0, 60.0) + _ZERO
    below = 1.0 - kelvin / CRITICAL_TEMPERATURE
    exponent = np.zeros_like(below)
    for coefficient, power in _SATURATION:
        exponent = exponent + coefficient * below**power
    return finite(factors[kind] * CRITICAL_PRESSURE * np.exp(CRITICAL_TEMPERATURE / kelvin * exponent))


@quiet
def tank_pressure(temp: ArrayLike, pressure: ArrayLike = 101325.0, kind: str = "pure") -> NDArray[np.float64]:
    """Pressure in a propane tank, gauge; it follows the temperature of the liquid, not its level.

    temp : (...) temperature of the liquid, -60 <= value <= 60. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000; sea level where it is left out. [Pa]
    kind : `pure`, or `commercial` with its lighter parts. [-]
    returns : (...) broadcast shape, negative below the boiling point, where no gas flows; NaN where an input is NaN or
        out of range. [Pa]

    Valid: as `propane_pressure`, liquid left in the tank.
    Method: `propane_pressure` less the barometer.
    Source: as `propane_pressure`.
    """
    return finite(propane_pressure(temp, kind) - bounded(pressure, 20000.0, 120000.0))


@quiet
def tank_cooling_rate(
    draw: ArrayLike, liquid: ArrayLike, heat_from_outside: ArrayLike = 0.0, metal: ArrayLike = 0.0
) -> NDArray[np.float64]:
    """How fast a propane tank chills while gas is drawn; negative where the outside warms it faster.

    draw : (...) input of all appliances on the tank, of higher heating value, value >= 0. [W]
    liquid : (...) propane in the tank, value > 0. [kg]
    heat_from_outside : (...) heat that comes in through the wetted wall. [W]
    metal : (...) steel that cools with the liquid, value >= 0; 0 leaves it out and overstates the rate. [kg]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [K/s]

    Valid: liquid of one temperature near 0 degC, where the constants were taken; without steel the rate is 21 % too low
        at -43 and 24 % too high at 27 degC.
    Method: vaporising heat of the drawn gas less the heat from outside, over the heat capacity of liquid and steel.
    Source: energy balance; 375 kJ/kg and 2490 J/kg/K of propane at 0 degC, equation of state of Lemmon, McLinden
        and Wagner (2009); 21 591 Btu/lb from property sheets of the trade; 480 J/kg/K of steel, handbook value.
    """
    vaporising = bounded(draw, 0.0) / PROPANE_HEAT * VAPORISING_HEAT
    return finite((vaporising - bounded(heat_from_outside)) / _tank_capacity(liquid, metal))


@quiet
def tank_temperature(
    temp_outdoor: ArrayLike,
    draw: ArrayLike,
    liquid: ArrayLike,
    seconds: ArrayLike,
    conductance: ArrayLike,
    *,
    metal: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Temperature of the liquid in a propane tank from which gas is drawn; `tank_pressure` of it shows the sag.

    temp_outdoor : (...) outdoor air, and the liquid at the start, -60 <= value <= 60. [degC]
    draw : (...) input of all appliances on the tank, of higher heating value, value >= 0. [W]
    liquid : (...) propane in the tank, value > 0. [kg]
    seconds : (...) time since the draw began, value >= 0. [s]
    conductance : (...) heat through the wetted wall for each degree below outdoors, value >= 0. [W/K]
    metal : (...) steel that cools with the liquid, value >= 0; 0 leaves it out and overstates the fall. [kg]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, where all the liquid would be drawn, or
        the result would be below -60 degC. [degC]

    Valid: constant draw that takes a small part of the liquid, liquid of one temperature, no sun, frost or rain on the
        wall; the fall is up to 21 % too small in deep cold, as in `tank_cooling_rate`. Below -42 degC no gas flows at
        sea level and the draw could not last.
    Method: closed form of m c dT/dt = UA (outdoor - T) - vaporising heat of the drawn gas.
    Source: energy balance; 375 kJ/kg and 2490 J/kg/K of propane at 0 degC, equation of state of Lemmon, McLinden
        and Wagner (2009); 21 591 Btu/lb from property sheets of the trade; 480 J/kg/K of steel, handbook value.
    """
    outdoor, time = bounded(temp_outdoor, -60.0, 60.0), bounded(seconds, 0.0)
    capacity, drawn = _tank_capacity(liquid, metal), bounded(draw, 0.0) / PROPANE_HEAT
    decay = bounded(conductance, 0.0) * time / capacity
    some = decay > 0
    mean = np.where(some, -np.expm1(-decay) / np.where(some, decay, 1.0), np.where(np.isnan(decay), np.nan, 1.0))
    temp = bounded(outdoor - drawn * VAPORISING_HEAT * time / capacity * mean, -60.0)
    return finite(np.where(drawn * time < bounded(liquid, above=0.0), temp, np.nan))


def _tank_capacity(liquid: ArrayLike, metal: ArrayLike) -> NDArray[np.float64]:
    """Heat capacity of liquid and steel. [J/K]"""
    return bounded(liquid, above=0.0) * HEAT_OF_LIQUID + bounded(metal, 0.0) * HEAT_OF_STEEL


def _all(names: Mapping[str, object]) -> str:
    return f"; known: {', '.join(names)}"
