"""The fire: lit by a hot surface, carried from burner to burner, held or lost, and what leaves the burner box."""

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from analysis.combustion_fuel import air_need
from analysis.fuels import AIR
from drivers.simulate.flame_current import FlameCurrent
from drivers.simulate.igniter import SILICON_CARBIDE, Igniter, IgniterUnit
from drivers.simulate.maths import Maths, Number

FLAMMABLE: Mapping[str, tuple[float, float]] = MappingProxyType(
    {"natural gas": (0.05, 0.15), "methane": (0.05, 0.15), "propane": (0.0215, 0.096)}
)
"""Fuel in a mixture with air that burns, lean limit and rich. Methane: published tables of flammability; natural gas is
taken as methane; propane: property sheets of LP-gas suppliers. [1]"""

_FRESH = AIR["oxygen"]
_BURST = 0.1
"""How fast gas that has gathered burns in a full flame; common practice, no published source. [s]"""
_SEEP = 1e-3
"""Share of gathered gas that goes with no draft; common practice, no published source. [1/s]"""
_AIR_DENSITY = 1.2
"""[kg/m3]"""
_SURE = 120.0
"""How far above the ignition temperature the surface lights at once. [K]"""
_LEAST_OXYGEN = 0.16
"""In the combustion air, where a flame goes out; common practice, no published source: pilots made to watch the oxygen
lift from 19 % down and are out by 18 %, published descriptions. [1]"""
_AIRY = 1.15
"""Air for the air needed below which flames grow long and weak; common practice, no published source. [1]"""
_STARVED = 0.85
"""Air for the air needed below which burners lose their flames, though what is there could be lit; common practice, no
published source. [1]"""
_TRACE = 1e-3
"""Smallest share of the rated flow for which a mixture is worked out. [1]"""
_LIT = 1e-9
"""Keeps a fire that was lit at the very end of a step. [1]"""


@dataclass(frozen=True, slots=True)
class FireUnit:
    """Burners of one invented unit; where nothing else is said: common practice, no published source."""

    fuel: str = "natural gas"
    """Name in `FLAMMABLE`."""
    rated_flow: Number = 4.4929e-4
    """Fuel at the high input. [kg/s]"""
    igniter: IgniterUnit = SILICON_CARBIDE
    """Silicon carbide or nitride."""
    temp_ignition: Number = 980.0
    """Surface that lights gas reliably, 1800 degF; still gas ignites by itself near 600 degC. [degC]"""
    burners: Number = 4.0
    """In a row, the igniter at the first and the flame rod at the last. [1]"""
    delay: Number = 0.25
    """From gas at a hot igniter to its flame. [s]"""
    late: Number = 4.0
    """Added to the delay where carry-over is gone. [s]"""
    spread: Number = 0.2
    """Time constant of the flame from the first burner over the others. [s]"""
    primary_air: Number = 0.6
    """Share of the air that is in the mixture at the burner's head; the rest joins later. [1]"""
    full_strength: Number = 0.8
    """Excess air up to which the flame sits firmly. [1]"""
    hold: Number = 0.3
    """Share of the rated flow below which the burners hold no flame. [1]"""
    volume: Number = 0.02
    """Where unburnt gas gathers. [m3]"""
    flame_current: Number = 3.5e-6
    """At the rated input with a clean rod, of 1 to 6 uA. [A]"""
    rod_lag: float = 0.08
    """Of flame and amplifier. [s]"""
    spill_pressure: Number = -2.5
    """Burner box from which flames begin to leave it. [Pa]"""
    spill_band: Number = 5.0
    """From there to all flames outside. [Pa]"""
    rollout_normal: Number = 35.0
    """Of the roll-out switch above the room in a normal run. [K]"""
    rollout_rise: Number = 350.0
    """The same with all flames outside, on top. [K]"""
    rollout_lag: float = 15.0
    """[s]"""


