"""Moist air: saturation and dew point."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

LOWEST = -100.0
"""Lower end of the saturation formulas. [degC]"""
HIGHEST = 200.0
"""Upper end of the saturation formulas. [degC]"""

_ZERO = 273.15
"""0 degC. [K]"""
_ICE = (-5674.5359, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5800.2206, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_MEETING = 273.1600005972119
"""Where the two formulas cross: changing over here, and not at 0 degC, leaves no step in the curve. [K]"""

_STEPS = 80
"""Halving the bracket this often alone reaches the last digit; four to six Newton steps usually do."""
_CLOSE = 1e-10
"""A step this small ends the search. [K]"""


def saturation_pressure(temp: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Pressure of the water vapour in saturated air.

    temp : (...) temperature. [degC]
    over : `ice`: over ice below 0.01 degC and liquid above; `water`: over liquid at all temperatures. [-]
    returns : (...) same shape; NaN where an input is NaN or out of range. [Pa]

    Valid: -100 to 200 degC. Over liquid below 0 degC the formula is extrapolated (supercooled water).
    Method: Hyland and Wexler's formulas for ice and for liquid, without the enhancement factor of moist air.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 5 and 6. It changes over at 0 degC, where the
        two formulas differ by 0.01 %; here the change-over is at 0.01 degC, where they cross.
    """
    _check(over)
    celsius = np.asarray(temp, dtype=np.float64)
    usable = (celsius >= LOWEST) & (celsius <= HIGHEST)
    logarithm, _ = _log_pressure(np.where(usable, celsius, 0.0) + _ZERO, over)
    return _scalar(np.where(usable, np.exp(logarithm), np.nan))


def dew_point(temp: ArrayLike, humidity: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Temperature at which moist air becomes saturated when it cools; below 0.01 degC the frost point.

    temp : (...) dry-bulb temperature. [degC]
    humidity : (...) relative humidity, 0 < value <= 1, referred to what `over` says. [1]
    over : as in `saturation_pressure`; with `water` the result is the dew point over liquid at all temperatures. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the result below -100 degC. [degC]

    Valid: -100 to 200 degC. The pressure of the air does not enter.
    Method: solves saturation_pressure(result) = humidity * saturation_pressure(temp) by Newton's method in the
        reciprocal absolute temperature, where the curve is nearly straight, inside a bracket that is halved whenever
        a step would leave it.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 5, 6, 12 and 22.
    """
    _check(over)
    celsius, fraction = np.broadcast_arrays(np.asarray(temp, np.float64), np.asarray(humidity, np.float64))
    usable = (celsius >= LOWEST) & (celsius <= HIGHEST) & (fraction > 0) & (fraction <= 1)
    high = np.where(usable, celsius, 0.0) + _ZERO
    low = np.full_like(high, LOWEST + _ZERO)
    target = _log_pressure(high, over)[0] + np.log(np.where(usable, fraction, 1.0))
    usable &= target >= _log_pressure(low, over)[0]
    target = np.where(usable, target, _log_pressure(high, over)[0])
    kelvin = high
    for _ in range(_STEPS):
        logarithm, slope = _log_pressure(kelvin, over)
        excess = logarithm - target
        low, high = np.where(excess <= 0, kelvin, low), np.where(excess >= 0, kelvin, high)
        newton = kelvin / (1 + excess / (kelvin * slope))
        inside = (newton >= low) & (newton <= high)
        following = np.where(inside, newton, (low + high) / 2)
        done = bool(np.all(np.abs(following - kelvin) <= _CLOSE))
        kelvin = following
        if done:
            break
    return _scalar(np.where(usable, np.minimum(kelvin - _ZERO, celsius), np.nan))


def _check(over: str) -> None:
    if over not in ("ice", "water"):
        raise ValueError(f"unknown surface '{over}' for saturation; known are 'ice' and 'water'")


def _log_pressure(kelvin: NDArray[np.float64], over: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Logarithm of the saturation pressure in Pa, and its slope. [1, 1/K]"""
    liquid = _formula(kelvin, _WATER)
    if over == "water":
        return liquid
    solid, frozen = _formula(kelvin, _ICE), kelvin < _MEETING
    return np.where(frozen, solid[0], liquid[0]), np.where(frozen, solid[1], liquid[1])


def _formula(kelvin: NDArray[np.float64], c: tuple[float, ...]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    power = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
    slope = c[2] + kelvin * (2 * c[3] + kelvin * (3 * c[4] + kelvin * 4 * c[5]))
    return c[0] / kelvin + power + c[6] * np.log(kelvin), slope + (c[6] - c[0] / kelvin) / kelvin


def _scalar(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same array, or a plain number for an array without dimensions."""
    return values[()]
