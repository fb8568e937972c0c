"""Which measurements tell each cause from the others: what is asked for where it is not ruled out.

Common practice, no published source; the signs at the taps follow from the network of `analysis/draft_network.py`.
"""

from collections.abc import Mapping

from analysis.diagnosis.causes import CAUSES
from analysis.points import POINTS

NEEDS: Mapping[str, str] = {
    "none": "",
    "intake_blocked": "draft_burner_box draft_collector",
    "vent_blocked": "draft_vent draft_collector",
    "secondary_restricted": "draft_transition draft_collector draft_vent",
    "primary_restricted": "draft_burner_box draft_transition",
    "drain_blocked": "draft_switch draft_collector switch_closed",
    "collector_leak": "draft_vent draft_collector flue_o2",
    "heat_exchanger_breach": "draft_transition draft_collector flue_o2 flue_co",
    "inducer_weak": "amps_inducer speed_inducer draft_vent",
    "switch_hose_leak": "draft_switch draft_collector",
    "switch_hose_water": "draft_switch draft_collector",
    "switch_faulty": "draft_switch switch_closed",
    "switch_stuck_closed": "switch_closed",
    "gas_supply_low": "gas_inlet",
    "manifold_low": "gas_manifold gas_inlet",
    "manifold_high": "gas_manifold flue_o2",
    "igniter_faulty": "amps_igniter",
    "gas_valve_faulty": "gas_manifold gas_valve gas_inlet",
    "flame_sensor_weak": "flame_current",
    "airflow_low_restricted": "static_return static_supply temp_supply temp_return",
    "airflow_low_blower": "amps_blower static_return static_supply",
    "air_baffle_missing": "temp_supply temp_supply_2 static_supply",
    "limit_faulty": "limit_closed temp_supply",
    "humidifier_overrun": "humidifier_valve humidity_room",
    "lockouts_misset": "temp_outdoor call_compressor call_heat",
    "heat_pump_weak": "call_compressor temp_supply temp_return temp_outdoor",
    "no_call": "call_heat call_heat_2",
    "control_power_lost": "volts_control volts_line",
    "control_board_faulty": "volts_control gas_valve amps_inducer amps_igniter",
    "burner_fouled": "flame_current flue_co gas_manifold",
    "ground_polarity": "volts_line_neutral_ground flame_current",
    "rollout_open": "rollout_closed",
    "vent_recirculation": "flue_o2 flue_co2 temp_flue",
    "other": "",
}


def missing_for(cause: str, measured: frozenset[str]) -> str:
    """What is missing to rule a cause out, in one sentence."""
    wanted = [point for point in NEEDS[cause].split() if point not in measured]
    if not wanted:
        return "its measurements are there and do not exclude it: see the next tests"
    return f"not measured: {', '.join(POINTS[point].text for point in wanted)}"


if set(NEEDS) != set(CAUSES):
    raise ValueError("a cause without an entry in `needs.NEEDS`")
