"""From the figures that a furnace is designed to, to the parts that have them: for one unit and for thousands."""

from dataclasses import dataclass, fields, replace

from analysis.airflow import HEAT_OF_AIR
from analysis.draft_network import MOLAR_MASS_AIR
from analysis.fuels import fuel_named
from analysis.psychrometrics import pressure_at_altitude
from analysis.units import INCH_OF_WATER
from drivers.simulate.air import AirUnit
from drivers.simulate.draft import Draft, DraftUnit, draft_unit_from_taps
from drivers.simulate.ducts import DuctUnit
from drivers.simulate.electric import ElectricUnit
from drivers.simulate.fire import FireUnit
from drivers.simulate.flue import Flue
from drivers.simulate.gas import SEA_LEVEL, GasUnit
from drivers.simulate.heat import Exchanger, HeatUnit, heat_unit_for
from drivers.simulate.igniter import SILICON_CARBIDE, SILICON_NITRIDE, IgniterUnit
from drivers.simulate.limit import LimitUnit
from drivers.simulate.maths import Maths, Number
from drivers.simulate.moist_air import AIR_GAS
from drivers.simulate.switches import SwitchUnit
from drivers.simulate.tank import TankUnit
from drivers.simulate.water import WaterUnit

BTU = 0.29307107
"""One Btu/h. [W]"""
INCH = INCH_OF_WATER
"""One inch of water at 4 degC. [Pa]"""
ROOM = 20.0
"""Room, return air and combustion air at the rating. [degC]"""
_DERATED_FROM = 609.6
"""2,000 ft: below it the orifices stay as they are. [m]"""
_DERATING = 0.02 / 304.8
"""2 % for each 1,000 ft from sea level, for condensing models: published installation manuals, brand withheld. [1/m]"""
_FAN_SHARE = 0.43
"""Of its pressure at rest that a blower has lost at its rating; common practice, no published source. [1]"""
_RATED = 23_400.0
"""Input of the unit that the parts' defaults describe. [W]"""
_SPILLS = 5.0
"""Pressure in the burner box above that where its air comes from, from which flames leave it; common practice, no
published source. [Pa]"""
_CABINET = 1.25
"""Drop of exchangers and cabinet over that of all outside; common practice, no published source. [1]"""


@dataclass(frozen=True, slots=True)
class Design:
    """What one furnace is meant to be at its site, hot, on high stage unless said otherwise. All of it is invented."""

    fuel: str = "natural gas"
    """A name of `analysis.fuels`."""
    manifold_reference: str = "room"
    stages: Number = 2
    """1 or 2. [1]"""
    two_pipes: Number = 1.0
    """1 where the combustion air comes from outdoors, 0 where from the room."""
    differential: Number = 1.0
    """1 where the pressure switch compares the collector with the burner box, 0 where with the room."""
    nitride: Number = 0.0
    """1 for an igniter of silicon nitride, 0 of carbide."""
    input: Number = 80_000 * BTU
    """Of the plate, at sea level, higher heating value. [W]"""
    low_share: Number = 0.70
    """Input of the low stage over that of the high one. [1]"""
    altitude: Number = 0.0
    """[m]"""
    efficiency: Number = 0.95
    """Of the higher heating value. [1]"""
    excess_air: Number = 0.40
    """[1]"""
    rise: Number = 50 / 1.8
    """Of the circulating air. [K]"""
    burner_box: Number = -0.15 * INCH
    """Hot, high stage, calm, gauge to the room. [Pa]"""
    transition: Number = -0.50 * INCH
    """The same. [Pa]"""
    collector: Number = -1.25 * INCH
    """The same. [Pa]"""
    vent: Number = 0.35 * INCH
    """The same. [Pa]"""
    fan_steepness: Number = 1 / 3
    """Share of its pressure at rest that the inducer has lost. [1]"""
    low_speed: Number = 0.75
    """Inducer in low stage, share of full speed. [1]"""
    height: Number = 1.5
    """Rise of the vent. [m]"""
    manifold: Number = 3.5 * INCH
    """[Pa]"""
    gas_supply: Number = 7.0 * INCH
    """With no flow, of a main. [Pa]"""
    gas_drop: Number = 0.5 * INCH
    """What the line takes at full flow. [Pa]"""
    tank_fill: Number = 0.5
    """Share of a propane tank that is liquid. [1]"""
    switch_share: Number = 0.82
    """Closing point of the low switch over the smallest pressure at it in a good low-stage run. [1]"""
    switch_high_share: Number = 0.86
    """The same of the high switch. [1]"""
    switch_hold: Number = 0.88
    """Opening point over closing point. [1]"""
    switch_close: tuple[Number, ...] | None = None
    """Closing points where they are known, high stage first; else from the shares. [Pa]"""
    switch_open: tuple[Number, ...] | None = None
    """Opening points where they are known, high stage first. [Pa]"""
    flame_current: Number = 3.5e-6
    """With a clean rod. [A]"""
    static_return: Number = 0.20 * INCH
    """Suction before the blower, filter included. [Pa]"""
    static_supply: Number = 0.25 * INCH
    """After the furnace, coil included. [Pa]"""
    constant_flow: Number = 0.0
    """1 for a blower that holds its flow. [1]"""
    limit_opening: Number = 90.0
    """[degC]"""


