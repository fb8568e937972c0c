"""Dual fuel: what the heat pump gives, where it holds the house, where it is cheaper, and whether its lockouts fit."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.findings import Finding
from analysis.lockouts import LockoutSettings, judge
from analysis.ranges import bounded

__all__ = [
    "LockoutSettings",
    "Rated",
    "balance_point",
    "balance_point_straight",
    "balance_state",
    "break_even_cop",
    "break_even_state",
    "break_even_temp",
    "capacity",
    "capacity_straight",
    "cop",
    "lockouts",
    "power",
]

COLDEST, WARMEST = -30.0, 25.0
"""Ends of the outdoor temperatures for which the rating lines are taken to hold. [degC]"""

_AT_17, _AT_35, _AT_45, _AT_47 = (17 - 32) / 1.8, (35 - 32) / 1.8, (45 - 32) / 1.8, (47 - 32) / 1.8
"""Rating temperatures, and 45 degF, where the rating procedure ends the frost. [degC]"""
_ROUNDING = 1e-9
"""45 degF as it is typed may arrive this far below; it still belongs to the line above the step. [K]"""
_FROSTED_CAPACITY, _FROSTED_POWER = 0.90, 0.985
"""Capacity and power at 35 degF as a share of the straight line, where they are not rated. [1]"""


@dataclass(frozen=True, slots=True)
class Rated:
    """Ratings of a single-speed air-source heat pump in heating; an impossible one leaves nothing to compute.

    capacity_47 : (...) capacity at 47 degF outdoors, value > 0. [W]
    capacity_17 : (...) capacity at 17 degF outdoors, value > 0. [W]
    capacity_35 : (...) capacity at 35 degF outdoors with frost and defrost, value > 0; where it is not given
        0.90 of the straight line from 17 to 47 degF. [W]
    power_47 : (...) electric power at 47 degF outdoors, value > 0; needed only for power, COP and break-even. [W]
    power_17 : (...) electric power at 17 degF outdoors, value > 0; needed only for power, COP and break-even. [W]
    power_35 : (...) electric power at 35 degF outdoors, value > 0; where it is not given 0.985 of the straight line
        from 17 to 47 degF. [W]
    """

    capacity_47: ArrayLike
    capacity_17: ArrayLike
    capacity_35: ArrayLike | None = None
    power_47: ArrayLike | None = None
    power_17: ArrayLike | None = None
    power_35: ArrayLike | None = None


def capacity(temp: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Heat that the pump gives at an outdoor temperature, frost and defrost included.

    temp : (...) outdoor temperature, -30 <= value <= 25. [degC]
    rated : Rated, see there. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the line not above zero. [W]

    Valid: single-speed pumps that run all the time, at rated airflow and indoor temperature. Below 17 and above 47 degF
        the line is extended. At 45 degF it steps up, because the rating procedure ends the frost there; in the field
        frost comes and goes with the humidity.
    Method: straight line through the ratings at 17 and 47 degF up to 17 and from 45 degF on; between them the line
        through the ratings at 17 and 35 degF.
    Source: from memory: 10 CFR part 430, subpart B, appendices M and M1, section 4.2.1, and AHRI 210/240. The 0.90 for
        an unrated 35 degF stands in the source text of a public building-simulation program too.
    """
    return bounded(_capacity_line(rated).at(_outdoor(temp)), above=0.0)[()]


