"""Heat exchangers of a furnace: flue gas on one side, circulating air on the other, metal that stores in between."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.airflow import HEAT_OF_AIR, HEAT_OF_VAPOUR
from analysis.fuels import NATURAL_GAS, Fuel
from drivers.simulate.flue import Flue
from drivers.simulate.maths import FLOATS, Maths, Number

GAS_EXPONENT = 0.8
"""Heat transfer of turbulent gas in a passage against its flow: Dittus and Boelter (1930), in any textbook. [1]"""
AIR_EXPONENT = 0.7
"""Of air across the outside, between 0.6 of tube banks and 0.8 of passages; common practice. [1]"""

_AT_COUPLING = 280.0
"""Gas between the exchangers of a condensing unit at its rating; common practice, no published source. [degC]"""
_PRIMARY_SHARE = 0.65
_SECONDARY_SHARE = 0.8
"""How far the metal is from the entering air to the leaving gas at the rating; common practice, no published source."""
_CONDENSING = 0.86
_MOST_EFFECT = 0.87
_TOO_HOT = 400.0
"""Flue gas of no heat exchanger; common practice, no published source. [degC]"""
_NEARLY = 1.0 - 1e-9
_SEARCHES = 20
_RATED_INPUT = 23400.0
"""Whose masses and losses the defaults are; those of another input are in proportion. [W]"""


@dataclass(frozen=True, slots=True)
class HeatUnit:
    """The exchangers of one unit; `heat_unit_for` makes those of a wanted efficiency.

    An invented condensing unit: 93 % of 23.4 kW of natural gas with 40 % excess air, at 0.66 kg/s of air.
    """

    primary_gas: Number = 39.7
    """Heat transfer from gas to metal, primary exchanger, at `gas_flow`. [W/K]"""
    secondary_gas: Number = 30.3
    """Of the secondary exchanger; 0 where there is none. [W/K]"""
    primary_air: Number = 119.4
    """Heat transfer from metal to air, primary exchanger, at `air_flow`. [W/K]"""
    secondary_air: Number = 275.9
    """Of the secondary exchanger; 0 where there is none. [W/K]"""
    gas_flow: Number = 0.01062
    """Flue gas at the rating. [kg/s]"""
    air_flow: Number = 0.66
    """Circulating dry air at the rating. [kg/s]"""
    primary_capacity: Number = 6000.0
    """Heat capacity of the metal. [J/K]"""
    secondary_capacity: Number = 4000.0
    """[J/K]"""
    still_primary: Number = 12.0
    """Heat transfer from the primary exchanger to air that only its own warmth moves. [W/K]"""
    still_secondary: Number = 8.0
    """[W/K]"""
    natural_draft: Number = 0.005
    """Air that rises through the unit without blower, by the root of the rise of its temperature. [kg/s/K**0.5]"""
    jacket: Number = 1.0
    """Heat transfer from the primary exchanger through the cabinet to the room. [W/K]"""


class Exchanger:
    """Two pieces of metal between flue gas and air; the air passes the secondary exchanger first.

    The gas gives off its enthalpy above that of gas at the metal's temperature, so that water condenses where the metal
    is below the dew point; air by its temperature. Energy is exact: what is released goes to the air, the flue, the
    jacket and the metal, by the same rates.

    Source: effectiveness and number of transfer units, Kays and London, Compact Heat Exchangers; enthalpy as the
        driving force of heat and water together, Merkel (1925).
    """

    __slots__ = (
        "_m",
        "bypass",
        "condensate",
        "flue_loss",
        "fouling",
        "heat_released",
        "heat_to_air",
        "jacket_loss",
        "leaving_flow",
        "stored",
        "stream_flow",
        "temp_flue",
        "temp_leaving",
        "temp_primary",
        "temp_primary_gas",
        "temp_secondary",
        "temp_secondary_gas",
        "temp_stream",
        "temp_transition",
        "unit",
    )

    def __init__(self, m: Maths, unit: HeatUnit, temp: Number = 20.0) -> None:
        """All metal at `temp` [degC]."""
        self._m, self.unit = m, unit
        self.fouling: Number = 1.0
        """Heat transfer on the gas side that is left, of a clean unit's. [1]"""
        self.bypass: Number = 0.0
        """Share of the blower's air that passes the exchangers by: 0 with its baffle in place, below 1. [1]"""
        self.temp_primary: Number = temp
        """Metal of the primary exchanger. [degC]"""
        self.temp_secondary: Number = temp
        """Metal of the secondary exchanger. [degC]"""
        self.temp_leaving: Number = temp
        """All air that leaves, mixed. [degC]"""
        self.temp_stream: Number = temp
        """Air that has passed the exchangers, before it mixes with what went by. [degC]"""
        self.temp_primary_gas: Number = temp
        """Mean of the gas in the primary exchanger. [degC]"""
        self.temp_transition: Number = temp
        """Gas between the exchangers. [degC]"""
        self.temp_secondary_gas: Number = temp
        """Mean of the gas in the secondary exchanger. [degC]"""
        self.temp_flue: Number = temp
        """Gas that leaves the secondary exchanger. [degC]"""
        self.stream_flow: Number = 0.0
        """Dry air through the exchangers, what rises by itself included. [kg/s]"""
        self.leaving_flow: Number = 0.0
        """All dry air that leaves. [kg/s]"""
        self.condensate: Number = 0.0
        """Water out of the flue gas. [kg/s]"""
        self.heat_released: Number = 0.0
        """Higher heating value of what burns. [W]"""
        self.heat_to_air: Number = 0.0
        """[W]"""
        self.flue_loss: Number = 0.0
        """Heat that leaves with flue gas and condensate, above that of the combustion air and liquid water. [W]"""
        self.jacket_loss: Number = 0.0
        """[W]"""
        self.stored: Number = unit.primary_capacity * temp + unit.secondary_capacity * temp
        """Heat in the metal above 0 degC. [J]"""

    def step(
        self, dt: float, *, flue: Flue, air_flow: Number, temp_entering: Number, ratio: Number, temp_room: Number
    ) -> None:
        """Go on by `dt` [s] with a flue gas and dry air from the blower [kg/s] of humidity `ratio` [kg/kg].

        Heun's method; the heat transfers are those at its begin. Rates and what leaves are means of the step.
        """
        m, unit = self._m, self.unit
        exp, gas_enthalpy = m.exp, flue.enthalpy
        first, second = self.temp_primary, self.temp_secondary
        heat = HEAT_OF_AIR + HEAT_OF_VAPOUR * ratio
        warmth = unit.still_primary * m.maximum(first - temp_entering, 0.0)
        warmth = warmth + unit.still_secondary * m.maximum(second - temp_entering, 0.0)
        rising = (unit.natural_draft * unit.natural_draft * warmth / heat + 1e-12) ** (1 / 3)
        forced = (1.0 - self.bypass) * air_flow
        stream = _larger(m, forced, rising)
        capacity = stream * heat
        share = (stream / unit.air_flow) ** AIR_EXPONENT
        transfer = capacity * (1.0 - exp(-_both(m, unit.still_primary, unit.primary_air * share) / capacity))
        leading = capacity * (1.0 - exp(-_both(m, unit.still_secondary, unit.secondary_air * share) / capacity))
        jacket, lag = unit.jacket, leading / capacity
        share = self.fouling * (flue.mass_flow / unit.gas_flow) ** GAS_EXPONENT
        hottest, entering = flue.temp_adiabatic, flue.enthalpy_entering
        units = share * unit.primary_gas / flue.capacity(0.5 * (hottest + first))
        units_second = share * unit.secondary_gas / flue.capacity(0.5 * (self.temp_transition + second)) + 1e-9
        effect, effect_second = 1.0 - exp(-units), 1.0 - exp(-units_second)

        # Both ends of the step by the same lines, the second with the rates of the first.
        given = effect * (entering - gas_enthalpy(first))
        given_second = effect_second * (entering - given - gas_enthalpy(second))
        air_second = leading * (second - temp_entering)
        air = transfer * (first - temp_entering - lag * (second - temp_entering))
        loss = jacket * (first - temp_room)
        later = first + dt * (given - air - loss) / unit.primary_capacity
        later_second = second + dt * (given_second - air_second) / unit.secondary_capacity
        then = effect * (entering - gas_enthalpy(later))
        given_second = 0.5 * (given_second + effect_second * (entering - then - gas_enthalpy(later_second)))
        given = 0.5 * (given + then)
        air_second = 0.5 * (air_second + leading * (later_second - temp_entering))
        air = 0.5 * (air + transfer * (later - temp_entering - lag * (later_second - temp_entering)))
        loss = 0.5 * (loss + jacket * (later - temp_room))
        self.temp_primary = first + dt * (given - air - loss) / unit.primary_capacity
        self.temp_secondary = second + dt * (given_second - air_second) / unit.secondary_capacity

        self.heat_released, self.jacket_loss = flue.heat_released, loss
        self.heat_to_air = to_air = air + air_second
        self.flue_loss = flue.heat_released - given - given_second
        self.stored = unit.primary_capacity * self.temp_primary + unit.secondary_capacity * self.temp_secondary
        self.stream_flow = stream
        self.leaving_flow = stream + self.bypass * air_flow
        self.temp_stream = temp_entering + to_air / capacity
        self.temp_leaving = temp_entering + to_air / (self.leaving_flow * heat)
        self.temp_transition = flue.temperature(entering - given, self.temp_transition)
        self.temp_flue = flue.temperature(entering - given - given_second, self.temp_flue)
        self.temp_primary_gas = first + (hottest - first) * effect / units
        self.temp_secondary_gas = second + (self.temp_transition - second) * effect_second / units_second
        self.condensate = flue.liquid(self.temp_flue)