@dataclass(frozen=True, slots=True)
class Physical:
    """The parts of a furnace with its gas, air and water, each with its parameters."""

    design: Design
    pressure: Number
    """Barometric. [Pa]"""
    input: tuple[Number, Number]
    """At the site, high and low stage. [W]"""
    draft: DraftUnit
    water: WaterUnit
    switch: SwitchUnit
    switch_high: SwitchUnit
    gas: GasUnit
    fire: FireUnit
    heat: HeatUnit
    air: AirUnit
    ducts: DuctUnit
    limit: LimitUnit
    electric: ElectricUnit
    healthy: tuple[Number, Number, Number]
    """Pressure at the switches of a good unit: in high stage hot, in low stage the least, cold in high stage. [Pa]"""


def built(m: Maths, design: Design) -> Physical:
    """The parts of a design; ValueError where no exchanger can have the efficiency."""
    pressure = _plain(pressure_at_altitude(design.altitude))
    derated = m.where(design.altitude > _DERATED_FROM, 1.0 - _DERATING * design.altitude, m.sqrt(pressure / SEA_LEVEL))
    site = design.input * derated
    fuel = fuel_named(design.fuel)
    flue = Flue(m, fuel)
    burnt = site / flue.heating_value
    intake = burnt * flue.air_need * (1.0 + design.excess_air)
    air_flow = design.efficiency * site / (HEAT_OF_AIR * design.rise)
    heat = heat_unit_for(site, design.efficiency, design.excess_air, air_flow, fuel, m=m, pressure=pressure)
    exchanger = Exchanger(m, heat, ROOM + 0.0 * site)
    for _ in range(_SETTLING):
        flue.burn(burnt=burnt, air_flow=intake, ratio=0.0, temp_air=ROOM, pressure=pressure)
        exchanger.step(4.0, flue=flue, air_flow=air_flow, temp_entering=ROOM, ratio=0.0, temp_room=ROOM)
    low = m.where(design.stages > 1, design.low_speed, 1.0)
    draft = replace(
        draft_unit_from_taps(
            burner_box=design.burner_box,
            transition=design.transition,
            collector=design.collector,
            vent=design.vent,
            flow=intake + burnt,
            temp_intake=ROOM,
            temp_primary=exchanger.temp_primary_gas,
            temp_secondary=exchanger.temp_secondary_gas,
            temp_inducer=exchanger.temp_flue,
            pressure=pressure,
            molar_mass=flue.molar_mass,
            fan_steepness=design.fan_steepness,
            fuel=burnt,
            condensate=exchanger.condensate,
            height=design.height,
        ),
        low_speed=low,
        primary_volume=0.006 * site / _RATED,
    )
    hot = (exchanger.temp_primary_gas, exchanger.temp_secondary_gas, exchanger.temp_flue, flue.molar_mass)
    cold = (ROOM, ROOM, ROOM, MOLAR_MASS_AIR)
    hot_high, _ = _settled(m, design, draft, pressure, speed=1.0, gas=hot)
    hot_low, box_low = _settled(m, design, draft, pressure, speed=low, gas=hot)
    cold_low, _ = _settled(m, design, draft, pressure, speed=low, gas=cold)
    cold_high, _ = _settled(m, design, draft, pressure, speed=1.0, gas=cold)
    healthy = (hot_high, m.minimum(hot_low, cold_low), cold_high)
    closing_low = design.switch_share * healthy[1]
    closing_high = m.maximum(design.switch_high_share * m.minimum(hot_high, cold_high), closing_low * 1.02)
    close = design.switch_close or (closing_high, closing_low)
    hold = design.switch_hold
    opening = design.switch_open or tuple(point * hold for point in close)
    share = m.where(design.stages > 1, design.low_share, 1.0)
    box = (design.burner_box, box_low) if design.manifold_reference == "room" else (0.0, 0.0)
    manifold_low = share * share * (design.manifold - box[0]) + box[1]
    thinner = m.sqrt(pressure / SEA_LEVEL)
    return Physical(
        design=design,
        pressure=pressure,
        input=(site, site * share),
        draft=draft,
        water=_water(site / _RATED, intake + burnt),
        switch=SwitchUnit(closing=close[-1], opening=opening[-1]),
        switch_high=SwitchUnit(closing=close[0], opening=opening[0]),
        gas=GasUnit(
            fuel=design.fuel,
            inputs=(site / thinner, site * share / thinner),
            manifold=(design.manifold, manifold_low),
            reference=design.manifold_reference,
            rated_burner_box=(design.burner_box, box_low),
            supply_pressure=design.gas_supply,
            line_resistance=design.gas_drop / burnt**2,
            tank=TankUnit(fill=design.tank_fill) if design.fuel == "propane" else None,
        ),
        fire=FireUnit(
            fuel=design.fuel,
            rated_flow=burnt,
            igniter=_igniter(m, design.nitride),
            flame_current=design.flame_current,
            spill_pressure=_SPILLS,
        ),
        heat=heat,
        air=_air(m, design, air_flow, pressure),
        ducts=_ducts(air_flow),
        limit=LimitUnit(opening=design.limit_opening, air_flow=air_flow),
        electric=_electric(site / _RATED, intake + burnt),
        healthy=healthy,
    )


