"""Air outdoors and barometer on two visits: what the readings of the second would have been in those of the first."""

import math
from dataclasses import dataclass

import numpy as np

from analysis.comparison.representative import Representative, representative
from analysis.comparison.side import Side, parted, same_meter
from analysis.draft_network import GAS_CONSTANT, GRAVITY, MOLAR_MASS_AIR, common_factor, wind_pressure
from analysis.psychrometrics import pressure_at_altitude
from analysis.quantity import Error

ZERO = 273.15
BAROMETER = 0.01
"""Standard deviation of a barometer about the standard atmosphere of its place, in winter, as a share; common practice,
no published source. [1]"""
DAYS_APART = 10.0
"""Standard deviation of the difference of outdoor temperatures of two visits that nobody measured; common practice, no
published source. [K]"""
USUAL_OUTDOORS = 0.0
"""Outdoor temperature that is taken to size what is not measured; common practice, no published source. [degC]"""
WIND, TERMINAL = 4.0, 0.3
"""A wind [m/s], and the share of its pressure that a terminal sees [1], by which two visits differ; common practice, no
published source."""
ROOM, PIPE_WARMS = 20.0, 0.2
"""Room around the unit [degC], and how far the intake pipe warms its air towards it [1]; common practice, no published
source."""
ROUGHLY = 0.5
"""Standard uncertainty of a difference of temperatures by meters of which nothing is known; our choice. [K]"""
RISE_OF_VENT = 5.0
"""The most that a vent is taken to rise where its length is not known; common practice, no published source. [m]"""


@dataclass(frozen=True, slots=True)
class Conditions:
    """What differed around the unit; the second visit over the first."""

    outdoor: tuple[float, float] | None
    """Outdoor temperature before and after; None where it was not measured on both visits. [degC]"""
    outdoor_u: float
    """Standard uncertainty of their difference. [K]"""
    returns: tuple[float, float] | None
    """Return air before and after at the end of a stage, the same one; None where it was not measured. [degC]"""
    returns_u: float
    """[K]"""
    altitudes: tuple[float | None, float | None]
    """Of the site as the job files say. [m]"""
    pipes: int | None
    """Two where combustion air comes from outdoors. [1]"""
    vent_rise: float
    """The most that the vent can rise. [m]"""

    @property
    def warmer(self) -> float:
        """Natural logarithm of absolute outdoor temperature after over before; 0 where not measured. [1]"""
        if self.outdoor is None:
            return 0.0
        return math.log((self.outdoor[1] + ZERO) / (self.outdoor[0] + ZERO))

    @property
    def warmer_u(self) -> float:
        """Its standard uncertainty. [1]"""
        return self.outdoor_u / (ZERO + (sum(self.outdoor) / 2 if self.outdoor else USUAL_OUTDOORS))

    @property
    def thicker(self) -> float:
        """Natural logarithm of barometric pressure after over before, by the altitudes. [1]"""
        first, second = self.altitudes
        if first is None or second is None or first == second:
            return 0.0
        return float(np.log(pressure_at_altitude(second) / pressure_at_altitude(first)))

    @property
    def pressure(self) -> float:
        """Barometric pressure before, by the altitude; at sea level where that is not known. [Pa]"""
        return float(pressure_at_altitude(self.altitudes[0] or self.altitudes[1] or 0.0))

    @property
    def density_factor(self) -> float:
        """What taps of the second visit are multiplied by for the barometer of the first. [1]"""
        return float(common_factor(1.0, math.exp(-self.thicker)))

    def density(self, temp: float) -> float:
        """Of outdoor air. [kg/m3]"""
        return self.pressure * MOLAR_MASS_AIR / (GAS_CONSTANT * (temp + ZERO))

    @property
    def stack_u(self) -> float:
        """By how much the vent's own draft may differ: nobody wrote down how far it rises. [Pa]

        `analysis.draft_network.stack_pressure` of both visits differ by gravity times height times the difference of
        the outdoor densities, since the flue gas is the same; the height is between 0 and the most it can be.
        """
        usual = self.outdoor or (USUAL_OUTDOORS, USUAL_OUTDOORS)
        apart = abs(self.density(usual[0]) - self.density(usual[1]))
        unsure = self.density(usual[0]) * self.warmer_u
        return GRAVITY * self.vent_rise / math.sqrt(3) * math.hypot(apart, unsure)

    @property
    def wind_u(self) -> float:
        """By how much the wind at the terminals may differ. [Pa]"""
        temp = sum(self.outdoor) / 2 if self.outdoor else USUAL_OUTDOORS
        return TERMINAL * float(wind_pressure(WIND, self.density(temp)))


def conditions(before: Side, after: Side) -> Conditions:
    """What is known of the conditions of two visits."""
    outdoor = _pair(before, after, ("temp_outdoor.mean",))
    returns = _pair(before, after, ("temp_return.settled.high", "temp_return.settled.low"))
    plate = after.plate if after.plate.pipes is not None else before.plate
    length = after.vent_length or before.vent_length
    return Conditions(
        outdoor=outdoor and (outdoor[0].quantity.value, outdoor[1].quantity.value),
        outdoor_u=_apart_u(outdoor, before, after) if outdoor else DAYS_APART,
        returns=returns and (returns[0].quantity.value, returns[1].quantity.value),
        returns_u=_apart_u(returns, before, after) if returns else 0.0,
        altitudes=(before.altitude, after.altitude),
        pipes=plate.pipes,
        vent_rise=min(RISE_OF_VENT, length) if length else RISE_OF_VENT,
    )


_Pair = tuple[Representative, Representative]


def _pair(before: Side, after: Side, names: tuple[str, ...]) -> _Pair | None:
    for name in names:
        first, second = representative(before.of(name)), representative(after.of(name))
        if first and second:
            return first, second
    return None


def _apart_u(pair: _Pair, before: Side, after: Side) -> float:
    """Standard uncertainty of the difference; `ROUGHLY` where no accuracy is known. [K]"""
    shared = pair[0].channels == pair[1].channels and same_meter(before, after, pair[0].channels)
    first, second = (
        parted(one.quantity.budget, "degC", which, shared=shared)
        for one, which in zip(pair, ("before", "after"), strict=True)
    )
    budget: dict[Error, float] = dict(second)
    for error, share in first:
        budget[error] = budget.get(error, 0.0) - share
    return math.hypot(*budget.values()) or ROUGHLY


def temp_intake(outdoor: float, pipes: int | None) -> float:
    """Air in the intake: of two pipes warmed on its way by a fifth of what it lacks to a room. [degC]

    Middle of `corrections.INTAKE_HOT`; common practice, no published source.
    """
    return ROOM if pipes == 1 else outdoor + PIPE_WARMS * (ROOM - outdoor)