def heat_unit_for(
    heat: Number,
    efficiency: Number,
    excess_air: Number,
    air_flow: Number,
    fuel: Fuel | Sequence[Fuel] = NATURAL_GAS,
    *,
    m: Maths = FLOATS,
    pressure: Number = 101325.0,
    temp_air: Number = 20.0,
    ratio: Number = 0.0,
    temp_entering: Number = 20.0,
) -> HeatUnit:
    """The unit that settles at `efficiency`, of the higher heating value, at its rating; ValueError where none can.

    In closed form: the efficiency says how hot the gas leaves; how hot gas and metal are in between is common practice.
    From 0.70 to 0.86 without secondary exchanger, above that condensing: with 0.028 kg/s of air for each kilowatt up to
    0.96 with 40 % excess air and 0.94 with 100 %, 0.97 with more air and 20 %. None are built from 0.84 to 0.88.

    heat : input, of the higher heating value. [W]
    excess_air : 0.4 means 40 %. [1]
    air_flow : circulating dry air, entering at `temp_entering` [degC], which is the room's temperature too. [kg/s]
    temp_air, ratio : combustion air. [degC, kg/kg]
    """
    flue = Flue(m, fuel)
    burnt = heat / flue.heating_value
    intake = burnt * flue.air_need * (1.0 + excess_air) * (1.0 + ratio)
    for _ in range(_SEARCHES):
        flue.burn(burnt=burnt, air_flow=intake, ratio=ratio, temp_air=temp_air, pressure=pressure)
    entering, output, condensing = flue.enthalpy_entering, efficiency * heat, efficiency > _CONDENSING
    default, size = HeatUnit(), heat / _RATED_INPUT
    jacket, still, still_second = default.jacket * size, default.still_primary * size, default.still_secondary * size
    draft, heat_of_air = default.natural_draft * size, HEAT_OF_AIR + HEAT_OF_VAPOUR * ratio

    coupling = temp_flue = m.where(condensing, _AT_COUPLING, 200.0)
    for _ in range(_SEARCHES):
        rise = _PRIMARY_SHARE * (coupling - temp_entering)
        leaving = entering - output - jacket * rise
        temp_flue = flue.temperature(leaving, temp_flue)
        coupling = m.where(condensing, _AT_COUPLING, temp_flue)
    first, loss = temp_entering + rise, jacket * rise
    between = flue.enthalpy(coupling)
    given, given_second = entering - between, m.where(condensing, between - leaving, 0.0)
    enough = given_second / (_MOST_EFFECT * air_flow * heat_of_air)
    rise_second = m.where(condensing, m.maximum(_SECONDARY_SHARE * (temp_flue - temp_entering), enough), 0.0)
    second = temp_entering + rise_second

    warmth = m.maximum(still * rise + still_second * rise_second, 0.0)
    rising = (draft * draft * warmth / heat_of_air + 1e-12) ** (1 / 3)
    stream = _larger(m, air_flow, rising)
    capacity, share = stream * heat_of_air, (stream / air_flow) ** AIR_EXPONENT
    effect = given / (entering - flue.enthalpy(first))
    effect_second = given_second / m.maximum(between - flue.enthalpy(second), 1e-3 * heat)
    lag = given_second / (capacity * m.maximum(rise_second, 1e-6))
    heating = (given - loss) / (capacity * m.maximum(rise - lag * rise_second, 1e-6))
    possible = (temp_flue > second) & (temp_flue < _TOO_HOT) & (effect > 0.0) & (given_second >= 0.0)
    for each in (effect, effect_second, lag, heating):
        possible = possible & (each < 1.0)
    if not m.everywhere(possible):
        first_wrong = int(np.argmin(np.atleast_1d(possible)))
        wanted, air = (np.broadcast_to(one, np.shape(possible)).flat[first_wrong] for one in (efficiency, air_flow))
        raise ValueError(
            f"no heat exchanger has an efficiency of {wanted:.4g} with {air:.4g} kg/s of air: gas would leave it colder"
            f" than its metal, or above {_TOO_HOT:.0f} degC; ask for 0.70 to 0.95, or for more air or less excess air"
        )
    through = -capacity * m.log(1.0 - m.minimum(heating, _NEARLY))
    through_second = -capacity * m.log(1.0 - m.minimum(lag, _NEARLY))
    units = -m.log(1.0 - m.minimum(effect, _NEARLY))
    units_second = -m.log(1.0 - m.minimum(effect_second, _NEARLY))
    return HeatUnit(
        primary_gas=units * flue.capacity(0.5 * (flue.temp_adiabatic + first)),
        secondary_gas=units_second * flue.capacity(0.5 * (coupling + second)),
        primary_air=m.sqrt(m.maximum(through * through - still * still, 0.0)) / share,
        secondary_air=m.sqrt(m.maximum(through_second * through_second - still_second * still_second, 0.0)) / share,
        gas_flow=flue.mass_flow,
        air_flow=air_flow,
        primary_capacity=default.primary_capacity * size,
        secondary_capacity=default.secondary_capacity * size,
        still_primary=still,
        still_secondary=still_second,
        natural_draft=draft,
        jacket=jacket,
    )


def _both(m: Maths, still: Number, moved: Number) -> Number:
    """Heat transfer of natural and forced convection at once. [W/K]"""
    return m.sqrt(still * still + moved * moved)


def _larger(m: Maths, forced: Number, rising: Number) -> Number:
    """The larger flow, without a corner where the blower takes over. [kg/s]"""
    forced, rising = forced * forced, rising * rising
    return m.sqrt(m.sqrt(forced * forced + rising * rising))
