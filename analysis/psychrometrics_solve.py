"""What the functions of moist air are computed with: blocks, the saturation curve, and its inverses."""

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Numbers = NDArray[np.float64]

LOWEST = -100.0
"""Lower end of the saturation formulas. [degC]"""
HIGHEST = 200.0
"""Upper end of the saturation formulas. [degC]"""
ZERO = 273.15
"""0 degC. [K]"""
MOLE_RATIO = 0.621945
"""Mole mass of water vapour by that of dry air. [1]"""

BLOCK = 16384
"""Elements computed at a time: the intermediate results of a step stay in the processor's cache."""

ICE = (-5674.5359, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
WATER = (-5800.2206, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_MEETING = 273.1600005972119
"""Where the two formulas cross: changing over here, and not at 0 degC, leaves no step in the curve. [K]"""
_MAGNUS_ICE, _MAGNUS_WATER = (22.46, 272.62), (17.62, 243.12)
"""Magnus formula, WMO-No. 8 (2018), annex 4.B: only where the search for a dew point begins. [1, degC]"""
_MAGNUS_PRESSURE = math.log(611.2)
"""Logarithm of its pressure at 0 degC in Pa. [1]"""

AIR, VAPOUR = 1.006, 1.86
"""Specific heats. [kJ/kg/K]"""
LATENT, LATENT_FALL = 2501.0, 2.326
"""Latent heat of evaporation at 0 degC, and its fall with temperature. [kJ/kg, kJ/kg/K]"""
FUSION, FUSION_RISE = 329.0, 2.086
"""What sublimation takes more than evaporation at 0 degC, and its rise with temperature: 2830 - 0.24 x in the
handbook's equation for an iced bulb, where that for a wet one has 2501 - 2.326 x. [kJ/kg, kJ/kg/K]"""

LARGEST = 1e300
"""Greatest input where the range has no upper end: nothing computed from it overflows."""
_BEYOND = 0.01
"""The bulb of the coldest air is less than this colder still. [K]"""
_STEPS = 100
"""Halving the bracket this often alone reaches the last digit; three to eight Newton steps usually do."""
_NEWTON = 1e-6
"""Newton's steps are squared from one to the next: after one this small, what is left is below 1e-12. [K]"""
_BRACKET = 1e-11
"""A bracket this narrow ends the search as well. [K]"""


def check(over: str) -> None:
    """ValueError where the surface is not known."""
    if over not in ("ice", "water"):
        raise ValueError(f"unknown surface '{over}' for saturation; known are 'ice' and 'water'")


def blockwise(formula: Callable[..., Numbers], *inputs: ArrayLike) -> Numbers:
    """The formula over the broadcast inputs, a block at a time; a plain number for inputs without dimensions.

    `formula(*blocks, out=...)` gets blocks of one dimension, and inputs without dimensions as they are; it writes
    its result to `out` where that is not None, and returns it.
    """
    arrays = [np.asarray(one, np.float64) for one in inputs]
    if not any(array.ndim for array in arrays):
        return formula(*arrays, out=None)[()]
    spread: list[Any] = [array for array in arrays if array.ndim]
    roles: Any = [["readonly"]] * len(spread) + [["writeonly", "allocate"]]
    with np.nditer([*spread, None], ["external_loop", "buffered", "zerosize_ok"], roles, buffersize=BLOCK) as blocks:
        for *parts, out in blocks:
            following = iter(parts)
            formula(*(next(following) if array.ndim else array for array in arrays), out=out)
        return np.asarray(blocks.operands[-1])


def within(values: Numbers, low: float = -math.inf, high: float = math.inf) -> Numbers:
    """The values with NaN where one is outside of `low` to `high`; the same array where none is.

    As `analysis.ranges.bounded`, but quicker: a look at the smallest and the largest usually is all it takes.
    """
    if values.ndim == 0:
        return values if low <= values <= high else np.asarray(np.nan)
    if (low == -math.inf or np.minimum.reduce(values) >= low) and (
        high == math.inf or np.maximum.reduce(values) <= high
    ):
        return values
    kept = values.copy()
    kept[np.flatnonzero(~((values >= low) & (values <= high)))] = np.nan
    return kept


def either(
    cold: NDArray[np.bool_],
    formula: Callable[..., Numbers],
    constants: tuple[tuple[float, ...], tuple[float, ...]],
    *inputs: Numbers,
) -> Numbers:
    """The formula with the first constants, and with the second ones where it is cold, but nowhere both in vain."""
    if cold.ndim == 0:
        return formula(constants[int(cold)], *inputs)
    (where,) = cold.nonzero()
    if where.size in (0, cold.size):
        return formula(constants[1 if where.size else 0], *inputs)
    values = formula(constants[0], *inputs)
    values[where] = formula(constants[1], *(one.take(where) if one.ndim else one for one in inputs))
    return values


def log_pressure(kelvin: Numbers, over: str) -> Numbers:
    """Logarithm of the saturation pressure in Pa. [1]"""
    return _saturation(_logarithm, kelvin, over)


def saturated(kelvin: Numbers, over: str, out: Numbers | None = None) -> Numbers:
    """Saturation pressure. [Pa]"""
    values = log_pressure(kelvin, over)
    return np.exp(values, out=values if out is None and values.ndim else out)


def _saturation(curve: Callable[..., Numbers], kelvin: Numbers, over: str) -> Numbers:
    if over == "water":
        return curve(WATER, kelvin)
    return either(kelvin < _MEETING, curve, (WATER, ICE), kelvin)


def _logarithm(c: tuple[float, ...], kelvin: Numbers) -> Numbers:
    terms = c[5:0:-1] if c[5] else c[4:0:-1]
    values = kelvin * terms[0]
    for term in terms[1:-1]:
        values += term
        values *= kelvin
    values += terms[-1]
    part = c[0] / kelvin
    values += part
    part = np.log(kelvin, out=part if part.ndim else None)
    part *= c[6]
    values += part
    return values


def _slope(c: tuple[float, ...], kelvin: Numbers) -> Numbers:
    rational = (c[6] - c[0] / kelvin) / kelvin
    return rational + (c[2] + kelvin * (2 * c[3] + kelvin * (3 * c[4] + kelvin * (4 * c[5]))))


def dew_point_at(target: Numbers, high: Numbers, over: str) -> Numbers:
    """Temperature, -100 degC to `high` [K], whose saturation pressure has the logarithm `target`; NaN below. [K]"""
    low = np.asarray(LOWEST + ZERO)
    reached = within(target, float(log_pressure(low, over)))
    above = reached - _MAGNUS_PRESSURE
    frozen = (above < 0) & (over == "ice")
    start = either(frozen, _magnus, (_MAGNUS_WATER, _MAGNUS_ICE), above) + ZERO

    def curve(kelvin: Numbers, wanted: Numbers) -> tuple[Numbers, Numbers]:
        return log_pressure(kelvin, over) - wanted, _saturation(_slope, kelvin, over)

    return rising_root(curve, low, high, np.minimum(np.maximum(start, low), high), reached)


def wet_bulb_at(temp: Numbers, share: Numbers, pressure: Numbers, over: str) -> Numbers:
    """Wet bulb of air in which water vapour has the share `share` of the barometric pressure. [degC]

    The balance of the bulb x, W (g + 1.86 (t - x)) = g Ws(x) - 1.006 (t - x) with its latent heat g, has poles where
    the vapour in the air or at the bulb takes up the whole pressure. Multiplied by both shares of dry air it has none,
    and rises; as it bends upwards too, Newton's steps from the highest possible bulb come down to its zero.
    """
    iced, low, high = np.asarray(0.0), np.asarray(LOWEST - _BEYOND), temp
    if over == "ice":
        stays_wet = (temp >= 0) & (_bulb(over, np.asarray(0.0), temp, share, pressure, iced)[0] <= 0)
        iced = np.where(stays_wet, 0.0, 1.0)
        low, high = np.where(stays_wet, 0.0, low), np.where(stays_wet, temp, np.minimum(temp, 0.0))
    return rising_root(partial(_bulb, over), low, high, high + 0 * share, temp, share, pressure, iced)


def rising_root(
    curve: Callable[..., tuple[Numbers, Numbers]], low: Numbers, high: Numbers, start: Numbers, *parameters: Numbers
) -> Numbers:
    """Where a rising curve crosses zero: Newton's method, and halving of the bracket where a step would leave it.

    `curve(x, *parameters)` returns value and slope; `start` lies between `low` and `high` and has the full shape.
    What has settled is left out of the further steps. NaN in `start` gives NaN.
    """
    x, found, where = start, start, None
    for _ in range(_STEPS):
        value, slope = curve(x, *parameters)
        low, high = np.where(value > 0, low, x), np.where(value < 0, high, x)
        newton = x - value / slope
        inside = (newton >= low) & (newton <= high)
        following = np.where(inside, newton, (low + high) / 2)
        going = np.where(inside, np.abs(following - x) > _NEWTON, high - low > _BRACKET)
        x = following
        if where is None:
            found = x
        else:
            found[where] = x
        if not going.any():
            break
        left = np.flatnonzero(going)
        if left.size < 0.75 * going.size:
            where = left if where is None else where[left]
            x, low, high = x[left], low[left], high[left]
            parameters = tuple(one[left] if one.ndim else one for one in parameters)
    return found


def _magnus(c: tuple[float, ...], above: Numbers) -> Numbers:
    return c[1] * above / (c[0] - above)


def _bulb(over: str, bulb: Numbers, *air: Numbers) -> tuple[Numbers, Numbers]:
    """Balance of the bulb multiplied by both shares of dry air, and its slope. [kJ/kg, kJ/kg/K]"""
    temp, share, pressure, iced = air
    kelvin = bulb + ZERO
    at_bulb = saturated(kelvin, over) / pressure
    dry, vapour = 1 - share, MOLE_RATIO * share
    latent = LATENT - LATENT_FALL * bulb + iced * (FUSION + FUSION_RISE * bulb)
    bend = iced * FUSION_RISE - LATENT_FALL
    heat = AIR * dry + VAPOUR * vapour
    given, taken = MOLE_RATIO * dry * latent, heat * (temp - bulb) + vapour * latent
    value = given * at_bulb - (1 - at_bulb) * taken
    slope = (given + taken) * at_bulb * _saturation(_slope, kelvin, over)
    slope += MOLE_RATIO * dry * bend * at_bulb + (1 - at_bulb) * (heat - vapour * bend)
    return value, slope
