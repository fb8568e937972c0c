"""The draft circuit: what is left at the pressure switch."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def margin(pressure: ArrayLike, closing: ArrayLike) -> NDArray[np.float64]:
    """What the pressure at the switch has in hand over a set-point; positive on the safe side.

    pressure : (...) differential at the switch, positive where it acts to close the switch. [Pa]
    closing : (...) set-point: the closing point, or the opening point for the margin to break. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or infinite. [Pa]

    Valid: pressure read at the switch's own ports; a reading at a tap leaves out the hose.
    Method: pressure minus set-point.
    Source: definition.
    """
    acting, point = np.asarray(pressure, np.float64), np.asarray(closing, np.float64)
    real = np.isfinite(acting) & np.isfinite(point)
    return np.where(real, acting, np.nan) - np.where(real, point, np.nan)


def switch_margin(
    pressure: ArrayLike, closed: ArrayLike, closing: ArrayLike, opening: ArrayLike
) -> NDArray[np.float64]:
    """Margin to make while the switch is open, margin to break while it is closed.

    pressure : (...) differential at the switch, positive where it acts to close the switch. [Pa]
    closed : (...) 1 where the contact is closed, 0 where it is open. [1]
    closing : (...) pressure at which the switch closes. [Pa]
    opening : (...) pressure at which the closed switch opens again. [Pa]
    returns : (...) broadcast shape; NaN where `closed` is neither 0 nor 1, or a needed input is NaN. [Pa]

    Valid: as `margin`; open and negative is normal at rest, closed and negative says that it is about to open.
    Method: pressure minus closing point where open, pressure minus opening point where closed.
    Source: the hysteresis of a pressure switch; showing the margin that counts is common practice, no published source.
    """
    contact = np.asarray(closed, np.float64)
    make, break_ = margin(pressure, closing), margin(pressure, opening)
    return np.where(contact == 1, break_, np.where(contact == 0, make, np.nan))[()]
