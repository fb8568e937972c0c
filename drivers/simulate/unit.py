"""One invented installation: its papers, the parts of its furnace, and the house it heats."""

import random
from dataclasses import dataclass, field, replace

from analysis.model import Baseline, Plate, Timing
from drivers.simulate.checks import STAYS_DRY_TO, check_papers
from drivers.simulate.control_settings import ControlSettings
from drivers.simulate.design import BTU, INCH, Design, Physical, built, outdoors
from drivers.simulate.draws import KINDS, Draw, drawn
from drivers.simulate.from_papers import physical_of
from drivers.simulate.heatpump import HeatPumpUnit
from drivers.simulate.house import HouseUnit
from drivers.simulate.humidifier import HumidifierUnit
from drivers.simulate.maths import FLOATS
from drivers.simulate.papers import Papers
from drivers.simulate.thermostat import ThermostatUnit
from drivers.simulate.weather import WeatherUnit

PUMP_SHARE = 0.45
"""Rated heat of a heat pump at 47 degF over the furnace's input; common practice, no published source. [1]"""


@dataclass(frozen=True, slots=True)
class Unit:
    """Everything about an installation that stays as it is."""

    papers: Papers
    """What is written down about it."""
    physical: Physical
    control: ControlSettings = field(default_factory=ControlSettings)
    weather: WeatherUnit = field(default_factory=WeatherUnit)
    house: HouseUnit = field(default_factory=HouseUnit)
    thermostat: ThermostatUnit = field(default_factory=ThermostatUnit)
    heat_pump: HeatPumpUnit | None = None
    """None where the furnace heats alone."""
    humidifier: HumidifierUnit | None = None
    humidity: float = 0.35
    """Of the room at the beginning. [1]"""


def random_unit(seed: int, design: Design | None = None) -> Unit:
    """A plausible installation; the same seed gives the same one. `design`: of its furnace, None: drawn too."""
    chance = random.Random(f"unit {seed}")
    if design is None:
        kind = chance.choices([kind for kind, _ in KINDS], [share for _, share in KINDS])[0]
        design = drawn(Draw.one(chance), kind)
    pump = chance.uniform(0.8, 1.2) * PUMP_SHARE * design.input if chance.random() < 0.8 else None
    timing = Timing(
        prepurge=chance.choice((5.0, 10.0, 15.0, 20.0, 30.0)),
        igniter_warmup=chance.choice((7.0, 10.0)) if design.nitride else chance.choice((17.0, 20.0)),
        ignition_trial=chance.choice((4.0, 5.0, 7.0)),
        blower_on_delay=chance.choice((20.0, 30.0, 45.0)),
        post_purge=chance.choice((5.0, 15.0, 30.0)),
        blower_off_delay=chance.choice((90.0, 120.0, 180.0)),
        trials=chance.choice((3, 4, 5)),
    )
    physical = built(FLOATS, design)
    papers = _papers(physical, timing, pump, chance, name=f"invented unit {seed}")
    return _furnished(papers, physical, chance)


def unit_of(papers: Papers, seed: int) -> Unit:
    """The installation of a job file; what it leaves open is drawn. InputError where it contradicts itself."""
    check_papers(papers)
    chance = random.Random(f"unit {seed}")
    return _furnished(papers, physical_of(papers, chance), chance)


def _furnished(papers: Papers, physical: Physical, chance: random.Random) -> Unit:
    """Control, house, weather and the rest, drawn to go with a furnace."""
    output = physical.design.efficiency * physical.input[0]
    coldest = chance.uniform(-22.0, -8.0)
    loss = output * chance.uniform(0.45, 0.70) / (21.0 - coldest)
    volume = 453.0 * loss / 316.5
    pressure = physical.pressure
    pump = papers.capacity_47 or (papers.capacity_17 and papers.capacity_17 / 0.61)
    lockout = papers.compressor_lockout if papers.compressor_lockout is not None else chance.uniform(-8.0, -2.0)
    auxiliary = papers.auxiliary_lockout if papers.auxiliary_lockout is not None else chance.uniform(3.0, 8.0)
    setting = papers.humidifier_setting
    size = physical.heat.air_flow / 0.66
    lights_high = physical.design.stages > 1 and physical.switch_high.closing < 0.95 * physical.healthy[2]
    lights_high = lights_high and physical.design.efficiency > STAYS_DRY_TO  # a dry one has far too much air when cold
    control = ControlSettings(
        timing=papers.timing,
        stages=physical.design.stages,
        soft_lockout_minutes=chance.choice((15.0, 60.0, 60.0, 180.0)),
        recycles=chance.choice((3, 5, 5)),
        light_on=chance.choice(("low", "low", "high")) if lights_high else "low",
        flame_threshold=1e-6 * chance.uniform(0.3, 0.8),
    )
    return Unit(
        papers=papers,
        physical=outdoors(physical, coldest + 5.0),
        control=control,
        weather=WeatherUnit(
            temp_mean=coldest + 5.0, swing=chance.uniform(2.0, 5.0), pressure=pressure, wind=chance.uniform(1.0, 5.0)
        ),
        house=HouseUnit(
            loss=loss,
            volume=volume,
            light=4.0e6 * loss / 316.5,
            heavy=25.0e6 * loss / 316.5,
            coupling=1500.0 * loss / 316.5,
            pressure=pressure,
            surface_factor=chance.uniform(0.50, 0.65),
            supply_nominal=physical.heat.air_flow,
        ),
        thermostat=ThermostatUnit(
            dual_fuel=pump is not None,
            compressor_lockout=lockout,
            auxiliary_lockout=auxiliary,
            humidity_setting=0.35 if setting is None else setting,
        ),
        heat_pump=None if pump is None else heat_pump_of(pump, papers.capacity_17),
        humidifier=None if setting is None else HumidifierUnit(flow_nominal=0.08 * size),
        humidity=chance.uniform(0.28, 0.38),
    )


