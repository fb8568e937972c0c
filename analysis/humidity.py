"""Humidity against the surfaces of house and duct."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.psychrometrics import HIGHEST, LOWEST, dew_point


def surface_margin(temp_surface: ArrayLike, temp_air: ArrayLike, humidity_air: ArrayLike) -> NDArray[np.float64]:
    """How far a surface is above the dew point of the air at it; zero or less: water, below freezing frost.

    temp_surface : (...) surface. [degC]
    temp_air : (...) air at the surface. [degC]
    humidity_air : (...) relative humidity of that air, 0 < value <= 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [K]

    Valid: -100 to 200 degC; the air is the air at the surface, not that of another room.
    Method: surface minus dew point, below 0.01 degC the frost point.
    Source: definition; dew point as in `psychrometrics.dew_point`.
    """
    surface = np.asarray(temp_surface, np.float64)
    usable = (surface >= LOWEST) & (surface <= HIGHEST)
    return (np.where(usable, surface, np.nan) - dew_point(temp_air, humidity_air))[()]
