"""Moist air as a mixture of two ideal gases: saturation, humidity, heat content, density, and the standard atmosphere.

The enhancement factor of the real mixture is left out: humidity ratios are lower than those of the tables of real moist
air by 0.4 to 0.6 % in ordinary air at sea level, less at altitude.
"""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis import psychrometrics_solve as solve
from analysis.psychrometrics_solve import (
    AIR,
    FUSION,
    FUSION_RISE,
    LARGEST,
    LATENT,
    LATENT_FALL,
    MOLE_RATIO,
    VAPOUR,
    ZERO,
    Numbers,
)

LOWEST = solve.LOWEST
"""Lower end of the saturation formulas. [degC]"""
HIGHEST = solve.HIGHEST
"""Upper end of the saturation formulas. [degC]"""
PRESSURES = (20000.0, 120000.0)
"""Barometric pressures: from above the highest mountain to below the deepest mine. [Pa]"""
ALTITUDES = (-5000.0, 11000.0)
"""Ends of the standard atmosphere's formula. [m]"""

_GAS = 287.042
"""Gas constant of dry air. [J/kg/K]"""
_VOLUMES = 1.607858
"""Volume of a mass of water vapour by that of the same mass of dry air, as the handbook rounds it. [1]"""
_SEA_LEVEL = 101325.0
"""[Pa]"""
_LAPSE = 2.25577e-5
"""Fall of temperature with altitude by the temperature at sea level. [1/m]"""
_EXPONENT = 5.2559

_POSITIVE = 5e-324
_BELOW_ONE = 1 - 2**-53
_ROUNDING = 1e-12
"""Saturated air may come out this much above saturation. [1]"""