class Fire:
    """Igniter, flame, gas not yet burnt, flame current and roll-out. ValueError for a fuel without limits.

    A mixture burns where some of what lies between the burner's head (primary air only) and the whole is flammable.
    Gas that comes while nothing burns gathers, is swept out by the draft, and burns at once when it lights.
    What is burnt, swept out and gathered adds up to what came, in every step.
    """

    __slots__ = (
        "_before_rod",
        "_dt",
        "_first",
        "_follow",
        "_igniter",
        "_knee",
        "_lean",
        "_m",
        "_need",
        "_progress",
        "_rich",
        "_rod",
        "_unit",
        "amps_igniter",
        "burnt",
        "carry_over",
        "excess_air",
        "flame",
        "flame_current",
        "ground_factor",
        "igniter_factor",
        "insulator",
        "lean",
        "rod_factor",
        "rollout_heat",
        "spilt",
        "swept",
        "temp_igniter",
        "unburnt",
    )

    def __init__(self, m: Maths, unit: FireUnit, chance: random.Random | None = None) -> None:
        if unit.fuel not in FLAMMABLE:
            raise ValueError(f"unknown fuel '{unit.fuel}' for a fire; it is {', '.join(FLAMMABLE)}")
        self._m, self._unit = m, unit
        self._igniter = Igniter(unit.igniter)
        self._rod = FlameCurrent(m, unit.flame_current, unit.rod_lag, chance)
        self._need = float(air_need(unit.fuel, "mass"))
        leanest, richest = FLAMMABLE[unit.fuel]
        by_volume = float(air_need(unit.fuel))
        self._lean, self._rich = (1 / leanest - 1) / by_volume, (1 / richest - 1) / by_volume
        self._knee = unit.primary_air * (1.0 + unit.full_strength)
        self._first = 1.0 / unit.burners
        self._before_rod = m.where(unit.burners > 1.0, self._first, 0.0)
        self._dt = self._follow = 0.0
        self.igniter_factor: Number = 1.0
        """Knob: conductance over that of a new one; an aged one conducts less, 0 is open. [1]"""
        self.carry_over: Number = 0.0
        """Knob: 0 good, 1 the flame stays at the first burner, and comes late. [1]"""
        self.lean: Number = 0.0
        """Knob: more air at the burners' heads, as excess air; it lifts the flame. [1]"""
        self.rod_factor: Number = 1.0
        """Knob: 1 clean rod, 0 wholly coated. [1]"""
        self.ground_factor: Number = 1.0
        """Knob: 1 good way back to the control, 0 none. [1]"""
        self.insulator: Number = 0.0
        """Knob: 0 sound, 1 cracked through. [1]"""
        self._progress: Number = 0.0
        self.flame: Number = 0.0
        """State and output: share of the burners that burn. [1]"""
        self.unburnt: Number = 0.0
        """State and output: gas that has gathered. [kg]"""
        self.burnt: Number = 0.0
        """Output: mean of the step, a burst of gathered gas included. [kg/s]"""
        self.swept: Number = 0.0
        """Output: gas that leaves unburnt. [kg/s]"""
        self.excess_air: Number = 0.0
        """Output: of the air for the gas that comes, burning or not. [1]"""
        self.spilt: Number = 0.0
        """Output: share of the flames that leaves the burner box. [1]"""
        self.rollout_heat: Number = 20.0
        """State and output: temperature at the roll-out switch. [degC]"""
        self.amps_igniter: Number = 0.0
        """Output. [A]"""
        self.temp_igniter: Number = 20.0
        """Output. [degC]"""
        self.flame_current: Number = 0.0
        """Output. [A]"""

    def step(
        self,
        dt: float,
        *,
        igniter: Number,
        voltage: Number,
        gas_flow: Number,
        air_flow: Number,
        burner_box: Number,
        temp_room: Number = 20.0,
        oxygen: Number = _FRESH,
    ) -> None:
        """Advance by `dt` [s].

        igniter : powered, 0 or 1; voltage : line [V]; gas_flow, air_flow : to the burners [kg/s]; burner_box [Pa];
        temp_room : round the burners [degC]; oxygen : mole fraction in the combustion air, below 0.2095 where flue gas
        comes back [1].
        """
        unit, where, surface, rod = self._unit, self._m.where, self._igniter, self._rod
        if dt != self._dt:
            self._dt, self._follow = dt, math.exp(-dt / unit.rollout_lag)
        surface.factor = self.igniter_factor
        surface.step(dt, voltage=voltage * igniter, temp_room=temp_room)
        self.amps_igniter, self.temp_igniter = surface.amps, surface.temp

        air_flow = where(air_flow > 0.0, air_flow, 0.0)
        share = gas_flow / unit.rated_flow
        asked = self._need * unit.rated_flow * where(share > _TRACE, share, _TRACE)
        ratio = air_flow * oxygen / (_FRESH * asked)
        self.excess_air = ratio - 1.0
        head, lean, rich = unit.primary_air * (ratio + self.lean), self._lean, self._rich
        least = where((self.flame > 0.0) & (rich < _STARVED), _STARVED, rich)
        burns = where((share > unit.hold) & (head < lean) & (ratio > least) & (oxygen > _LEAST_OXYGEN), 1.0, 0.0)
        before = self.flame * burns
        self._spread(dt, burns, before)
        late = self._burn(dt, gas_flow, air_flow, 0.5 * (before + self.flame))

        # How firmly the flame sits: less where it is lifted, starved of air or of oxygen.
        firm = (lean - head) / (lean - self._knee)
        airy = (ratio - _STARVED) / (_AIRY - _STARVED)
        airy = where(airy > 0.0, airy, 0.0)
        vivid = (oxygen - _LEAST_OXYGEN) / (_FRESH - _LEAST_OXYGEN)
        weakest = where(firm < airy, firm, airy)
        weakest = where(weakest < vivid, weakest, vivid)
        strength = where(weakest < 1.0, weakest, 1.0) * self._m.sqrt(share)
        reached = (self.flame - self._before_rod) / (1.0 - self._before_rod)
        rod.rod_factor, rod.ground_factor, rod.insulator = self.rod_factor, self.ground_factor, self.insulator
        rod.step(dt, where(reached > 0.0, reached * strength, 0.0) * voltage / unit.igniter.voltage)
        self.flame_current = rod.amps

        outside = (burner_box - unit.spill_pressure) / unit.spill_band
        starved = (1.0 - ratio) / (1.0 - _STARVED) * burns
        spilt = where(outside < 0.0, 0.0, outside) + where(starved < 0.0, 0.0, starved) + late / unit.rated_flow
        self.spilt = spilt = where(spilt < 1.0, spilt, 1.0)
        heat = self.burnt / unit.rated_flow
        warmer = unit.rollout_normal + spilt * unit.rollout_rise
        target = temp_room + where(heat < 1.0, heat, 1.0) * warmer
        self.rollout_heat = target + (self.rollout_heat - target) * self._follow

    def _spread(self, dt: float, burns: Number, before: Number) -> None:
        """Light the first burner and carry its flame to the others; all is lost where `burns` is 0."""
        m, unit = self._m, self._unit
        where, first = m.where, self._first
        sure = (self._igniter.temp - unit.temp_ignition) / _SURE
        sure = where(sure < 0.0, 0.0, where(sure > 1.0, 1.0, sure))
        gained = burns * sure * dt / (unit.delay + unit.late * self.carry_over)
        progress = (self._progress + gained) * burns
        # Lit when it reaches 1; what the step goes beyond is time in which the flame already spreads.
        beyond = (progress - 1.0 + _LIT) / (gained + _LIT)
        beyond = where(beyond < 0.0, 0.0, where(beyond > 1.0, 1.0, beyond))
        self._progress = where(progress > 2.0, 2.0, progress)
        start = where(before > first, before, first)
        rest = (1.0 - start) * m.exp(-beyond * dt * (1.0 - self.carry_over) / unit.spread)
        self.flame = where(progress >= 1.0, 1.0 - rest, 0.0)

    def _burn(self, dt: float, gas_flow: Number, air_flow: Number, flame: Number) -> Number:
        """Share out what comes and what has gathered; what burns of that late. [kg/s]"""
        burst = flame / _BURST
        rate = air_flow / (self._unit.volume * _AIR_DENSITY) + _SEEP + burst
        came = gas_flow * (1.0 - flame)
        settled = came / rate
        unburnt = settled + (self.unburnt - settled) * self._m.exp(-rate * dt)
        gone = came - (unburnt - self.unburnt) / dt
        late = gone * burst / rate
        self.unburnt, self.swept, self.burnt = unburnt, gone - late, gas_flow * flame + late
        return late