def outdoors(physical: Physical, temp: Number) -> Physical:
    """The same with a propane tank that has stood outdoors at `temp` [degC]."""
    if physical.gas.tank is None:
        return physical
    return replace(physical, gas=replace(physical.gas, tank=replace(physical.gas.tank, temp=temp)))


_SETTLING = 150
"""Steps of 4 s until an exchanger of any size has settled. [1]"""


def _plain(value: Number) -> Number:
    """A float where it is one number."""
    return value if getattr(value, "ndim", 0) else float(value)


def _settled(
    m: Maths, design: Design, draft: DraftUnit, pressure: Number, *, speed: Number, gas: tuple[Number, ...]
) -> tuple[Number, Number]:
    """Pressure at the switch and in the burner box with the inducer at a speed and gas of given temperatures. [Pa]"""
    circuit = Draft(m, draft)
    for _ in range(2):
        circuit.step(
            1e3,
            command=speed,
            voltage=1.0,
            temp_intake=ROOM,
            temp_primary=gas[0],
            temp_secondary=gas[1],
            temp_inducer=gas[2],
            pressure=pressure,
            molar_mass=gas[3],
            temp_outdoor=ROOM,
            wind_intake=0.0,
            wind_vent=0.0,
            temp_room=ROOM,
            blower_pressure=0.0,
            fuel=0.0,
            condensate=0.0,
            flooding=0.0,
            bubbling=0.0,
        )
    reference = design.differential * circuit.burner_box
    return reference - circuit.collector, circuit.burner_box


def _air(m: Maths, design: Design, air_flow: Number, pressure: Number) -> AirUnit:
    """Blower and air path that give `air_flow` [kg/s] at the design's statics."""
    default = AirUnit()
    density = pressure / (AIR_GAS * (ROOM + 273.15))
    warm = density * (ROOM + 273.15) / (ROOM + design.rise + 273.15)
    flow = air_flow / density
    back, on = design.static_return / density / flow**2, design.static_supply / warm / (air_flow / warm) ** 2
    filter_share = 0.45
    outside = design.static_return + design.static_supply
    total = outside * (1.0 + _CABINET)
    speed = default.high_heat
    shutoff = total / density / speed**2 / (1.0 - _FAN_SHARE)
    low = m.where(design.stages > 1, design.low_share * 1.06, 1.0)
    held = design.constant_flow > 0.0
    return replace(
        default,
        shutoff=shutoff,
        slope=_FAN_SHARE * shutoff * speed**2 / flow**2,
        cabinet=outside * _CABINET / density / flow**2,
        return_duct=(1.0 - filter_share) * back,
        filter_slow=0.4 * filter_share * design.static_return / flow,
        filter_fast=0.6 * filter_share * back,
        coil=0.55 * on,
        supply_duct=0.45 * on,
        low_heat=speed * low,
        high_heat=m.where(held, 1.0, speed),
        constant_flow=design.constant_flow,
        rated_flow=flow,
        most_power=1.25 * total * flow,
    )


def _water(size: Number, flow: Number) -> WaterUnit:
    """Collector box and drain of a unit `size` times the default's, with a flow of flue gas [kg/s]."""
    default = WaterUnit()
    names = "box_area leg_area drain_area trap drain seep".split()
    return replace(default, rated_flow=flow, **{name: size * getattr(default, name) for name in names})


def _electric(size: Number, flow: Number) -> ElectricUnit:
    """Motors of a unit `size` times the default's: currents grow less than in proportion (common practice)."""
    default = ElectricUnit()
    more = size**0.6
    return replace(
        default,
        inducer=default.inducer * more,
        inducer_locked=default.inducer_locked * more,
        blower=default.blower * more,
        inducer_flow=flow,
    )


def _igniter(m: Maths, nitride: Number) -> IgniterUnit:
    """Of silicon nitride where `nitride` is 1, else of carbide."""
    names = [field.name for field in fields(IgniterUnit)]
    return IgniterUnit(
        **{
            name: m.where(nitride > 0.0, getattr(SILICON_NITRIDE, name), getattr(SILICON_CARBIDE, name))
            for name in names
        }
    )


def _ducts(air_flow: Number) -> DuctUnit:
    """Ducts for an airflow [kg/s]."""
    default = DuctUnit()
    size = air_flow / default.air_flow
    return replace(
        default,
        air_flow=air_flow,
        plenum=default.plenum * size,
        supply_duct=default.supply_duct * size,
        supply_film=default.supply_film * size,
        return_duct=default.return_duct * size,
    )
