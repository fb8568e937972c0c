"""What is true at every point of the system: read off the plant, in the points' inside units."""

from typing import TYPE_CHECKING

from drivers.simulate.moist_air import relative_humidity

if TYPE_CHECKING:
    from drivers.simulate.plant import Plant

FULL_SPEED = 3300.0
"""Of the inducer. [rpm]"""

FAST_POINTS = (
    "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high gas_inlet gas_manifold"
    " static_return static_supply flame_current volts_control volts_line volts_line_neutral_ground volts_switch"
    " amps_inducer amps_blower amps_igniter speed_inducer switch_closed switch_high_closed limit_closed gas_valve"
    " blower_on rollout_closed call_heat call_heat_2 call_compressor call_fan"
).split()
SLOW_POINTS = (
    "temp_return temp_supply temp_supply_2 temp_outdoor temp_flue temp_surface temp_room humidity_return"
    " humidity_supply humidity_room humidity_outdoor flue_o2 flue_co2 flue_co room_co float_closed door_closed"
    " call_reversing call_humidifier humidifier_valve defrost_active"
).split()


def fast_values(plant: "Plant") -> tuple[float, ...]:
    """Of `FAST_POINTS`, now."""
    parts, control, inputs = plant.parts, plant.control, plant.inputs
    draft, electric, air, switch, gas = parts.draft, parts.electric, parts.air, parts.switch, parts.gas
    closed, held = switch.closed, electric.powered
    energised = held * inputs.call_heat * parts.limit.closed
    return (
        draft.burner_box,
        draft.transition,
        draft.collector,
        draft.vent,
        switch.pressure,
        parts.switch_high.pressure,
        gas.inlet,
        gas.manifold,
        air.static_return,
        air.static_supply,
        parts.fire.flame_current,
        electric.volts_control,
        electric.volts_line,
        electric.volts_line_neutral_ground,
        electric.volts_control * energised * (1.0 - closed),
        electric.amps_inducer,
        electric.amps_blower,
        parts.fire.amps_igniter,
        FULL_SPEED * draft.speed,
        closed,
        parts.switch_high.closed,
        parts.limit.closed,
        control.valve * held,
        1.0 if control.blower else 0.0,
        plant.furnace.rollout_closed,
        inputs.call_heat,
        inputs.call_heat_2,
        inputs.call_compressor,
        inputs.call_fan,
    )


def slow_values(plant: "Plant") -> tuple[float, ...]:
    """Of `SLOW_POINTS`, now."""
    ducts, house, weather, flue = plant.parts.ducts, plant.house, plant.weather, plant.parts.flue
    humidifier, pressure, held = plant.humidifier, plant.weather.pressure, plant.parts.electric.powered
    returned = plant.furnace.temp_entering if humidifier.bypass_flow > 0.0 else ducts.temp_return
    return (
        returned,
        ducts.temp_supply,
        ducts.temp_supply_2,
        weather.temp,
        plant.furnace.temp_flue,
        house.temp_surface,
        house.temp_room,
        min(relative_humidity(returned, plant.furnace.ratio_entering, pressure), 1.0),
        min(relative_humidity(ducts.temp_supply, max(humidifier.ratio_supply, 1e-6), pressure), 1.0),
        min(house.humidity_room, 1.0),
        weather.humidity,
        max(flue.vent_o2, 0.0),
        flue.vent_co2,
        flue.vent_co,
        house.room_co,
        plant.inputs.float_ok,
        plant.inputs.door,
        held * plant.thermostat.call_reversing,
        held * plant.thermostat.call_humidifier,
        humidifier.valve,
        0.0 if plant.heat_pump is None else plant.heat_pump.defrost_active,
    )
