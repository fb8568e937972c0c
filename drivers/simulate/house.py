"""A house as one well-mixed zone: heat in two nodes, moisture in air and buffer, its coldest surface, and CO."""

from dataclasses import dataclass
from math import exp, expm1

from drivers.simulate.moist_air import (
    AIR_HEAT,
    VAPORISING,
    VAPOUR_HEAT,
    dry_density,
    humidity_ratio,
    relative_humidity,
)

_ZERO = 273.15
"""0 degC. [K]"""
_GAS = 8.314462618
"""Molar gas constant, CODATA 2018. [J/mol/K]"""
_CO = 0.028010
"""Molar mass of carbon monoxide. [kg/mol]"""

_WEIGHED_TEMP, _WEIGHED_RATIO = 21.1, 0.0055
"""Condition of the air whose mass is that of the house. [degC, kg/kg]"""

_Streams = tuple[tuple[float, float, float], tuple[float, float, float]]
"""Supply and infiltration: flow, humidity ratio, temperature. [kg/s dry air, kg/kg, degC]"""


@dataclass(frozen=True, slots=True)
class HouseUnit:
    """One invented house; sizes without a source are common practice, no published source."""

    loss: float = 316.5
    """Whole heat loss for each degree, infiltration at its nominal air changes included; 600 Btu/(h degF). [W/K]"""
    gains: float = 900.0
    """Heat of sun, people and appliances. [W]"""
    light: float = 4.0e6
    """Heat capacity of air, furniture and linings. [J/K]"""
    heavy: float = 25.0e6
    """Heat capacity of what is heavy. [J/K]"""
    coupling: float = 1500.0
    """Heat transfer from air to what is heavy. [W/K]"""
    volume: float = 453.07
    """Heated volume; 16,000 ft3. [m3]"""
    air_changes: float = 0.5 / 3600
    """Outdoor air coming in, in volumes of the house. [1/s]"""
    pressure: float = 101_325.0
    """Barometric pressure at which the mass of its air is taken. [Pa]"""
    sources: float = 7.0e-5
    """Water from people, cooking and washing; 0.55 lb/h. [kg/s]"""
    buffer: float = 5.0
    """Moisture that walls and furniture take up, by what the air takes up for the same change. [1]"""
    buffer_lag: float = 3 * 3600.0
    """Time constant with which they follow the air. [s]"""
    surface_factor: float = 0.55
    """Temperature factor fRsi of the coldest surface, EN ISO 13788: 0 outdoors, 1 indoors. [1]"""
    surface_lag: float = 600.0
    """Its time constant. [s]"""
    surface_area: float = 8.0
    """Area as cold as that. [m2]"""
    surface_transfer: float = 3.0e-3
    """Vapour that it takes up, by the difference of humidity ratio: convective 3 W/(m2 K) over the specific heat of
    air, Lewis' relation. [kg/s/m2]"""
    surface_holds: float = 0.05
    """Water that stays on it; more runs off. [kg/m2]"""
    supply_warming: float = 0.03
    """How much supply air warms it, by how much warmer than the room that is, at `supply_nominal`. [K/K]"""
    supply_nominal: float = 0.65
    """[kg/s dry air]"""


