"""An evaporative humidifier: a wetted pad in a bypass from supply to return, or in part of the supply air."""

from dataclasses import dataclass
from math import exp, log

from analysis.psychrometrics_solve import MOLE_RATIO
from drivers.simulate.moist_air import (
    VAPORISING,
    VAPOUR_HEAT,
    WATER_HEAT,
    enthalpy,
    saturation_pressure_water,
    temp_from_enthalpy,
    wet_bulb,
)

KINDS = ("bypass", "plenum")
"""`bypass`: the pad's air goes back to the return; `plenum`: it goes on with the supply air."""
_LEAST_FLOW = 1e-6
"""Less air than this over the pad evaporates nothing. [kg/s]"""


@dataclass(frozen=True, slots=True)
class HumidifierUnit:
    """One invented humidifier; all of it common practice, no published source."""

    kind: str = "bypass"
    """One of `KINDS`."""
    share: float = 0.12
    """Share of the appliance's air that passes the pad with the damper open. [1]"""
    effectiveness: float = 0.7
    """Of the wet pad in mass transfer, at `flow_nominal`: how near its air comes to saturation. [1]"""
    flow_nominal: float = 0.08
    """Air over the pad. [kg/s dry air]"""
    flow_exponent: float = 0.35
    """Transfer units fall with the flow to this power. [1]"""
    feed: float = 3.7e-3
    """Water with the valve open; what does not evaporate drains. [kg/s]"""
    holds: float = 0.3
    """Water in the pad when it drips. [kg]"""
    wet_above: float = 0.5
    """Share of that below which the pad is wet in part only. [1]"""
    damper_leak: float = 0.1
    """Share of the pad's air that passes a closed damper; only a bypass has one. [1]"""
    temp_water: float = 15.0
    """Water supplied. [degC]"""


class Humidifier:
    """A humidifier in time; second order (Heun).

    State: pad_water [kg]. Outputs: valve (0/1), evaporation, water_use, drained [kg/s], cooling (heat taken from the
    air) [W], pad_flow, bypass_flow (back to the return), supply_flow (on to the house) [kg/s dry air];
    temp_pad, ratio_pad (air after the pad), temp_supply, ratio_supply (on to the house), temp_mixed, ratio_mixed
    (return air with the bypass: what enters the appliance) [degC, kg/kg]. Means over the last step: water_use =
    evaporation + drained + growth of pad_water.
    Knobs: overrun (0..1 of the feed comes with the valve closed), damper_open (0..1 with no call), dry (0..1: feed
    blocked).

    Evaporation = pad_flow * effectiveness * (saturation at the wet bulb - ratio), as in adiabatic saturation: ASHRAE
    Handbook - HVAC Systems and Equipment, direct evaporative air cooling, from memory. Air after the pad by enthalpy:
    ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 30.
    """

    __slots__ = (
        "_bulb",
        "_in_bypass",
        "_units",
        "bypass_flow",
        "cooling",
        "damper_open",
        "drained",
        "dry",
        "evaporation",
        "overrun",
        "pad_flow",
        "pad_water",
        "ratio_mixed",
        "ratio_pad",
        "ratio_supply",
        "supply_flow",
        "temp_mixed",
        "temp_pad",
        "temp_supply",
        "unit",
        "valve",
        "water_use",
    )

    def __init__(self, unit: HumidifierUnit) -> None:
        if unit.kind not in KINDS:
            raise ValueError(f"unknown kind of humidifier '{unit.kind}'; known are {', '.join(KINDS)}")
        if not 0 < unit.effectiveness < 1:
            raise ValueError(f"a pad of effectiveness {unit.effectiveness:g} cannot be: give one between 0 and 1")
        self.unit = unit
        self._in_bypass = unit.kind == "bypass"
        self._units = -log(1 - unit.effectiveness)
        self._bulb = 20.0
        self.valve = 0
        self.overrun = self.damper_open = self.dry = self.pad_water = 0.0
        self.evaporation = self.water_use = self.drained = self.cooling = 0.0
        self.pad_flow = self.bypass_flow = self.supply_flow = 0.0
        self.temp_pad = self.temp_supply = self.temp_mixed = 20.0
        self.ratio_pad = self.ratio_supply = self.ratio_mixed = 0.0

    def step(
        self,
        dt: float,
        *,
        call: float,
        air_flow: float,
        temp: float,
        ratio: float,
        temp_return: float,
        ratio_return: float,
        pressure: float,
    ) -> None:
        """Move on by `dt` [s].

        `call` 0/1; `air_flow` [kg/s dry air] leaves the appliance at `temp` [degC] and `ratio` [kg/kg]; the return air
        before the junction has `temp_return` [degC] and `ratio_return` [kg/kg]; `pressure` [Pa].
        """
        unit = self.unit
        self.valve = valve = 1 if call >= 0.5 else 0
        damper = max(valve, self.damper_open, unit.damper_leak) if self._in_bypass else 1.0
        self.pad_flow = passing = unit.share * air_flow * damper
        self._wet(dt, max(valve, self.overrun), self._drying(passing, temp, ratio, pressure))
        before = enthalpy(temp, ratio)
        after, content, warm = ratio, before, temp
        if passing > _LEAST_FLOW:
            gain = self.evaporation / passing
            after = ratio + gain
            content = before + gain * WATER_HEAT * unit.temp_water
            warm = temp_from_enthalpy(content, after)
        self.temp_pad, self.ratio_pad = warm, after
        self.cooling = self.evaporation * (VAPORISING + VAPOUR_HEAT * temp - WATER_HEAT * unit.temp_water)
        if self._in_bypass:
            share = unit.share * damper
            self.bypass_flow, self.supply_flow = passing, air_flow - passing
            self.temp_supply, self.ratio_supply = temp, ratio
            self.ratio_mixed = mixed = ratio_return + share * (after - ratio_return)
            returned = enthalpy(temp_return, ratio_return)
            self.temp_mixed = temp_from_enthalpy(returned + share * (content - returned), mixed)
        else:
            self.bypass_flow, self.supply_flow = 0.0, air_flow
            self.temp_mixed, self.ratio_mixed = temp_return, ratio_return
            self.ratio_supply = mixed = ratio + unit.share * (after - ratio)
            self.temp_supply = temp_from_enthalpy(before + unit.share * (content - before), mixed)

    def _drying(self, passing: float, temp: float, ratio: float, pressure: float) -> float:
        """What the wet pad would evaporate. [kg/s]"""
        if passing <= _LEAST_FLOW:
            return 0.0
        unit = self.unit
        self._bulb = bulb = wet_bulb(temp, ratio, pressure, self._bulb)
        vapour = saturation_pressure_water(bulb)
        saturated = MOLE_RATIO * vapour / (pressure - vapour)
        units = self._units * (passing / unit.flow_nominal) ** -unit.flow_exponent
        return passing * (1 - exp(-units)) * max(saturated - ratio, 0.0)

    def _wet(self, dt: float, opened: float, drying: float) -> None:
        unit = self.unit
        whole = unit.wet_above * unit.holds
        water, feed = self.pad_water, unit.feed * opened * (1 - self.dry)
        given = drying * min(water / whole, 1.0)
        ahead = min(max(water + dt * (feed - given), 0.0), unit.holds)
        given = 0.5 * (given + drying * min(ahead / whole, 1.0))
        if dt > 0:
            given = min(given, water / dt + feed)
        held = max(water + dt * (feed - given), 0.0)
        self.pad_water = min(held, unit.holds)
        self.evaporation, self.water_use = given, feed
        self.drained = (held - self.pad_water) / dt if dt > 0 else 0.0
