"""Tests while it runs, for a switch that opens under way; shares: common practice, no published source."""

from analysis.diagnosis.steps.step import Result, State, Step

REST, INDUCER, FIRING = State

STEPS = (
    Step(
        "room_look",
        "Room CO, smell, look, fault history before power is cut",
        3,
        "CO meter at the door first, nose second: a smell of gas ends the visit inside. Then look for water, soot,"
        " scorched wires and covers that are off, and read the fault history while power is still on.",
        needs=("room_co_meter",),
        results=(
            Result("nothing", "nothing seen, no fault kept", "nothing is ruled out"),
            Result("draft", "history: pressure switch", "draft circuit, switch, hose or drain"),
            Result("flame", "history: no flame, or flame lost", "igniter, gas, rod or ground"),
            Result("limit", "history: limit", "air side, or the limit"),
            Result("rollout", "roll-out, scorched wires or soot", "a stop: nothing is fired before it is inspected"),
            Result("dark", "nothing lights up at the control", "no control power, or the control"),
            Result("water", "water in the cabinet or on the floor", "drain, sag, trap or coil"),
        ),
        table="""
            usual                                               55 10 10 10  2  6  7
            intake_blocked vent_blocked inducer_weak            20 66  4  2  2  2  4
            switch_hose_leak switch_faulty collector_leak       20 70  2  2  1  2  3
            secondary_restricted primary_restricted             20 60  4  4  3  2  7
            drain_blocked switch_hose_water                     14 54  2  2  1  3 24
            switch_stuck_closed                                 24 68  2  2  1  2  1
            igniter_faulty gas_valve_faulty flame_sensor_weak   18  2 73  2  1  2  2
            gas_supply_low ground_polarity manifold_low         22  2 68  3  1  2  2
            burner_fouled                                       18  4 58  4 12  2  2
            airflow_low_restricted airflow_low_blower           22  2  3 66  1  3  3
            limit_faulty air_baffle_missing manifold_high       24  2  3 65  2  2  2
            rollout_open                                         6  2  4  3 82  2  1
            heat_exchanger_breach                               44  8 14 14 14  2  4
            control_power_lost                                  14  2  2  2  1 76  3
            control_board_faulty                                34  8 10  4  1 40  3
            no_call lockouts_misset heat_pump_weak none         86  2  2  2  1  3  4
            humidifier_overrun                                  60  3  2  2  1  3 29
            vent_recirculation                                  40 22 28  2  2  2  4
        """,
    ),
    Step(
        "room_co_analyser",
        "Room CO, and the analyser in the flue",
        5,
        "Probe in the flue port, CO meter in the room; let O2 and CO settle. CO that rises is a stop at any level.",
        states=(FIRING,),
        marks="A",
        needs=("analyser", "room_co_meter"),
        parts=("flue_port",),
        like="analyser",
        results=(
            Result("good", "O2 and CO as usual and steady", "combustion is good at this moment"),
            Result("rich", "O2 low, CO up", "short of air, overfired, or flue gas drawn in"),
            Result("lean", "O2 high", "low fire, or false air"),
            Result(
                "rising", "CO rises with the run", "a stop: no more firing; breach, flue gas drawn in, or short of air"
            ),
        ),
        table="""
            usual                                    90  3  5  2
            intake_blocked                           22 58  2 18
            vent_blocked                             30 50  3 17
            secondary_restricted primary_restricted  34 48  2 16
            drain_blocked                            52 32  4 12
            manifold_high                            14 78  2  6
            manifold_low gas_supply_low              28  4 66  2
            collector_leak                           26  2 70  2
            burner_fouled                            26 50  6 18
            heat_exchanger_breach                    34 12 20 34
            vent_recirculation                       16 36  2 46
            inducer_weak                             40 45  3 12
        """,
        measures=("flue_o2.settled.high", "flue_co.settled.high"),
    ),
    Step(
        "tee_recorded",
        "Pressure at the switch, 24 V and C recorded through light-off, blower and stage-up",
        20,
        "Tee at the switch, volts at the control and C on one recording. Leads through a gap of the door, doors on.",
        states=(FIRING,),
        marks="E",
        needs=("manometer", "voltmeter"),
        parts=("switch_hose", "draft_vent"),
        results=(
            Result("holds", "margin holds, nothing opens", "not there in this run"),
            Result("c_rises", "C rises while the switch falls", "vent blocked or wind on it"),
            Result("all_fall", "C and the switch fall together", "intake, inducer or line volts"),
            Result("b_up", "C falls while B grows, the switch falls at last", "water or fouling in the secondary"),
            Result("volts", "24 V falls first", "control power"),
            Result("shifted", "the switch alone falls or is frozen", "hose, water in it, or the switch"),
        ),
        table="""
            usual                                    85  3  3  3  3  3
            vent_blocked                             16 72  5  2  1  4
            vent_recirculation                       48 22 22  3  1  4
            intake_blocked                           18  2 74  2  1  3
            inducer_weak                             16  2 72  2  4  4
            secondary_restricted primary_restricted  26  2  5 62  1  4
            drain_blocked                            20  2  4 60  1 13
            collector_leak                           32 16 38  4  2  8
            control_power_lost                       28  2  4  1 63  2
            control_board_faulty                     55  2  5  2 32  4
            switch_hose_leak switch_hose_water       14  2  3  2  1 78
            switch_faulty                            22  2  2  2  2 70
        """,
        measures=("draft_margin.smallest", "draft_vent.trend.high", "volts_control.lowest"),
    ),
    Step(
        "first_drop",
        "What dropped first, in the recording",
        2,
        "Look at the contact strip of the recording: which contact opened first. Never claimed across instruments"
        " closer than their clocks allow.",
        results=(
            Result("not_shown", "not recorded or too close", "nothing is said"),
            Result("pressure", "the pressure switch", "draft circuit"),
            Result("limit", "the limit", "air side, gas input, or the limit"),
            Result("power", "24 V or door", "control power"),
            Result("flame", "the flame", "gas, rod, ground"),
            Result("call", "the call", "thermostat or wiring"),
        ),
        table="""
            usual                                               60  8  8  8  8  8
            intake_blocked vent_blocked inducer_weak            30 58  3  3  4  2
            secondary_restricted primary_restricted             34 50  5  3  6  2
            drain_blocked collector_leak switch_hose_leak       28 62  2  3  3  2
            switch_hose_water switch_faulty                     26 66  2  2  2  2
            airflow_low_restricted airflow_low_blower           30  3 61  2  2  2
            limit_faulty air_baffle_missing manifold_high       30  3 59  2  4  2
            control_power_lost                                  28  3  3 60  2  4
            flame_sensor_weak ground_polarity gas_supply_low    28  3  3  2 62  2
            manifold_low burner_fouled gas_valve_faulty         40  3  4  2 49  2
            no_call lockouts_misset                             42  2  2  4  2 48
        """,
        measures=("attempts.count",),
    ),
    Step(
        "water_listen",
        "Look and listen for water, nothing opened",
        3,
        "Ear at the cabinet and a torch at hoses and drain while it runs: gurgling, slugs, drips, a wet floor.",
        states=(INDUCER, FIRING),
        results=(
            Result("dry", "dry and quiet", "water is less likely"),
            Result("slugs", "gurgling or slugs in the inducer", "drain backed up, or a sag of the vent"),
            Result("drips", "drips or a wet floor", "a leak of trap, hose or coil"),
        ),
        table="""
            usual                93  3  4
            drain_blocked        30 58 12
            switch_hose_water    56 30 14
            vent_blocked         80 15  5
            secondary_restricted 72 22  6
            collector_leak       72  4 24
            humidifier_overrun   66  4 30
        """,
    ),
    Step(
        "o2_across_blower",
        "O2 and CO before and after the blower starts",
        3,
        "Probe in the flue from before the blower starts until two minutes after. A change is a possible breach:"
        " make safe, confirm by inspection and analyser. No change never clears an exchanger.",
        states=(FIRING,),
        marks="AL",
        needs=("analyser",),
        parts=("flue_port",),
        results=(
            Result("steady", "O2 and CO do not change", "nothing is cleared by that"),
            Result("change", "O2 or CO changes with the blower", "a stop: possible breach, make safe"),
        ),
        table="""
            usual                 96  4
            heat_exchanger_breach 45 55
            vent_recirculation    90 10
        """,
    ),
    Step(
        "terminations_wind",
        "Terminations, wind and recirculation",
        7,
        "Look at both terminations while it runs: frost, wind on the vent, plume towards the intake.",
        states=(FIRING, REST),
        like="outside",
        results=(
            Result("free", "both free, plume goes off", "intake, vent and recirculation are less likely"),
            Result("intake", "intake covered or iced", "intake blocked: clear it and look again"),
            Result("vent", "vent covered, iced or in the wind", "vent blocked or pushed back"),
            Result("plume", "plume is drawn into the intake", "the intake draws flue gas"),
        ),
        table="""
            usual              92  2  3  3
            intake_blocked     32 62  3  3
            vent_blocked       33  3 61  3
            vent_recirculation 14  4  5 77
        """,
    ),
    Step(
        "trap_flushed",
        "Drain flushed, trap primed",
        15,
        "Power off. Flush trap and drain until water runs off freely (it is acid: gloves, eye protection), prime the"
        " trap again before firing.",
        marks="P",
        like="drain",
        results=(
            Result("free", "it ran off freely", "the drain is less likely"),
            Result("blocked", "slime or a blockage came out", "drain blocked: watch it drain for a whole call"),
        ),
        table="""
            usual                95  5
            drain_blocked         6 94
            switch_hose_water    66 34
            secondary_restricted 74 26
        """,
    ),
    Step(
        "sag",
        "Line and 24 V sag under all loads",
        5,
        "Lowest volts at line and control while inducer, igniter, valve and blower come on one after the other.",
        states=(FIRING,),
        marks="E",
        needs=("voltmeter",),
        results=(
            Result("holds", "both hold", "supply is less likely"),
            Result("control_sags", "24 V sags below 21", "transformer, load or a loose wire"),
            Result("line_sags", "line sags", "supply, breaker or a loose lug"),
            Result("drops", "24 V is gone for a moment", "loose wire, door switch, float or control"),
        ),
        table="""
            usual                95  2  2  1
            control_power_lost   18 38 16 28
            control_board_faulty 62 18  2 18
            no_call              84  4  2 10
            ground_polarity      78  8 12  2
            airflow_low_blower   88  4  6  2
            inducer_weak         88  5  5  2
        """,
        measures=("volts_control.lowest", "volts_line.lowest"),
    ),
    Step(
        "two_more_cycles",
        "Two more cycles recorded",
        20,
        "Only with no stop in force: two calls from cold with everything refitted, high stage included.",
        states=(FIRING,),
        results=(
            Result("both_good", "both without a fault", "it comes and goes"),
            Result("draft_again", "the pressure switch again", "draft circuit"),
            Result("flame_again", "the flame again", "ignition or flame"),
            Result("limit_again", "the limit again", "air side"),
        ),
        table="""
            usual                                               70 10 10 10
            none                                                94  2  2  2
            intake_blocked vent_blocked inducer_weak            18 76  3  3
            secondary_restricted primary_restricted             24 68  3  5
            drain_blocked collector_leak                        24 70  3  3
            switch_hose_leak switch_hose_water switch_faulty    28 68  2  2
            igniter_faulty flame_sensor_weak gas_valve_faulty   28  2 68  2
            gas_supply_low manifold_low ground_polarity         32  2 63  3
            airflow_low_restricted airflow_low_blower           20  2  2 76
            limit_faulty air_baffle_missing manifold_high       24  2  3 71
            no_call                                             92  2  4  2
        """,
    ),
)
"""In the order of the trade."""