def saturation_pressure(temp: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Pressure of the water vapour in saturated air.

    temp : (...) temperature, -100 <= value <= 200. [degC]
    over : `ice`: over ice below 0.01 degC and liquid above; `water`: over liquid at all temperatures. [-]
    returns : (...) same shape; NaN where an input is NaN or out of range. [Pa]

    Valid: -100 to 200 degC. Over liquid below 0 degC the formula is extrapolated (supercooled water).
    Method: Hyland and Wexler's formulas for ice and for liquid, without the enhancement factor of moist air.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 5 and 6. It changes over at 0 degC, where the
        two formulas differ by 0.01 %; here the change-over is at 0.01 degC, where they cross.
    """
    solve.check(over)

    def formula(temp: Numbers, out: Numbers | None) -> Numbers:
        return solve.saturated(solve.within(temp, LOWEST, HIGHEST) + ZERO, over, out)

    return solve.blockwise(formula, temp)


def humidity_ratio(temp: ArrayLike, humidity: ArrayLike, pressure: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Mass of water vapour with each unit of mass of dry air.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    humidity : (...) relative humidity, 0 <= value <= 1. [1]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    over : `ice` or `water`: what relative humidity below 0.01 degC refers to. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the vapour alone would have the
        barometric pressure. [kg/kg]

    Valid: ideal gases. At the same relative humidity the vapour pressure of real air is higher by its enhancement
        factor, short of boiling by 0.4 to 0.7 % at sea level and 0.1 to 0.3 % at 20000 Pa, and the humidity ratio by
        that times P / (P - pw).
    Method: 0.621945 pw / (P - pw) with pw = humidity * saturation_pressure(temp).
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 12 and 20.
    """
    solve.check(over)

    def formula(temp: Numbers, humidity: Numbers, pressure: Numbers, out: Numbers | None) -> Numbers:
        vapour = solve.saturated(solve.within(temp, LOWEST, HIGHEST) + ZERO, over)
        vapour *= solve.within(humidity, 0, 1)
        return _ratio(vapour, pressure, out)

    return solve.blockwise(formula, temp, humidity, pressure)


def relative_humidity(temp: ArrayLike, ratio: ArrayLike, pressure: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Relative humidity of air of a known humidity ratio.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio, value >= 0. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    over : `ice` or `water`: what relative humidity below 0.01 degC refers to. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the air would hold more than
        saturated air. [1]

    Valid: ideal gases; the inverse of `humidity_ratio`.
    Method: vapour pressure P W / (0.621945 + W) by saturation_pressure(temp).
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 12 and 20.
    """
    solve.check(over)

    def formula(temp: Numbers, ratio: Numbers, pressure: Numbers, out: Numbers | None) -> Numbers:
        ratio = solve.within(ratio, 0, LARGEST)
        saturation = solve.saturated(solve.within(temp, LOWEST, HIGHEST) + ZERO, over)
        value = ratio + MOLE_RATIO
        value *= saturation
        value = ratio / value
        value *= solve.within(pressure, *PRESSURES)
        return np.minimum(solve.within(value, high=1 + _ROUNDING), 1, out=out)

    return solve.blockwise(formula, temp, ratio, pressure)


def dew_point(temp: ArrayLike, humidity: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Temperature at which moist air becomes saturated when it cools; below 0.01 degC the frost point.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    humidity : (...) relative humidity, 0 < value <= 1, referred to what `over` says. [1]
    over : `ice` or `water`: what relative humidity below 0.01 degC refers to; with `water` the result is the dew point
        over liquid at all temperatures. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the result below -100 degC. [degC]

    Valid: -100 to 200 degC. The pressure of the air does not enter.
    Method: solves saturation_pressure(result) = humidity * saturation_pressure(temp) by Newton's method on the
        logarithms, inside a bracket that is halved whenever a step would leave it.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 5, 6, 12 and 22.
    """
    solve.check(over)

    def formula(temp: Numbers, humidity: Numbers, out: Numbers | None) -> Numbers:
        kelvin = solve.within(temp, LOWEST, HIGHEST) + ZERO
        target = solve.log_pressure(kelvin, over) + np.log(solve.within(humidity, _POSITIVE, 1))
        return np.minimum(solve.dew_point_at(target, kelvin, over) - ZERO, temp, out=out)

    return solve.blockwise(formula, temp, humidity)


def wet_bulb(temp: ArrayLike, humidity: ArrayLike, pressure: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Temperature of a wetted thermometer in moving air; below 0 degC of an iced one.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    humidity : (...) relative humidity, 0 <= value <= 1. [1]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    over : `ice` or `water`: what relative humidity below 0.01 degC refers to; with `water` the bulb is not iced either,
        its water is supercooled. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the vapour alone would have the
        barometric pressure. [degC]

    Valid: the thermodynamic wet bulb of ideal gases, less than 0.01 K below -100 degC at the cold end. With `ice`, air
        somewhat above 0 degC may keep a wet bulb just above and an iced one just below 0 degC; here the bulb is wet
        as long as it can be at 0 degC or more. Where that ends, the result drops from 0 degC to the iced bulb's
        temperature, by up to 0.7 K at sea level and 1.2 K at 20000 Pa. With `water` there is no such step.
    Method: solves the bulb's balance of heat and vapour by Newton's method, inside a bracket that is halved whenever
        a step would leave it.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 33 (wet) and 35 (iced); for supercooled water
        equation 33 is extrapolated.
    """
    solve.check(over)

    def formula(temp: Numbers, humidity: Numbers, pressure: Numbers, out: Numbers | None) -> Numbers:
        temp, pressure = solve.within(temp, LOWEST, HIGHEST), solve.within(pressure, *PRESSURES)
        share = solve.within(
            solve.saturated(temp + ZERO, over) * solve.within(humidity, 0, 1) / pressure, 0, _BELOW_ONE
        )
        return np.minimum(solve.wet_bulb_at(temp, share, pressure, over), temp, out=out)

    return solve.blockwise(formula, temp, humidity, pressure)


def enthalpy(temp: ArrayLike, ratio: ArrayLike) -> NDArray[np.float64]:
    """Heat content of moist air with each unit of mass of dry air, from dry air and liquid water at 0 degC.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio, value >= 0. [kg/kg]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [J/kg]

    Valid: ideal gases of constant specific heats; at the same humidity ratio within 0.4 kJ/kg of real air from -60 to
        40 degC, and within 5 kJ/kg up to 150 degC in air that is half steam.
    Method: 1.006 t + W (2501 + 1.86 t), in kJ/kg.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 30.
    """

    def formula(temp: Numbers, ratio: Numbers, out: Numbers | None) -> Numbers:
        temp = solve.within(temp, LOWEST, HIGHEST)
        value = temp * (1e3 * VAPOUR)
        value += 1e3 * LATENT
        value *= solve.within(ratio, 0, LARGEST)
        return np.add(value, temp * (1e3 * AIR), out=out)

    return solve.blockwise(formula, temp, ratio)


def specific_volume(temp: ArrayLike, ratio: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Volume of moist air with each unit of mass of dry air.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio, value >= 0. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [m3/kg]

    Valid: ideal gases; at the same humidity ratio within 0.1 % of real air from -20 to 40 degC at sea level, and within
        0.6 % from -60 to 150 degC. Per mass of dry air, not of the mixture.
    Method: 287.042 (t + 273.15) (1 + 1.607858 W) / P.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 26.
    """
    return solve.blockwise(_volume, temp, ratio, pressure)


def density(temp: ArrayLike, ratio: ArrayLike, pressure: ArrayLike) -> NDArray[np.float64]:
    """Mass of moist air, vapour included, in each unit of volume.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    ratio : (...) humidity ratio, value >= 0. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [kg/m3]

    Valid: as `specific_volume`.
    Method: (1 + W) / specific_volume.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 11.
    """

    def formula(temp: Numbers, ratio: Numbers, pressure: Numbers, out: Numbers | None) -> Numbers:
        return np.divide(1 + ratio, _volume(temp, ratio, pressure), out=out)

    return solve.blockwise(formula, temp, ratio, pressure)


def pressure_at_altitude(altitude: ArrayLike) -> NDArray[np.float64]:
    """Barometric pressure of the standard atmosphere.

    altitude : (...) above sea level, -5000 <= value <= 11000. [m]
    returns : (...) same shape; NaN where an input is NaN or out of range. [Pa]

    Valid: an average of place and season; weather moves the real pressure by a few per cent.
    Method: 101325 (1 - 2.25577e-5 z)^5.2559.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 3.
    """

    def formula(altitude: Numbers, out: Numbers | None) -> Numbers:
        root = math.pow(_SEA_LEVEL, 1 / _EXPONENT)
        value = solve.within(altitude, *ALTITUDES) * (-root * _LAPSE)
        value += root
        value = np.log(value)
        value *= _EXPONENT
        return np.exp(value, out=out)

    return solve.blockwise(formula, altitude)


def altitude_at_pressure(pressure: ArrayLike) -> NDArray[np.float64]:
    """Altitude at which the standard atmosphere has a barometric pressure.

    pressure : (...) barometric pressure, 22631.9 <= value <= 177687.5. [Pa]
    returns : (...) same shape; NaN where an input is NaN or out of range. [m]

    Valid: -5000 to 11000 m, on average; a few per cent of pressure, as weather moves it, are a few hundred metres.
    Method: the inverse of `pressure_at_altitude`.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 3.
    """

    def formula(pressure: Numbers, out: Numbers | None) -> Numbers:
        value = np.log(solve.within(pressure, 22631.9, 177687.5))
        value *= 1 / _EXPONENT
        value = np.exp(value)
        value *= -1 / (_LAPSE * math.pow(_SEA_LEVEL, 1 / _EXPONENT))
        return np.add(value, 1 / _LAPSE, out=out)

    return solve.blockwise(formula, pressure)


def humidity_ratio_from_wet_bulb(
    temp: ArrayLike, wet_bulb: ArrayLike, pressure: ArrayLike, over: str = "ice"
) -> NDArray[np.float64]:
    """Humidity ratio from the two thermometers of a psychrometer.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    wet_bulb : (...) wet-bulb temperature, -100 <= value <= 200, not above `temp`. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    over : `ice`: below 0 degC the bulb is iced; `water`: it is wet at all temperatures. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the wet bulb lower than that of
        perfectly dry air. [kg/kg]

    Valid: the thermodynamic wet bulb of ideal gases; the inverse of `wet_bulb`.
    Method: (g Ws(x) - 1.006 (t - x)) / (g + 1.86 (t - x)) with the wet bulb x and its latent heat g, 2501 - 2.326 x
        where it is wet and 2830 - 0.24 x where it is iced; the handbook's two equations, their terms gathered.
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 33 (wet) and 35 (iced); for supercooled water
        equation 33 is extrapolated.
    """
    solve.check(over)

    def formula(temp: Numbers, bulb: Numbers, pressure: Numbers, out: Numbers | None) -> Numbers:
        bulb = solve.within(bulb, LOWEST, HIGHEST)
        at_bulb = _ratio(solve.saturated(bulb + ZERO, over), pressure)
        latent = bulb * -LATENT_FALL
        latent += LATENT
        if over == "ice":
            fusion = bulb * FUSION_RISE
            fusion += FUSION
            fusion *= bulb < 0
            latent += fusion
        depression = solve.within(solve.within(temp, LOWEST, HIGHEST) - bulb, 0)
        at_bulb *= latent
        given = at_bulb - depression * AIR
        depression = depression * VAPOUR
        depression += latent
        return np.divide(solve.within(given, 0), depression, out=out)

    return solve.blockwise(formula, temp, wet_bulb, pressure)


def humidity_ratio_from_dew_point(dew_point: ArrayLike, pressure: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Humidity ratio from the dew point, below 0.01 degC from the frost point.

    dew_point : (...) dew point, -100 <= value <= 200. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    over : `ice`, or `water` where the dew point below 0.01 degC is one over liquid. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the vapour alone would have the
        barometric pressure. [kg/kg]

    Valid: ideal gases, as `humidity_ratio`.
    Method: 0.621945 pw / (P - pw) with pw = saturation_pressure(dew_point).
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 20 and 36.
    """
    solve.check(over)

    def formula(dew: Numbers, pressure: Numbers, out: Numbers | None) -> Numbers:
        return _ratio(solve.saturated(solve.within(dew, LOWEST, HIGHEST) + ZERO, over), pressure, out)

    return solve.blockwise(formula, dew_point, pressure)


def humidity_from_dew_point(temp: ArrayLike, dew_point: ArrayLike, over: str = "ice") -> NDArray[np.float64]:
    """Relative humidity from the dew point, below 0.01 degC from the frost point.

    temp : (...) dry-bulb temperature, -100 <= value <= 200. [degC]
    dew_point : (...) dew point, -100 <= value <= 200, not above `temp`. [degC]
    over : `ice`, or `water` where both refer to liquid below 0.01 degC as well. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: -100 to 200 degC; the inverse of `dew_point`. The pressure of the air does not enter.
    Method: saturation_pressure(dew_point) / saturation_pressure(temp).
    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equations 12 and 22.
    """
    solve.check(over)

    def formula(temp: Numbers, dew: Numbers, out: Numbers | None) -> Numbers:
        value = solve.log_pressure(solve.within(dew, LOWEST, HIGHEST) + ZERO, over)
        value -= solve.log_pressure(solve.within(temp, LOWEST, HIGHEST) + ZERO, over)
        return np.minimum(np.exp(solve.within(value, high=_ROUNDING)), 1, out=out)

    return solve.blockwise(formula, temp, dew_point)


def _ratio(vapour: Numbers, pressure: Numbers, out: Numbers | None = None) -> Numbers:
    """Humidity ratio from the pressure of the vapour, which is used up. [kg/kg]"""
    dry = solve.within(solve.within(pressure, *PRESSURES) - vapour, _POSITIVE)
    vapour *= MOLE_RATIO
    return np.divide(vapour, dry, out=out)


def _volume(temp: Numbers, ratio: Numbers, pressure: Numbers, out: Numbers | None = None) -> Numbers:
    value = solve.within(ratio, 0, LARGEST) * (_GAS * _VOLUMES)
    value += _GAS
    value = value * (solve.within(temp, LOWEST, HIGHEST) + ZERO)
    return np.divide(value, solve.within(pressure, *PRESSURES), out=out)
