"""Plenum, ducts and where the thermometers sit."""

from dataclasses import dataclass

from analysis.airflow import HEAT_OF_AIR, HEAT_OF_VAPOUR
from drivers.simulate.maths import Maths, Number

_FILM_EXPONENT = 0.8
_REST = 1e-6
"""Flow of air where none flows. [kg/s]"""


@dataclass(frozen=True, slots=True)
class DuctUnit:
    """Ducts of one invented house, for 0.66 kg/s of air."""

    air_flow: Number = 0.66
    """Dry air at the rating. [kg/s]"""
    plenum: Number = 300.0
    """Heat capacity of the air in the plenum, and of its thin parts. [J/K]"""
    plenum_loss: Number = 2.0
    """Heat transfer from the plenum to its surroundings. [W/K]"""
    supply_duct: Number = 14000.0
    """Heat capacity of the metal of the supply duct. [J/K]"""
    supply_film: Number = 180.0
    """Heat transfer from air to that metal, at `air_flow`. [W/K]"""
    supply_still: Number = 25.0
    """The same without blower. [W/K]"""
    supply_loss: Number = 15.0
    """From that metal to its surroundings. [W/K]"""
    return_duct: Number = 4000.0
    """Heat capacity of the return duct's air and metal. [J/K]"""
    return_loss: Number = 8.0
    """Heat transfer from the return duct to its surroundings. [W/K]"""
    place: Number = 0.1
    """Where the supply thermometer sits: 0 in mixed air, 1 in air that has passed the exchangers, negative beside
    what went by. [1]"""
    place_2: Number = -0.6
    """The same for the second one. [1]"""
    unevenness: Number = 0.01
    """Difference of the two places of a sound unit from their mean, by the rise. [1]"""


class Ducts:
    """Air from the rooms to the furnace and back; the thermometers read air, their own lag is not here.

    Energy is exact: what the air brings in goes to the rooms, the surroundings and the metal by the mean rates of the
    step. Inputs stand still within a step, which is solved exactly.
    """

    __slots__ = (
        "_duct",
        "_m",
        "_plenum",
        "_return",
        "loss",
        "stored",
        "temp_delivered",
        "temp_entering",
        "temp_return",
        "temp_supply",
        "temp_supply_2",
        "unit",
    )

    def __init__(self, m: Maths, unit: DuctUnit, temp: Number = 20.0) -> None:
        """All ducts at `temp` [degC]."""
        self._m, self.unit = m, unit
        self._plenum: Number = temp
        self._duct: Number = temp
        self._return: Number = temp
        self.temp_return: Number = temp
        """At the thermometer before the furnace. [degC]"""
        self.temp_entering: Number = temp
        """Mean of the step of what enters the furnace. [degC]"""
        self.temp_supply: Number = temp
        """At the supply thermometer. [degC]"""
        self.temp_supply_2: Number = temp
        """At the second one. [degC]"""
        self.temp_delivered: Number = temp
        """What leaves the registers, mean of the step. [degC]"""
        self.loss: Number = 0.0
        """To the surroundings. [W]"""
        self.stored: Number = (unit.plenum + unit.supply_duct + unit.return_duct) * temp
        """Heat above 0 degC. [J]"""

    def step(
        self,
        dt: float,
        *,
        air_flow: Number,
        temp_leaving: Number,
        temp_stream: Number,
        temp_room: Number,
        temp_around: Number,
        ratio: Number,
    ) -> None:
        """Go on by `dt` [s] with dry air [kg/s] of humidity `ratio` [kg/kg]: from the rooms, and back from the furnace.

        temp_leaving : all air behind furnace and coil, mixed. [degC]
        temp_stream : of it, what passed the exchangers. [degC]
        temp_around : around the ducts. [degC]
        """
        m, unit = self._m, self.unit
        flow = m.maximum(air_flow, _REST)
        carried = flow * (HEAT_OF_AIR + HEAT_OF_VAPOUR * ratio)
        around = temp_around
        self._plenum, plenum = _mixed(
            m, dt, unit.plenum, self._plenum, (carried, temp_leaving, unit.plenum_loss, around)
        )
        moved = unit.supply_film * (flow / unit.air_flow) ** _FILM_EXPONENT
        film = m.sqrt(moved * moved + unit.supply_still * unit.supply_still)
        taken = 1.0 - m.exp(-film / carried)
        film = carried * taken
        self._duct, duct = _mixed(m, dt, unit.supply_duct, self._duct, (film, plenum, unit.supply_loss, around))
        self._return, back = _mixed(
            m, dt, unit.return_duct, self._return, (carried, temp_room, unit.return_loss, around)
        )
        self.temp_return, self.temp_entering = self._return, back
        self.temp_delivered = plenum - taken * (plenum - duct)
        self.loss = (
            unit.plenum_loss * (plenum - around)
            + unit.supply_loss * (duct - around)
            + unit.return_loss * (back - around)
        )
        self.stored = unit.plenum * self._plenum + unit.supply_duct * self._duct + unit.return_duct * self._return
        rise = self._plenum - back
        most, apart, uneven = m.maximum(rise, -rise), temp_stream - temp_leaving, unit.unevenness * rise
        # No place is colder than what enters, nor warmer than the mixed air by more than that is warmer.
        here = m.maximum(m.minimum(unit.place * apart + uneven, most), -most)
        there = m.maximum(m.minimum(unit.place_2 * apart - uneven, most), -most)
        self.temp_supply, self.temp_supply_2 = self._plenum + here, self._plenum + there


def _mixed(
    m: Maths, dt: float, capacity: Number, temp: Number, between: tuple[Number, Number, Number, Number]
) -> tuple[Number, Number]:
    """A body between two others [W/K, degC, W/K, degC]: its temperature after `dt`, and the mean until then. [degC]"""
    air, entering, loss, around = between
    both = air + loss
    target = (air * entering + loss * around) / both
    steps = both * dt / capacity
    left = m.exp(-steps)
    return target + (temp - target) * left, target + (temp - target) * (1.0 - left) / steps
