"""Plain measurements: a meter on a point, and what the recording then has more."""

from analysis.diagnosis.steps.step import State, Step

REST, INDUCER, FIRING = State

DRAFT = (
    "intake_blocked vent_blocked secondary_restricted primary_restricted drain_blocked collector_leak inducer_weak"
).split()
SWITCH = "switch_hose_leak switch_hose_water switch_faulty switch_stuck_closed".split()
AIR = "airflow_low_restricted airflow_low_blower air_baffle_missing limit_faulty".split()
GAS = "gas_supply_low manifold_low manifold_high gas_valve_faulty".split()
FLAME = "flame_sensor_weak ground_polarity burner_fouled vent_recirculation".split()


def _tap(point: str, letter: str, where: str) -> tuple[Step, Step]:
    """Meter on a tap: with the inducer only, and through a run."""
    cold = Step(
        f"meter_{point}_cold",
        f"Manometer on {letter} ({where}), inducer only",
        5,
        "Zero it, hose on the existing port, inducer run of a minute; port plugged and bubble-tested afterwards.",
        states=(INDUCER,),
        needs=("manometer",),
        parts=(point,),
        measures=(f"{point}.cold",),
        about=(*DRAFT, "heat_exchanger_breach"),
    )
    run = Step(
        f"meter_{point}_run",
        f"Manometer on {letter} ({where}) through a run",
        15,
        "Zero it, hose on the existing port, doors on, a whole call in high stage; port plugged and bubble-tested"
        " afterwards.",
        states=(FIRING,),
        needs=("manometer",),
        parts=(point,),
        measures=(
            f"{point}.cold",
            f"{point}.hot.high",
            f"{point}.trend.high",
            *([f"{point}.against_baseline"]),
        ),
        about=(*DRAFT, "heat_exchanger_breach"),
    )
    return cold, run


TAPS = (
    *_tap("draft_burner_box", "A", "burner box"),
    *_tap("draft_transition", "X", "transition box"),
    *_tap("draft_collector", "B", "collector box"),
    *_tap("draft_vent", "C", "vent side"),
)

