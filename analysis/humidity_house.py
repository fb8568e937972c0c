"""Moisture balance of a house, and what a humidifier does to the air that passes it."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.psychrometrics import humidity_ratio, specific_volume
from analysis.ranges import bounded

LARGEST_RATIO = 0.1
"""More vapour than this is not the air of a house or duct. [kg/kg]"""

_AIR_HEAT, _VAPOUR_HEAT, _WATER_HEAT = 1006.0, 1860.0, 4186.0
"""Specific heat of dry air, vapour and water. [J/kg/K]"""
_VAPORISING = 2_501_000.0
"""Heat of vaporising at 0 degC. [J/kg]"""


def humidifier_load(
    volume: ArrayLike,
    air_changes: ArrayLike,
    ratio_indoor: ArrayLike,
    ratio_outdoor: ArrayLike,
    temp: ArrayLike,
    *,
    pressure: ArrayLike,
    sources: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Water that a humidifier must give to hold a house at a humidity; negative where the sources bring too much.

    volume : (...) of the heated house, value > 0. [m3]
    air_changes : (...) outdoor air coming in, in volumes of the house, value >= 0; 0.5/hr is a tight house, 1.0/hr an
        average, 1.5/hr a loose one. [1/s]
    ratio_indoor : (...) humidity ratio to hold, 0 <= value <= 0.1. [kg/kg]
    ratio_outdoor : (...) humidity ratio outdoors, 0 <= value <= 0.1. [kg/kg]
    temp : (...) indoor air, -40 <= value <= 60. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    sources : (...) water from people, cooking and washing, less losses other than air change, value >= 0. [kg/s]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [kg/s]

    Valid: steady weather over a day or more. The air changes are the uncertain part: 50 % either way is common.
    Method: H = rho V R (Wi - Wo) - S, with rho the mass of dry air in each volume of indoor air: at the indoor
        temperature, humidity ratio and pressure, because the volume is that of the house.
    Source: ASHRAE Handbook - HVAC Systems and Equipment, chapter Humidifiers, load with natural infiltration; air
        changes of tight, average and loose houses from a sizing guideline as quoted in a published installation manual.
    """
    space, renewal = bounded(volume, above=0.0), bounded(air_changes, 0.0)
    inside, outside = bounded(ratio_indoor, 0.0, LARGEST_RATIO), bounded(ratio_outdoor, 0.0, LARGEST_RATIO)
    incoming = space * renewal / _volume_of_air(_indoor(temp), inside, pressure)
    return (incoming * (inside - outside) - bounded(sources, 0.0))[()]