def heat_pump_of(capacity_47: float, capacity_17: float | None = None) -> HeatPumpUnit:
    """A heat pump of rated heat at 47 and 17 degF [W]; what is not given in proportion to the default's.

    At 35 degF as in 10 CFR 430 where it is not rated (from memory).
    """
    default = HeatPumpUnit()
    capacity_17 = capacity_17 or 0.61 * capacity_47
    size = capacity_47 / default.capacity_47
    return replace(
        default,
        capacity_47=capacity_47,
        capacity_35=0.90 * (capacity_17 + 0.6 * (capacity_47 - capacity_17)),
        capacity_17=capacity_17,
        power_47=default.power_47 * size,
        power_35=default.power_35 * size,
        power_17=default.power_17 * size,
        defrost_cooling=default.defrost_cooling * size,
        defrost_power=default.defrost_power * size,
        coil_heat=default.coil_heat * size,
        frost_transfer=default.frost_transfer * size,
        melting=default.melting * size,
    )


def _papers(physical: Physical, timing: Timing, pump: float | None, chance: random.Random, name: str) -> Papers:
    """What a technician would find written on such a unit, with the digits that plates have."""
    design, gas = physical.design, physical.gas
    stages = 2 if design.stages > 1 else 1
    nominal = (design.input, design.input * design.low_share)[:stages]
    middle = round(design.rise * 1.8 / 5) * 5
    inlet = (11.0, 13.0) if design.fuel == "propane" else (4.5, 10.5)
    close = (physical.switch_high.closing, physical.switch.closing)
    opening = (physical.switch_high.opening, physical.switch.opening)
    plate = Plate(
        fuel=design.fuel,
        condensing=True,
        input=tuple(BTU * 1000.0 * round(each / BTU / 1000.0) for each in nominal),
        efficiency=round(design.efficiency, 2),
        rise=((middle - 15) / 1.8, (middle + 15) / 1.8),
        static_max=0.5 * INCH,
        supply_max=(170.0 - 32.0) / 1.8,
        manifold=tuple(INCH * round(each / INCH, 1) for each in gas.manifold[:stages]),
        gas_inlet=(inlet[0] * INCH, inlet[1] * INCH),
        switch_close=tuple(INCH * round(each / INCH, 2) for each in close[2 - stages :]),
        switch_open=tuple(INCH * round(each / INCH, 2) for each in opening[2 - stages :]),
        flame_current_min=1e-6,
        switch_label="make",
        manifold_reference=design.manifold_reference,
        pipes=2 if design.two_pipes > 0.0 else 1,
    )
    taps = (design.burner_box, design.transition, design.collector, design.vent)
    baseline = Baseline(*(INCH * round(each / INCH, 2) for each in taps))
    return Papers(
        name=name,
        altitude=round(design.altitude / 30.48) * 30.48,
        plate=plate,
        baseline=baseline,
        timing=timing,
        capacity_47=pump and BTU * 500.0 * round(pump / BTU / 500.0),
        capacity_17=pump and BTU * 500.0 * round(0.61 * pump / BTU / 500.0),
        compressor_lockout=pump and round(chance.uniform(18.0, 28.0)) / 1.8 - 32 / 1.8,
        auxiliary_lockout=pump and round(chance.uniform(38.0, 48.0)) / 1.8 - 32 / 1.8,
        humidifier_setting=round(chance.uniform(0.30, 0.38), 2),
    )
