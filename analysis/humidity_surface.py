"""Cold surfaces of house and duct: their temperature, and the humidity that they allow."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.psychrometrics import dew_point, saturation_pressure
from analysis.ranges import bounded

_GUIDANCE = ((-np.inf, 0.15), (-20.0, 0.20), (-10.0, 0.25), (0.0, 0.30), (10.0, 0.35), (20.0, 0.40))
"""Outdoor temperature at the cold end of each band, and the largest indoor humidity in it. [degF, 1]"""
_GUIDANCE_ENDS = 40.0
"""Warmest outdoor temperature of the guidance. [degF]"""
_ROUNDING = 1e-9
"""An end of a band typed in degF may arrive this far off. [degF]"""


def surface_margin(temp_surface: ArrayLike, temp_air: ArrayLike, humidity_air: ArrayLike) -> NDArray[np.float64]:
    """How far a surface is above the dew point of the air at it; zero or less: water, below freezing frost.

    temp_surface : (...) surface, -100 <= value <= 200. [degC]
    temp_air : (...) air at the surface, -100 <= value <= 200. [degC]
    humidity_air : (...) relative humidity of that air, 0 < value <= 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [K]

    Valid: -100 to 200 degC; the air is the air at the surface, not that of another room.
    Method: surface minus dew point, below 0.01 degC the frost point.
    Source: definition; dew point as in `psychrometrics.dew_point`.
    """
    return (bounded(temp_surface, -100.0, 200.0) - dew_point(temp_air, humidity_air))[()]


def surface_temp(factor: ArrayLike, indoor: ArrayLike, outdoor: ArrayLike) -> NDArray[np.float64]:
    """Temperature of an indoor surface from its temperature factor.

    factor : (...) temperature factor of the surface, 0 outdoors and 1 indoors, 0 <= value <= 1. [1]
    indoor : (...) room air, -60 <= value <= 60. [degC]
    outdoor : (...) outdoor air, -60 <= value <= 60. [degC]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [degC]

    Valid: steady weather, no sun on the surface, no heater under it; the factor is that of the coldest place, at a
        window the edge of the glass and not its centre.
    Method: outdoor + factor * (indoor - outdoor).
    Source: EN ISO 13788, definition of the temperature factor at the internal surface, solved for the surface.
    """
    warm, cold = bounded(indoor, -60.0, 60.0), bounded(outdoor, -60.0, 60.0)
    return (cold + bounded(factor, 0.0, 1.0) * (warm - cold))[()]


def surface_factor(transmittance: ArrayLike, surface_coefficient: ArrayLike = 8.29) -> NDArray[np.float64]:
    """Temperature factor of a surface from the transmittance of what is behind it.

    transmittance : (...) of window or wall from air to air, value >= 0. [W/m2/K]
    surface_coefficient : (...) heat transfer from the room to the surface, value > 0; 8.29 is 1.46 Btu/(h ft2 degF),
        still air at an upright surface. [W/m2/K]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the transmittance larger than the
        coefficient, which cannot be. [1]

    Valid: middle of glass or wall; frames, edges and corners are colder, curtains make the glass colder.
    Method: 1 - transmittance / coefficient.
    Source: steady heat flow through the surface layer; 1.46 Btu/(h ft2 degF) as in ASHRAE Handbook - Fundamentals,
        surface conductances of still air, from memory.
    """
    passing, layer = bounded(transmittance, 0.0), bounded(surface_coefficient, above=0.0)
    return np.where(passing <= layer, 1 - passing / layer, np.nan)[()]


def temperature_factor(temp_surface: ArrayLike, indoor: ArrayLike, outdoor: ArrayLike) -> NDArray[np.float64]:
    """Temperature factor of a surface as measured: 0 as cold as outdoors, 1 as warm as the room.

    temp_surface : (...) surface, -60 <= value <= 60. [degC]
    indoor : (...) room air, -60 <= value <= 60. [degC]
    outdoor : (...) outdoor air, -60 <= value <= 60. [degC]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, the room not warmer than outdoors, or
        the surface not between the two. [1]

    Valid: steady weather, best before sunrise; the colder outdoors, the surer: at 10 K of difference an error of 0.5 K
        is 0.05 of factor.
    Method: (surface - outdoor) / (indoor - outdoor).
    Source: EN ISO 13788, definition of the temperature factor at the internal surface.
    """
    surface = bounded(temp_surface, -60.0, 60.0)
    warm, cold = bounded(indoor, -60.0, 60.0), bounded(outdoor, -60.0, 60.0)
    return bounded((surface - cold) / bounded(warm - cold, above=0.0), 0.0, 1.0)[()]


def largest_without_condensation(temp_surface: ArrayLike, temp_room: ArrayLike) -> NDArray[np.float64]:
    """Largest relative humidity of a room whose coldest surface stays dry; below freezing, without frost.

    temp_surface : (...) coldest surface, -100 <= value <= 200. [degC]
    temp_room : (...) air of the room, -100 <= value <= 200. [degC]
    returns : (...) broadcast shape; 1 where the surface is not colder than the air; NaN where an input is NaN or out of
        range. [1]

    Valid: the room's air is the air at the surface. Mould may grow on building materials from about 0.8 of this on.
    Method: saturation pressure at the surface over that in the room, each over ice below 0.01 degC and over liquid
        above, as `psychrometrics.saturation_pressure` has it unless told otherwise.
    Source: EN ISO 13788, surface condensation; 0.8 as its design criterion against mould from memory.
    """
    return np.minimum(saturation_pressure(temp_surface) / saturation_pressure(temp_room), 1.0)[()]


def guidance_humidity(temp_outdoor: ArrayLike) -> NDArray[np.float64]:
    """Largest indoor relative humidity by published guidance for double glazing and a room at 70 degF.

    temp_outdoor : (...) outdoor air, -60 <= value <= 60. [degC]
    returns : (...) same shape; NaN where an input is NaN or out of range, or warmer than 40 degF, where the guidance
        says nothing. [1]

    Valid: double-glazed windows; it fits a temperature factor of about 0.53, the edge of the glass. Better windows
        allow more, single glazing less.
    Method: bands from 20 to 40 degF 0.40, 10 to 20 degF 0.35, 0 to 10 degF 0.30, -10 to 0 degF 0.25, -20 to -10 degF
        0.20, below 0.15; an end between two bands belongs to the warmer one.
    Source: University of Minnesota laboratories, spread by the Minnesota Department of Public Service; as quoted on
        public pages.
    """
    fahrenheit = bounded(temp_outdoor, -60.0, 60.0) * 1.8 + 32
    found = np.full(np.shape(fahrenheit), np.nan)
    for cold_end, humidity in _GUIDANCE:
        found = np.where(fahrenheit >= cold_end - _ROUNDING, humidity, found)
    return np.where(fahrenheit <= _GUIDANCE_ENDS + _ROUNDING, found, np.nan)[()]