OTHERS = (
    Step(
        "meter_switch_cold",
        "Manometer across the pressure switch, inducer only",
        5,
        "Tees in both hoses, inducer run of a minute; tees out and hoses on afterwards.",
        states=(INDUCER,),
        needs=("manometer",),
        parts=("switch_hose",),
        measures=("draft_switch.cold", "draft_margin.cold", "draft_margin.to_close.cold", "draft_switch.after_stop"),
        about=(*DRAFT, *SWITCH),
    ),
    Step(
        "meter_switch_run",
        "Manometer across the pressure switch through a run",
        15,
        "Tees in both hoses, doors on, a whole call in high stage; tees out and hoses on afterwards.",
        states=(FIRING,),
        needs=("manometer",),
        parts=("switch_hose",),
        measures=("draft_switch.cold", "draft_switch.hot.high", "draft_margin.smallest", "draft_switch.after_stop"),
        about=(*DRAFT, *SWITCH),
    ),
    Step(
        "meter_switch_volts",
        "Volt meter across the pressure switch",
        5,
        "Wires on, circuit energised: about 24 V is open, about 0 V closed. It records when the switch closes and"
        " opens.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("voltmeter",),
        measures=("switch_closed.time_to_close",),
        about=(*DRAFT, *SWITCH),
    ),
    Step(
        "meter_inlet",
        "Manometer on the gas inlet, resting and flowing",
        10,
        "At rest first. Above the valve's rating: shut the gas cock, no firing. Closed and bubble-tested afterwards.",
        states=(FIRING,),
        marks="L",
        needs=("manometer",),
        parts=("gas_inlet",),
        measures=("gas_inlet.static", "gas_inlet.flowing.high", "gas_inlet.drop.high", "gas_inlet.lowest"),
        about=("gas_supply_low", "manifold_low", "gas_valve_faulty"),
    ),
    Step(
        "meter_manifold",
        "Manometer on the manifold",
        10,
        "Against room or burner box as the rating plate says; closed and bubble-tested afterwards.",
        states=(FIRING,),
        marks="L",
        needs=("manometer",),
        parts=("gas_manifold",),
        measures=("gas_manifold.flowing.high",),
        about=tuple(GAS),
    ),
    Step(
        "meter_flame",
        "Microampere meter in series with the flame rod",
        10,
        "Power off to open the rod's lead and to close it again; an isolated meter only.",
        states=(FIRING,),
        marks="PE",
        needs=("microammeter",),
        measures=("flame_current.settled", "flame_current.trend.high", "ignition.light_off_delay"),
        about=tuple(FLAME),
    ),
    Step(
        "meter_igniter",
        "Clamp meter on the igniter's lead",
        5,
        "Clamp on one lead; with the gas cock shut the warm-up is read as well.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("clamp_meter",),
        measures=("amps_igniter.warmup",),
        about=("igniter_faulty", "control_board_faulty"),
    ),
    Step(
        "meter_inducer",
        "Clamp meter on the inducer's lead",
        5,
        "Clamp on one lead, inducer run of a minute.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("clamp_meter",),
        measures=("amps_inducer.cold",),
        about=("inducer_weak", "intake_blocked", "vent_blocked", "secondary_restricted"),
    ),
    Step(
        "meter_blower",
        "Clamp meter on the blower's lead",
        8,
        "Clamp on one lead, doors on, a whole call in high stage.",
        states=(FIRING,),
        marks="E",
        needs=("clamp_meter",),
        measures=("amps_blower.settled.high",),
        about=("airflow_low_restricted", "airflow_low_blower"),
    ),
    Step(
        "meter_rise",
        "Probes in return and supply air",
        20,
        "Supply probe out of sight of the heat exchanger, 15 min at high stage.",
        states=(FIRING,),
        needs=("thermometer",),
        measures=("temp_rise.settled.high", "temp_supply.highest"),
        about=(*AIR, "manifold_low", "manifold_high"),
    ),
    Step(
        "meter_static",
        "Manometer before and after the furnace: external static",
        6,
        "Both probes in their ports, blower at heating speed.",
        states=(FIRING,),
        needs=("manometer",),
        parts=("static_ports",),
        measures=("static_supply.settled.high", "static_return.settled.high", "static_external.settled.high"),
        about=("airflow_low_restricted", "airflow_low_blower"),
    ),
    Step(
        "meter_control",
        "Volt meter on the 24 V supply",
        5,
        "At the control's terminals, through inducer, igniter, valve and blower.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("voltmeter",),
        measures=("volts_control.lowest",),
        about=("control_power_lost", "control_board_faulty"),
    ),
    Step(
        "meter_line",
        "Volt meter on the line",
        5,
        "At the furnace's terminals, through inducer, igniter and blower.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("voltmeter",),
        measures=("volts_line.lowest",),
        about=("control_power_lost", "ground_polarity", "inducer_weak"),
    ),
    Step(
        "meter_flue",
        "Analyser in the flue, recorded",
        15,
        "Probe in the flue port through a whole call in high stage. CO that rises is a stop at any level.",
        states=(FIRING,),
        marks="A",
        needs=("analyser",),
        parts=("flue_port",),
        measures=("flue_o2.settled.high", "flue_co.settled.high", "flue_co.trend.high"),
        about=(*DRAFT, "manifold_low", "manifold_high", "burner_fouled", "heat_exchanger_breach", "vent_recirculation"),
    ),
    Step(
        "meter_changeover",
        "Outdoor probe and the heat pump's call, through a change-over",
        30,
        "Probe in the shade; record until heat pump and furnace change over.",
        states=(FIRING,),
        needs=("thermometer", "voltmeter"),
        parts=("heat_pump",),
        measures=("changeover.delay", "changeover.temp_outdoor"),
        about=("lockouts_misset", "heat_pump_weak"),
    ),
    Step(
        "meter_humidity",
        "Humidity of room, return and supply",
        15,
        "Meters away from kitchen and bath, through a call.",
        states=(FIRING,),
        needs=("hygrometer",),
        measures=("humidity_room.highest", "humidity_supply.highest"),
        about=("humidifier_overrun",),
    ),
)

STEPS = (*TAPS, *OTHERS)
