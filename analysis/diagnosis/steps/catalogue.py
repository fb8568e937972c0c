"""All tests by name, and the fixed orders of the trade by complaint."""

from collections.abc import Mapping

from analysis.diagnosis.steps import air, comfort, control, draft, fire, meters, running
from analysis.diagnosis.steps.step import Step

STEPS: Mapping[str, Step] = {
    step.name: step for part in (running, draft, fire, air, control, comfort, meters) for step in part.STEPS
}
"""Every test and measurement."""

_ORDERS = {
    "pressure switch did not close": (
        "room_look motor_and_switch_volts terminations hoses_ports trap_drain tee_switch switch_against_tap"
        " next_tap_then_c intake_off inducer_amps_speed inducer_wheel vent_joint specified_switch secondary_inspection"
    ),
    "pressure switch opens while running": (
        "room_co_analyser tee_recorded first_drop water_listen o2_across_blower hoses_ports terminations_wind"
        " trap_flushed filter_static intake_off sag two_more_cycles secondary_inspection"
    ),
    "no ignition, or flame lost": (
        "room_look recorded_sequence igniter_volts_amps gas_valve_volts line_neutral_ground flame_current_series"
        " inlet_pressures manifold_pressure clock_meter flue_analyser igniter_resistance rod_insulator burners_ports"
        " secondary_inspection"
    ),
    "limit opens, or the rise is wrong": (
        "room_look filter_static settled_rise plenum_spread clock_meter limit_volts blower_volts_amps flue_analyser"
        " manifold_pressure blower_wheel coil_ducts"
    ),
    "nothing starts": (
        "room_look thermostat_call breaker_door_float recorded_sequence control_supply_volts safeties_volts"
        " output_volts sag wires_connectors"
    ),
    "heat pump and humidity": (
        "room_look thermostat_settings outdoor_sensor rise_over_time humidity_in_out cold_surfaces filter_static"
        " humidifier_volts outdoor_unit pad_damper"
    ),
}
"""The first two by common practice, the others too; no published source."""

ORDERS: Mapping[str, tuple[str, ...]] = {complaint: tuple(names.split()) for complaint, names in _ORDERS.items()}
"""Names of tests in the fixed order of the trade, by complaint."""
