"""The draft circuit: what is left at the pressure switch; the circuit and its inverse come from their own modules."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.draft_inverse import SECTIONS, Ratios, Together, resistances
from analysis.draft_network import (
    GRAVITY,
    Inducer,
    Resistances,
    State,
    Taps,
    common_factor,
    stack_pressure,
    taps,
    wind_pressure,
)
from analysis.draft_population import POPULATION, Population
from analysis.draft_visit import Readings
from analysis.ranges import bounded

__all__ = [
    "POPULATION",
    "SECTIONS",
    "Inducer",
    "Population",
    "Ratios",
    "Readings",
    "Resistances",
    "State",
    "Taps",
    "Together",
    "common_factor",
    "margin",
    "pressure_through_leak",
    "resistances",
    "stack_pressure",
    "switch_differential",
    "switch_margin",
    "taps",
    "water_slug",
    "wind_pressure",
]

WATER = 1000.0
"""Density of the water of a manometer scale, at 4 degC. [kg/m3]"""


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
    returns : (...) broadcast shape; NaN where `closed` is neither 0 nor 1, a needed input is NaN, or the opening point
        is above the closing point. [Pa]

    Valid: pressure read at the switch's own ports; open and negative is normal at rest, open and positive calls for a
        look at hoses, ports and wiring before the switch, closed and negative says that it is about to open.
    Method: pressure minus closing point where open, pressure minus opening point where closed.
    Source: the hysteresis of a pressure switch; showing the margin that counts is common practice, no published source.
    """
    contact = np.asarray(closed, np.float64)
    make, break_ = margin(pressure, closing), margin(pressure, opening)
    swapped = np.asarray(opening, np.float64) > np.asarray(closing, np.float64)
    return np.where(swapped, np.nan, np.where(contact == 1, break_, np.where(contact == 0, make, np.nan)))[()]


def switch_differential(collector: ArrayLike, reference: ArrayLike = 0.0) -> NDArray[np.float64]:
    """What acts on a pressure switch between the collector tap and its reference port, positive where it closes it.

    collector : (...) tap B, gauge to the room, -5000 <= value <= 5000. [Pa]
    reference : (...) what the other port sees, gauge to the room, -5000 <= value <= 5000; default 0, the room itself,
        also where the reference hose leaks; tap A where it is sound. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [Pa]

    Valid: sound hoses without water. A leaking reference hose shows the larger figure, by the size of tap A; hoses
        that are swapped show the same with the other sign. A restricted secondary exchanger reads stronger, so that
        a good figure here does not prove the flow.
    Method: reference minus collector.
    Source: definition; what the ports see is common practice, no published source.
    """
    return (bounded(reference, -5000.0, 5000.0) - bounded(collector, -5000.0, 5000.0))[()]


def pressure_through_leak(pressure: ArrayLike, resistance_ratio: ArrayLike) -> NDArray[np.float64]:
    """What is left at the switch of the pressure at the tap when the hose between them leaks to the room.

    pressure : (...) at the tap, gauge to the room, -5000 <= value <= 5000. [Pa]
    resistance_ratio : (...) flow resistance of the hole over that of the hose, value >= 0. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [Pa]

    Valid: hole at the switch's end; both resistances by the same law. The tap itself reads normally: compare both ends
        with a tee.
    Method: pressure * resistance_ratio / (resistance_ratio + 1), a divider of two resistances in series.
    Source: continuity of the flow through hose and hole; arithmetic.
    """
    hole = bounded(resistance_ratio, 0.0)
    return (bounded(pressure, -5000.0, 5000.0) * (hole / (hole + 1)))[()]


def water_slug(pressure: ArrayLike, height: ArrayLike) -> NDArray[np.float64]:
    """What a switch sees through a hose in which water stands.

    pressure : (...) at the tap, gauge to the room, -5000 <= value <= 5000. [Pa]
    height : (...) by how much the water stands higher at its side towards the tap than at its side towards the switch,
        negative where it stands lower there, -2 <= value <= 2. [m]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [Pa]

    Valid: water at rest that fills the hose's bore. Positive height in the suction hose weakens the suction at the
        switch, and in the reference hose it raises the reference: the two have opposite effects on the switch. It
        sticks, then jumps, and the reading returns slowly to zero at stop.
    Method: pressure + 1000 kg/m3 * gravity * height; one inch of water is one inch of water column.
    Source: hydrostatics.
    """
    return (bounded(pressure, -5000.0, 5000.0) + WATER * GRAVITY * bounded(height, -2.0, 2.0))[()]