class House:
    """One zone in time; second order (Heun) but for what has a closed solution.

    State and outputs: temp_room, temp_heavy, temp_surface [degC], ratio_room, ratio_buffer [kg/kg], humidity_room [1],
    film (water on the surface) [kg], co [kg], room_co (mole fraction) [1]. Knob: air_changes_factor [1].

    Accounts, means over the last step, positive into the zone: heat_supply, heat_gains, heat_loss, heat_infiltration,
    heat_latent (given off by vapour that is taken up or condenses) [W], together the growth of `stored_heat`;
    water_supply, water_infiltration, water_sources, water_run_off [kg/s], together the growth of `stored_water`;
    sorbing (air to buffer), condensing (air to surface) [kg/s] move it inside.
    """

    __slots__ = (
        "_air",
        "_transmission",
        "air_changes_factor",
        "co",
        "condensing",
        "film",
        "heat_gains",
        "heat_infiltration",
        "heat_latent",
        "heat_loss",
        "heat_supply",
        "humidity_room",
        "ratio_buffer",
        "ratio_room",
        "room_co",
        "sorbing",
        "temp_heavy",
        "temp_room",
        "temp_surface",
        "unit",
        "water_infiltration",
        "water_run_off",
        "water_sources",
        "water_supply",
    )

    def __init__(
        self, unit: HouseUnit, *, temp: float = 21.1, humidity: float = 0.35, temp_outdoor: float = 0.0
    ) -> None:
        self.unit = unit
        self.temp_room = self.temp_heavy = temp
        self.temp_surface = temp_outdoor + unit.surface_factor * (temp - temp_outdoor)
        self.ratio_room = self.ratio_buffer = humidity_ratio(temp, humidity, unit.pressure)
        self.humidity_room = humidity
        self._air = unit.volume * dry_density(_WEIGHED_TEMP, _WEIGHED_RATIO, unit.pressure)
        self._transmission = unit.loss - self._air * unit.air_changes * AIR_HEAT
        if self._transmission < 0:
            raise ValueError(
                f"a house that loses {unit.loss:g} W/K in all cannot lose {unit.loss - self._transmission:g} W/K by its"
                " air changes: raise `loss`, or lower `volume` or `air_changes`"
            )
        self.film = self.co = self.room_co = 0.0
        self.air_changes_factor = 1.0
        self.heat_supply = self.heat_gains = self.heat_loss = self.heat_infiltration = self.heat_latent = 0.0
        self.water_supply = self.water_infiltration = self.water_sources = self.water_run_off = 0.0
        self.sorbing = self.condensing = 0.0

    def step(
        self,
        dt: float,
        *,
        temp_outdoor: float,
        ratio_outdoor: float,
        pressure: float,
        supply_flow: float = 0.0,
        temp_supply: float = 20.0,
        ratio_supply: float = 0.0,
        heat: float = 0.0,
        water: float = 0.0,
        co: float = 0.0,
    ) -> None:
        """Move on by `dt` [s].

        Supply air comes in [kg/s dry air, degC, kg/kg] and as much leaves at the room's condition; `heat` [W], `water`
        [kg/s] and `co` (carbon monoxide of spilled flue gas) [kg/s] come into the room besides.
        """
        unit = self.unit
        renewal = unit.air_changes * self.air_changes_factor
        infiltration = unit.volume * renewal * dry_density(self.temp_room, self.ratio_room, pressure)
        streams = ((supply_flow, ratio_supply, temp_supply), (infiltration, ratio_outdoor, temp_outdoor))
        before = self.temp_room
        self._moisten(dt, streams, pressure, unit.sources + water)
        self._warm(dt, streams, unit.gains + heat)
        after = self.temp_room
        middle = (before + after) / 2
        blown = unit.supply_warming * supply_flow / unit.supply_nominal * (temp_supply - middle)
        target = temp_outdoor + unit.surface_factor * (middle - temp_outdoor) + blown
        self.temp_surface = target + (self.temp_surface - target) * exp(-dt / unit.surface_lag)
        share = -expm1(-renewal * dt) / renewal if renewal > 0 else dt
        self.co = self.co * exp(-renewal * dt) + co * share
        self.room_co = self.co / _CO * _GAS * (after + _ZERO) / (pressure * unit.volume)
        self.humidity_room = relative_humidity(after, self.ratio_room, pressure)

    def stored_heat(self) -> float:
        """Heat in both nodes, from 0 degC. [J]"""
        return self.unit.light * self.temp_room + self.unit.heavy * self.temp_heavy

    def stored_water(self) -> float:
        """Water in air, in the buffer and on the surface. [kg]"""
        return self._air * (self.ratio_room + self.unit.buffer * self.ratio_buffer) + self.film

    def _moisten(self, dt: float, streams: _Streams, pressure: float, sources: float) -> None:
        unit, air = self.unit, self._air
        (supply_flow, ratio_supply, _), (infiltration, ratio_outdoor, _) = streams
        exchange = unit.buffer * air / unit.buffer_lag
        transfer = unit.surface_area * unit.surface_transfer
        surface = humidity_ratio(self.temp_surface, 1.0, pressure)
        driest = -self.film / dt if dt > 0 else 0.0
        room, held = self.ratio_room, self.ratio_buffer
        sorbing = exchange * (room - held)
        condensing = max(transfer * (room - surface), driest)
        supplied, renewed = supply_flow * (ratio_supply - room), infiltration * (ratio_outdoor - room)
        growth = supplied + renewed + sources - sorbing - condensing
        ahead, held_ahead = room + dt * growth / air, held + dt * (room - held) / unit.buffer_lag
        self.sorbing = sorbing = 0.5 * (sorbing + exchange * (ahead - held_ahead))
        self.condensing = condensing = 0.5 * (condensing + max(transfer * (ahead - surface), driest))
        self.water_supply = supplied = 0.5 * (supplied + supply_flow * (ratio_supply - ahead))
        self.water_infiltration = renewed = 0.5 * (renewed + infiltration * (ratio_outdoor - ahead))
        self.water_sources = sources
        self.ratio_room = room + dt * (supplied + renewed + sources - sorbing - condensing) / air
        self.ratio_buffer = held + dt * sorbing / (unit.buffer * air) if unit.buffer > 0 else room
        film = self.film + dt * condensing
        excess = max(film - unit.surface_area * unit.surface_holds, 0.0)
        self.film = max(film - excess, 0.0)
        self.water_run_off = -excess / dt if dt > 0 else 0.0
        self.heat_latent = (sorbing + condensing) * (VAPORISING + VAPOUR_HEAT * self.temp_room)

    def _warm(self, dt: float, streams: _Streams, other: float) -> None:
        unit = self.unit
        (supply_flow, ratio_supply, temp_supply), (infiltration, ratio_outdoor, temp_outdoor) = streams
        supply = supply_flow * (AIR_HEAT + VAPOUR_HEAT * ratio_supply)
        outside = infiltration * (AIR_HEAT + VAPOUR_HEAT * ratio_outdoor)
        steady = other + self.heat_latent
        lost = self._transmission + outside
        room, heavy = self.temp_room, self.temp_heavy
        passing = unit.coupling * (room - heavy)
        growth = steady + supply * (temp_supply - room) + lost * (temp_outdoor - room) - passing
        ahead, heavy_ahead = room + dt * growth / unit.light, heavy + dt * passing / unit.heavy
        passing = 0.5 * (passing + unit.coupling * (ahead - heavy_ahead))
        middle = 0.5 * (room + ahead)
        self.heat_gains = other
        self.heat_supply = supplied = supply * (temp_supply - middle)
        self.heat_loss = self._transmission * (temp_outdoor - middle)
        self.heat_infiltration = outside * (temp_outdoor - middle)
        growth = steady + supplied + lost * (temp_outdoor - middle) - passing
        self.temp_room = room + dt * growth / unit.light
        self.temp_heavy = heavy + dt * passing / unit.heavy