def capacity_straight(temp: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Heat that the pump would give without frost: the straight line through 17 and 47 degF.

    temp : (...) outdoor temperature, -30 <= value <= 25. [degC]
    rated : Rated, see there; the rating at 35 degF does not enter. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the line not above zero. [W]

    Valid: as `capacity`; between 17 and 45 degF too high by what frost and defrost cost.
    Method: straight line through the ratings at 17 and 47 degF.
    Source: from memory: the line of 10 CFR part 430, subpart B, appendix M1, section 4.2.1 outside the frost.
    """
    line = _capacity_line(rated)
    return bounded(line.at_17 + line.slope * (_outdoor(temp) - _AT_17), above=0.0)[()]


def power(temp: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Electric power that the pump takes at an outdoor temperature.

    temp : (...) outdoor temperature, -30 <= value <= 25. [degC]
    rated : Rated, see there; NaN unless the power at 47 and at 17 degF is given. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the line not above zero. [W]

    Valid: as `capacity`; what the rating counts (outdoor unit alone, or the indoor blower too) is counted here.
    Method: the lines of `capacity`, through the ratings of the power.
    Source: from memory: 10 CFR part 430, subpart B, appendices M and M1, section 4.2.1, with its 0.985 for an unrated
        35 degF.
    """
    return bounded(_power_line(rated).at(_outdoor(temp)), above=0.0)[()]


def cop(temp: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Coefficient of performance: heat given for each unit of electric energy taken.

    temp : (...) outdoor temperature, -30 <= value <= 25. [degC]
    rated : Rated, see there; NaN unless the power at 47 and at 17 degF is given. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: as `capacity`; without the blower's power where the rating leaves it out, and without cycling.
    Method: capacity over power.
    Source: definition.
    """
    return (capacity(temp, rated) / power(temp, rated))[()]


def balance_point(loss: ArrayLike, indoor: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Thermal balance point: outdoor temperature below which the pump alone cannot hold the house.

    loss : (...) heat loss of the house for each degree, value > 0. [W/K]
    indoor : (...) outdoor temperature at which the house needs no heat (room temperature less what sun, people and
        appliances bring), 10 <= value <= 25. [degC]
    rated : Rated, see there. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or where there is none down to -30 degC:
        `balance_state` then says which way. [degC]

    Valid: as `capacity`, between -30 degC and `indoor`. Exactly 45 degF where the capacity steps past the load there.
        The highest one where ratings that fall with the temperature give several.
    Method: load = loss * (indoor - temp) against the three straight pieces of `capacity`, and its step.
    Source: steady heat balance of the house; the lines as in `capacity`.
    """
    excess, top = _over_load(loss, indoor, rated)
    return _meeting(excess, top)[()]


def balance_state(loss: ArrayLike, indoor: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Which way it stands where there is no balance point.

    loss : (...) heat loss of the house for each degree, value > 0. [W/K]
    indoor : (...) outdoor temperature at which the house needs no heat, 10 <= value <= 25. [degC]
    rated : Rated, see there. [-]
    returns : (...) broadcast shape; 1: the pump holds the house at all temperatures down to -30 degC, -1: at none,
        0: there is a balance point; NaN where an input is NaN or out of range. [1]

    Valid: as `balance_point`.
    Method: sign of capacity less load where the two never meet.
    Source: definition.
    """
    excess, top = _over_load(loss, indoor, rated)
    return _standing(excess, top)[()]


def balance_point_straight(loss: ArrayLike, indoor: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Thermal balance point with the frost left out, as it is often drawn.

    loss : (...) heat loss of the house for each degree, value > 0. [W/K]
    indoor : (...) outdoor temperature at which the house needs no heat, 10 <= value <= 25. [degC]
    rated : Rated, see there; the rating at 35 degF does not enter. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or the lines do not meet between
        -30 degC and `indoor`. [degC]

    Valid: as `capacity_straight`; too cold by one to several degF where the true one lies in the frost.
    Method: load = loss * (indoor - temp) against the straight line through 17 and 47 degF.
    Source: steady heat balance of the house.
    """
    line = _capacity_line(rated)
    needed, base = bounded(loss, above=0.0), bounded(indoor, 10.0, 25.0)
    steepness = bounded(needed + line.slope, above=0.0)
    found = (needed * base - line.at_17 + line.slope * _AT_17) / steepness
    return np.where(found <= base, bounded(found, COLDEST, WARMEST), np.nan)[()]


def break_even_cop(price_electricity: ArrayLike, price_fuel: ArrayLike, efficiency: ArrayLike) -> NDArray[np.float64]:
    """Coefficient of performance at which heat from the pump costs what heat from the furnace costs.

    price_electricity : (...) price of electric energy in any currency, value > 0. [1/J]
    price_fuel : (...) price of the fuel's energy in the same currency, value > 0; of the higher heating value where
        the efficiency is of that. [1/J]
    efficiency : (...) of the furnace in steady running, 0 < value <= 1. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: prices of one more unit of energy; standing charges are paid either way. The blower is left out.
    Method: price of electricity / COP = price of fuel / efficiency.
    Source: equal cost of the heat delivered; definition.
    """
    dear, cheap = bounded(price_electricity, above=0.0), bounded(price_fuel, above=0.0)
    return (bounded(efficiency, above=0.0, high=1.0) * (dear / cheap))[()]


def break_even_temp(cop_break_even: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Economic balance point: outdoor temperature from which on heat from the pump is the cheaper one.

    cop_break_even : (...) coefficient of performance at which both cost the same, value > 0. [1]
    rated : Rated, see there; NaN unless the power at 47 and at 17 degF is given. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, or where there is none between -30 and
        25 degC: `break_even_state` then says which way. [degC]

    Valid: as `capacity`. Exactly 45 degF where the COP steps past the value there; the highest one where there are
        several, which takes a COP that falls with the temperature.
    Method: capacity = COP * power on the three straight pieces of both, and at their step.
    Source: definition; the lines as in `capacity` and `power`.
    """
    return _meeting(_over_cost(cop_break_even, rated), np.asarray(WARMEST))[()]


def break_even_state(cop_break_even: ArrayLike, rated: Rated) -> NDArray[np.float64]:
    """Which way it stands where there is no economic balance point.

    cop_break_even : (...) coefficient of performance at which both cost the same, value > 0. [1]
    rated : Rated, see there; NaN unless the power at 47 and at 17 degF is given. [-]
    returns : (...) broadcast shape; 1: the pump is the cheaper one at all temperatures from -30 to 25 degC, -1: at
        none, 0: there is an economic balance point; NaN where an input is NaN or out of range. [1]

    Valid: as `break_even_temp`.
    Method: sign of capacity less COP times power where that is never zero.
    Source: definition.
    """
    return _standing(_over_cost(cop_break_even, rated), np.asarray(WARMEST))[()]


def lockouts(
    settings: LockoutSettings, loss: float | None = None, indoor: float | None = None, rated: Rated | None = None
) -> tuple[Finding, ...]:
    """Whether the outdoor lockouts of a dual-fuel system fit each other, the house and the thermometer they go by.

    settings : LockoutSettings, see there. [-]
    loss : () heat loss of the house for each degree; with `indoor` and `rated` it gives the balance point where the
        settings do not. [W/K]
    indoor : () outdoor temperature at which the house needs no heat. [degC]
    rated : Rated, see there. [-]
    returns : what is wrong, doubtful or missing; empty where all was judged and fits. [-]

    Valid: single-speed heat pump with a furnace as the auxiliary heat; both lockouts go by one outdoor sensor.
    Method: see `lockouts.judge`; the balance point is that of `balance_point`.
    Source: common practice, no published source.
    """
    balance = settings.balance_point
    if balance is None and loss is not None and indoor is not None and rated is not None:
        balance = float(balance_point(loss, indoor, rated))
        if math.isnan(balance):
            balance = {1.0: -math.inf, -1.0: indoor}.get(float(balance_state(loss, indoor, rated)))
    return judge(settings, balance)


class _Line(NamedTuple):
    """A quantity over outdoor temperature as the rating procedure draws it."""

    at_17: NDArray[np.float64]
    slope: NDArray[np.float64]
    """Of the straight line from 17 to 47 degF. [1/K]"""
    frosted: NDArray[np.float64]
    """Slope of the line from 17 to 35 degF. [1/K]"""

    def at(self, temp: NDArray[np.float64]) -> NDArray[np.float64]:
        frost = (temp > _AT_17) & (temp < _AT_45 - _ROUNDING)
        return self.at_17 + np.where(frost, self.frosted, self.slope) * (temp - _AT_17)

    def corners(self, top: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        """At the coldest temperature, at 17, just below 45 and at 45 degF, and at the top."""
        ends = ((self.slope, COLDEST), (self.slope, _AT_17), (self.frosted, _AT_45), (self.slope, _AT_45))
        return (*(self.at_17 + slope * (end - _AT_17) for slope, end in ends), self.at_17 + self.slope * (top - _AT_17))


def _outdoor(temp: ArrayLike) -> NDArray[np.float64]:
    return bounded(temp, COLDEST, WARMEST)


def _capacity_line(rated: Rated) -> _Line:
    return _line(rated, rated.capacity_47, rated.capacity_17, rated.capacity_35, _FROSTED_CAPACITY)


def _power_line(rated: Rated) -> _Line:
    return _line(rated, rated.power_47, rated.power_17, rated.power_35, _FROSTED_POWER)


def _line(
    rated: Rated, at_47: ArrayLike | None, at_17: ArrayLike | None, at_35: ArrayLike | None, share: float
) -> _Line:
    usable = _zero_where_possible(rated)
    high = bounded(math.nan if at_47 is None else at_47, above=0.0)
    low = bounded(math.nan if at_17 is None else at_17, above=0.0)
    slope = (high - low) / (_AT_47 - _AT_17)
    straight = low + slope * (_AT_35 - _AT_17)
    middle = share * straight if at_35 is None else bounded(at_35, above=0.0)
    return _Line(low + usable + 0 * high, slope, (middle - low) / (_AT_35 - _AT_17))


def _zero_where_possible(rated: Rated) -> NDArray[np.float64]:
    """0 where every rating that is given can be, NaN elsewhere: a plate with one impossible number is misread."""
    total = np.zeros(())
    for name in Rated.__slots__:
        rating = getattr(rated, name)
        if rating is not None:
            total = total + 0 * bounded(rating, above=0.0)
    return total


def _over_load(
    loss: ArrayLike, indoor: ArrayLike, rated: Rated
) -> tuple[tuple[NDArray[np.float64], ...], NDArray[np.float64]]:
    """Capacity less load at the corners of the lines, and the temperature of the last one. [W, degC]"""
    needed, base = bounded(loss, above=0.0), bounded(indoor, 10.0, 25.0)
    given = _capacity_line(rated).corners(base)
    ends = [np.asarray(end) for end in (COLDEST, _AT_17, _AT_45, _AT_45)] + [base]
    return tuple(heat - needed * (base - end) for heat, end in zip(given, ends, strict=True)), base


def _over_cost(cop_break_even: ArrayLike, rated: Rated) -> tuple[NDArray[np.float64], ...]:
    """Capacity less what the power would have to give, at the corners of the lines; NaN where a power is none. [W]"""
    ratio, top = bounded(cop_break_even, above=0.0), np.asarray(WARMEST)
    given, taken = _capacity_line(rated).corners(top), _power_line(rated).corners(top)
    real = np.logical_and.reduce(np.broadcast_arrays(*(one > 0 for one in taken)))
    return tuple(np.where(real, heat - ratio * electric, np.nan) for heat, electric in zip(given, taken, strict=True))


def _meeting(excess: tuple[NDArray[np.float64], ...], top: NDArray[np.float64]) -> NDArray[np.float64]:
    """Highest temperature at which the excess is zero or changes its sign at the step; NaN where there is none."""
    cold, at_17, before, after, warm = excess
    found = np.full(np.broadcast_shapes(*(np.shape(one) for one in excess), np.shape(top)), np.nan)
    spans = (
        (COLDEST, _AT_17, cold, at_17),
        (_AT_17, _AT_45, at_17, before),
        (_AT_45, _AT_45, before, after),
        (_AT_45, top, after, warm),
    )
    for low, high, left, right in spans:
        change = np.where(left == right, 1.0, left - right)
        share = np.where(left == right, 1.0, left / change)
        found = np.where(np.sign(left) * np.sign(right) <= 0, low + (high - low) * share, found)
    return found


def _standing(excess: tuple[NDArray[np.float64], ...], top: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(np.isfinite(_meeting(excess, top)), 0.0, np.sign(excess[-1]))