def indoor_ratio(
    ratio_outdoor: ArrayLike,
    volume: ArrayLike,
    air_changes: ArrayLike,
    temp: ArrayLike,
    pressure: ArrayLike,
    *,
    sources: ArrayLike = 0.0,
    humidifier: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """Humidity ratio at which a house settles with given sources of moisture.

    ratio_outdoor : (...) humidity ratio outdoors, 0 <= value <= 0.1. [kg/kg]
    volume : (...) of the heated house, value > 0. [m3]
    air_changes : (...) outdoor air coming in, in volumes of the house, value > 0. [1/s]
    temp : (...) indoor air, -40 <= value <= 60. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    sources : (...) water from people, cooking and washing, less losses other than air change, value >= 0. [kg/s]
    humidifier : (...) water from the humidifier, on average, value >= 0. [kg/s]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or where it would be more than the
        indoor air can hold. [kg/kg]

    Valid: as `humidifier_load`, which it inverts.
    Method: Wi = Wo + (S + H) v(Wi) / (V R), solved exactly: the volume v of moist air is linear in its humidity ratio.
    Source: steady balance of water; ASHRAE Handbook - HVAC Systems and Equipment, chapter Humidifiers.
    """
    outside = bounded(ratio_outdoor, 0.0, LARGEST_RATIO)
    water = bounded(sources, 0.0) + bounded(humidifier, 0.0)
    room = _indoor(temp)
    dry = _volume_of_air(room, np.zeros(()), pressure)
    growth = (_volume_of_air(room, np.asarray(LARGEST_RATIO), pressure) - dry) / LARGEST_RATIO
    supply = water / (bounded(volume, above=0.0) * bounded(air_changes, above=0.0))
    settled = (outside + supply * dry) / bounded(1 - supply * growth, above=0.0)
    return _possible(settled, room, pressure)[()]


def indoor_ratio_after(
    time: ArrayLike,
    ratio_start: ArrayLike,
    ratio_outdoor: ArrayLike,
    *,
    volume: ArrayLike,
    air_changes: ArrayLike,
    temp: ArrayLike,
    pressure: ArrayLike,
    sources: ArrayLike = 0.0,
    humidifier: ArrayLike = 0.0,
    storage: ArrayLike = 1.0,
) -> NDArray[np.float64]:
    """Humidity ratio of a house some time after its sources of moisture or the weather changed.

    time : (...) since the change, value >= 0. [s]
    ratio_start : (...) humidity ratio of the house at the change, 0 <= value <= 0.1. [kg/kg]
    ratio_outdoor : (...) humidity ratio outdoors since then, 0 <= value <= 0.1. [kg/kg]
    volume : (...) of the heated house, value > 0. [m3]
    air_changes : (...) outdoor air coming in, in volumes of the house, value > 0. [1/s]
    temp : (...) indoor air, -40 <= value <= 60. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    sources : (...) water from people, cooking and washing since then, value >= 0. [kg/s]
    humidifier : (...) water from the humidifier since then, value >= 0. [kg/s]
    storage : (...) moisture held by air, walls and furniture together for each that the air holds, value >= 1; 1 is
        air alone, a furnished house has several times as much. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or where it settles at more than the
        indoor air can hold. [kg/kg]

    Valid: well-mixed air. With air alone it shows the fastest that a house can do.
    Method: first order towards `indoor_ratio` with the time constant storage / air changes; the mass of dry air in the
        house is taken as constant, which its vapour alters by less than 1 % below 0.006 kg/kg of change.
    Source: balance of water of one well-mixed zone; closed solution.
    """
    elapsed, start = bounded(time, 0.0), bounded(ratio_start, 0.0, LARGEST_RATIO)
    settled = indoor_ratio(ratio_outdoor, volume, air_changes, temp, pressure, sources=sources, humidifier=humidifier)
    left = np.exp(-elapsed * bounded(air_changes, above=0.0) / bounded(storage, 1.0))
    return (settled + (start - settled) * left)[()]


def evaporation_cooling(
    water: ArrayLike,
    flow: ArrayLike,
    temp: ArrayLike,
    ratio: ArrayLike,
    pressure: ArrayLike,
    *,
    temp_water: ArrayLike = 15.0,
) -> NDArray[np.float64]:
    """How much an evaporative humidifier cools the air that passes it.

    water : (...) water that evaporates, value >= 0; what drains away does not count. [kg/s]
    flow : (...) air that passes, stated at `temp` and `ratio`, value > 0. [m3/s]
    temp : (...) of the air before the humidifier, 0 <= value <= 100. [degC]
    ratio : (...) humidity ratio of the air before the humidifier, 0 <= value <= 0.1. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    temp_water : (...) of the water supplied, 0 <= value <= 100; the default is that of mains water. [degC]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or where the air cannot take so much
        water up. [K]

    Valid: pad, drum and bypass humidifiers with the whole flow mixed again; a steam humidifier hardly cools.
    Method: enthalpy of the moist air after = before + enthalpy of the water, solved for the temperature after.
    Source: balance of energy with the enthalpies of ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 30
        (1.006, 2501, 1.86 kJ/kg) and 4.186 kJ/(kg K) for water.
    """
    before, supplied = bounded(temp, 0.0, 100.0), bounded(temp_water, 0.0, 100.0)
    gain, after = _gain(water, flow, before, ratio, pressure)
    heat = _VAPORISING + _VAPOUR_HEAT * before - _WATER_HEAT * supplied
    cooling = gain * heat / (_AIR_HEAT + _VAPOUR_HEAT * after)
    cooled = bounded(before - cooling, -100.0, 200.0)
    return np.where(np.isnan(_possible(after, cooled, pressure)), np.nan, cooling)[()]


def ratio_gain(
    water: ArrayLike, flow: ArrayLike, temp: ArrayLike, ratio: ArrayLike, pressure: ArrayLike
) -> NDArray[np.float64]:
    """How much a humidifier raises the humidity ratio of the air that passes it.

    water : (...) water that the air takes up, value >= 0. [kg/s]
    flow : (...) air that passes, stated at `temp` and `ratio`, value > 0. [m3/s]
    temp : (...) of the air before the humidifier, 0 <= value <= 100. [degC]
    ratio : (...) humidity ratio of the air before the humidifier, 0 <= value <= 0.1. [kg/kg]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or where it would be more than the air
        can hold at that temperature. [kg/kg]

    Valid: any humidifier; for an evaporative one `evaporation_cooling` says whether the cooled air can still hold it.
    Method: water over the mass flow of dry air.
    Source: balance of water.
    """
    before = bounded(temp, 0.0, 100.0)
    gain, after = _gain(water, flow, before, ratio, pressure)
    return np.where(np.isnan(_possible(after, before, pressure)), np.nan, gain)[()]


def rise_over_room(rise: ArrayLike, bypass: ArrayLike) -> NDArray[np.float64]:
    """How far the supply air is above the room's air when a bypass sends part of it straight back to the return.

    rise : (...) temperature rise of the air through the appliance, 0 <= value <= 150. [K]
    bypass : (...) share of the supply air, by mass, that goes straight back to the return, 0 <= value < 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [K]

    Valid: settled; the little that a humidifier pad in the bypass cools is left out. A return thermometer downstream of
        where the bypass joins is warmed by it: with the one in the supply it shows the rise of the appliance, which
        looks ordinary or low while the exchanger, blower and limit run warmer than the room explains. One in the
        return duct upstream of the junction shows the rise over the room: too large for the rating plate, and the
        airflow worked out from it is only what reaches the rooms.
    Method: entering = (1 - bypass) * room + bypass * supply, and rise = supply - entering; so supply - room =
        rise / (1 - bypass).
    Source: balance of energy of the two streams that mix in the return, equal specific heats.
    """
    return (bounded(rise, 0.0, 150.0) / (1 - bounded(bypass, 0.0, below=1.0)))[()]


def _indoor(temp: ArrayLike) -> NDArray[np.float64]:
    return bounded(temp, -40.0, 60.0)


def _volume_of_air(temp: NDArray[np.float64], ratio: NDArray[np.float64], pressure: ArrayLike) -> NDArray[np.float64]:
    return specific_volume(temp, ratio, bounded(pressure, 20_000.0, 120_000.0))


def _gain(
    water: ArrayLike, flow: ArrayLike, temp: NDArray[np.float64], ratio: ArrayLike, pressure: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gain of humidity ratio, and the humidity ratio after it. [kg/kg]"""
    before = bounded(ratio, 0.0, LARGEST_RATIO)
    gain = bounded(water, 0.0) * _volume_of_air(temp, before, pressure) / bounded(flow, above=0.0)
    return gain, before + gain


def _possible(ratio: NDArray[np.float64], temp: NDArray[np.float64], pressure: ArrayLike) -> NDArray[np.float64]:
    """The humidity ratio, NaN where air of that temperature cannot hold it; above boiling it holds any."""
    return np.where(ratio > humidity_ratio(temp, 1.0, pressure), np.nan, ratio) + 0 * temp
