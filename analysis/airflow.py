"""Air through the appliance: temperature rise and static."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

ABSOLUTE_ZERO = -273.15
"""[degC]"""


def temperature_rise(temp_return: ArrayLike, temp_supply: ArrayLike) -> NDArray[np.float64]:
    """Rise of the air's temperature across the appliance; negative where it cools.

    temp_return : (...) air entering. [degC]
    temp_supply : (...) air leaving. [degC]
    returns : (...) broadcast shape; NaN where an input is NaN, infinite or below absolute zero. [K]

    Valid: thermometers out of sight of the heat exchanger and both streams well mixed.
    Method: supply minus return.
    Source: definition; the range on a rating plate is of this difference.
    """
    entering, leaving = np.asarray(temp_return, np.float64), np.asarray(temp_supply, np.float64)
    real = np.isfinite(entering) & np.isfinite(leaving) & (entering >= ABSOLUTE_ZERO) & (leaving >= ABSOLUTE_ZERO)
    return np.where(real, leaving, np.nan) - np.where(real, entering, np.nan)


def external_static(supply: ArrayLike, return_: ArrayLike) -> NDArray[np.float64]:
    """Total external static: what the blower works against outside the appliance.

    supply : (...) static at the supply tap, gauge, positive in normal service. [Pa]
    return_ : (...) static at the return tap, gauge, negative in normal service. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or infinite. [Pa]

    Valid: both taps outside the appliance; coil and filter counted in or out as the rating plate defines.
    Method: supply minus return with their signs, so that a suction of the return adds.
    Source: definition in common use in the trade, no published source.
    """
    before, after = np.asarray(return_, np.float64), np.asarray(supply, np.float64)
    real = np.isfinite(before) & np.isfinite(after)
    return np.where(real, after, np.nan) - np.where(real, before, np.nan)
