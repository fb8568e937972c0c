"""Moist air in plain floats, for steps of one unit: the formulas of `analysis.psychrometrics`, whose sources hold here.

Nothing is refused: the caller keeps temperatures within -100 to 100 degC and vapour below the barometric pressure.
"""

from math import exp, log

from analysis.psychrometrics_solve import AIR, ICE, LATENT, LATENT_FALL, MOLE_RATIO, VAPOUR, WATER, ZERO

AIR_HEAT, VAPOUR_HEAT, WATER_HEAT = 1e3 * AIR, 1e3 * VAPOUR, 4186.0
"""Specific heat of dry air, vapour and water. [J/kg/K]"""
VAPORISING = 1e3 * LATENT
"""Heat of vaporising at 0 degC. [J/kg]"""

_MEETING = 273.1600005972119
"""Where the formulas for ice and water cross, as in `analysis.psychrometrics_solve`. [K]"""
_MEETING_PRESSURE = 611.65705447
"""Saturation pressure there. [Pa]"""
_MAGNUS_ICE, _MAGNUS_WATER = (22.46, 272.62), (17.62, 243.12)
"""Magnus formula, WMO-No. 8 (2018), annex 4.B: only where the search for a dew point begins. [1, degC]"""
_MAGNUS_PRESSURE = 611.2
"""Its pressure at 0 degC. [Pa]"""
AIR_GAS = 287.042
"""Gas constant of dry air. [J/kg/K]"""
VAPOUR_VOLUMES = 1.607858
"""Volume of a mass of vapour by that of the same mass of dry air. [1]"""
_SETTLED, _STEPS = 1e-7, 50
"""A wet bulb that moves by less is found; so many steps are never needed. [K, 1]"""
_I0, _I1, _I2, _I3, _I4, _I5, _I6 = ICE
_W0, _W1, _W2, _W3, _W4, _, _W6 = WATER


def saturation_pressure(temp: float) -> float:
    """Pressure of saturated vapour, over ice below 0.01 degC and over water above, `temp` in degC. [Pa]"""
    t = temp + ZERO
    if t >= _MEETING:
        return saturation_pressure_water(temp)
    return exp(_I0 / t + _I1 + t * (_I2 + t * (_I3 + t * (_I4 + t * _I5))) + _I6 * log(t))


def saturation_pressure_water(temp: float) -> float:
    """Pressure of saturated vapour over water, also below 0 degC, as most humidity sensors refer to it. [Pa]"""
    t = temp + ZERO
    return exp(_W0 / t + _W1 + t * (_W2 + t * (_W3 + t * _W4)) + _W6 * log(t))


def humidity_ratio(temp: float, humidity: float, pressure: float) -> float:
    """Vapour with each mass of dry air, from temperature [degC], relative humidity [1] and pressure [Pa]. [kg/kg]"""
    vapour = humidity * saturation_pressure(temp)
    return MOLE_RATIO * vapour / (pressure - vapour)


def vapour_pressure(ratio: float, pressure: float) -> float:
    """Share of the barometric pressure [Pa] that vapour has in air of a humidity ratio [kg/kg]. [Pa]"""
    return pressure * ratio / (MOLE_RATIO + ratio)


def relative_humidity(temp: float, ratio: float, pressure: float) -> float:
    """Relative humidity of air [degC, kg/kg, Pa], over ice below 0.01 degC; above one in fog. [1]"""
    return vapour_pressure(ratio, pressure) / saturation_pressure(temp)


def dew_point(vapour: float) -> float:
    """Dew point, below 0.01 degC frost point, of air whose vapour has a pressure > 0 [Pa]; -80 to 100 degC. [degC]

    Two steps of Newton's method on the logarithm from Magnus' formula: within 1e-6 K of the exact one.
    """
    target = log(vapour)
    frozen = vapour < _MEETING_PRESSURE
    steepness, pole = _MAGNUS_ICE if frozen else _MAGNUS_WATER
    above = target - log(_MAGNUS_PRESSURE)
    t = pole * above / (steepness - above) + ZERO
    for _ in range(2):
        if frozen:
            value = _I0 / t + _I1 + t * (_I2 + t * (_I3 + t * (_I4 + t * _I5))) + _I6 * log(t)
            slope = (_I6 - _I0 / t) / t + _I2 + t * (2 * _I3 + t * (3 * _I4 + t * 4 * _I5))
        else:
            value = _W0 / t + _W1 + t * (_W2 + t * (_W3 + t * _W4)) + _W6 * log(t)
            slope = (_W6 - _W0 / t) / t + _W2 + t * (2 * _W3 + t * 3 * _W4)
        t += (target - value) / slope
    return t - ZERO


def wet_bulb(temp: float, ratio: float, pressure: float, start: float = 20.0) -> float:
    """Temperature of a wetted body, never iced, in moving air of -20 to 80 degC [degC, kg/kg, Pa]. [degC]

    Newton's method; `start` [degC] only saves steps. Equation 33 of the source, extrapolated below 0 degC.
    """
    x = min(start, temp)
    for _ in range(_STEPS):
        t = x + ZERO
        saturated = exp(_W0 / t + _W1 + t * (_W2 + t * (_W3 + t * _W4)) + _W6 * log(t))
        slope = saturated * ((_W6 - _W0 / t) / t + _W2 + t * (2 * _W3 + t * 3 * _W4))
        dry = pressure - saturated
        at_bulb = MOLE_RATIO * saturated / dry
        latent = LATENT - LATENT_FALL * x
        excess = at_bulb * latent - AIR * (temp - x) - ratio * (latent + VAPOUR * (temp - x))
        rise = latent * MOLE_RATIO * pressure * slope / (dry * dry) - LATENT_FALL * at_bulb + AIR
        change = excess / (rise + ratio * (LATENT_FALL + VAPOUR))
        x = min(x - change, temp)
        if -_SETTLED < change < _SETTLED:
            break
    return x


def enthalpy(temp: float, ratio: float) -> float:
    """Heat content of moist air [degC, kg/kg] with each mass of dry air. [J/kg]"""
    return AIR_HEAT * temp + ratio * (VAPORISING + VAPOUR_HEAT * temp)


def temp_from_enthalpy(content: float, ratio: float) -> float:
    """Temperature of moist air of a heat content [J/kg] and a humidity ratio [kg/kg]. [degC]"""
    return (content - VAPORISING * ratio) / (AIR_HEAT + VAPOUR_HEAT * ratio)


def dry_density(temp: float, ratio: float, pressure: float) -> float:
    """Mass of dry air in each volume of moist air [degC, kg/kg, Pa]. [kg/m3]"""
    return pressure / (AIR_GAS * (temp + ZERO) * (1 + VAPOUR_VOLUMES * ratio))
