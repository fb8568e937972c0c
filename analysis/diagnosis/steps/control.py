"""Tests of call, supply and control; shares: common practice, no published source."""

from analysis.diagnosis.steps.step import Result, State, Step

REST, INDUCER, FIRING = State

STEPS = (
    Step(
        "thermostat_call",
        "Thermostat and call",
        4,
        "Mode, set point, batteries; then whether the call arrives at the control.",
        results=(
            Result("arrives", "call arrives", "thermostat and its wire are less likely"),
            Result("none", "no call arrives", "thermostat, wire or staging"),
            Result("mode", "mode, schedule or lock-out keeps it off", "settings"),
        ),
        table="""
            usual              93  4  3
            no_call             9 82  9
            lockouts_misset    36 18 46
            control_power_lost 64 34  2
            heat_pump_weak     88  3  9
        """,
    ),
    Step(
        "breaker_door_float",
        "Breaker, door switch, fuse and float switch",
        4,
        "Look only: breaker, service switch, door seated on its switch, fuse of the control, water at the float.",
        results=(
            Result("good", "all as they should be", "supply is less likely"),
            Result("found", "one is open, off or blown", "control power lost: find why before it is closed again"),
            Result("float", "float up, water in the pan", "condensate: drain or coil"),
        ),
        table="""
            usual                94  3  3
            control_power_lost   20 64 16
            drain_blocked        84  3 13
            control_board_faulty 88  9  3
            humidifier_overrun   88  2 10
        """,
        measures=("volts_control.lowest",),
    ),
    Step(
        "control_supply_volts",
        "Volts of the control supply",
        4,
        "Line at the transformer, then 24 V behind it, then behind fuse and door.",
        marks="E",
        needs=("voltmeter",),
        results=(
            Result("good", "24 V there and steady", "supply is less likely"),
            Result("line_dead", "no line voltage", "breaker, switch or door"),
            Result("control_dead", "line there, 24 V not", "transformer, fuse or float"),
            Result("low", "24 V low", "transformer or load"),
        ),
        table="""
            usual                96  1  2  1
            control_power_lost    9 36 44 11
            control_board_faulty 86  1 10  3
            ground_polarity      88  3  2  7
        """,
        measures=("volts_control.lowest",),
    ),
    Step(
        "safeties_volts",
        "Volts across each safety in turn",
        6,
        "Wires on, circuit energised: about 24 V is open, about 0 V closed. What is open stays so until its cause is"
        " found.",
        states=(INDUCER,),
        marks="E",
        needs=("voltmeter",),
        results=(
            Result("closed", "all closed", "no safety is open now"),
            Result("pressure", "pressure switch open, or closed at rest", "draft circuit or the switch"),
            Result("limit", "limit open", "limit or airflow"),
            Result("rollout", "roll-out open", "a stop: gas and power off until it is inspected"),
            Result("float_door", "float or door open", "water or the door"),
        ),
        table="""
            usual                                     88  5  3  1  3
            switch_stuck_closed                       10 86  2  1  1
            switch_faulty                             26 70  2  1  1
            intake_blocked vent_blocked inducer_weak  34 60  3  1  2
            drain_blocked                             34 50  2  1 13
            switch_hose_leak switch_hose_water        28 67  2  1  2
            limit_faulty                              20  2 76  1  1
            rollout_open                               4  2  2 91  1
            control_power_lost                        40  2  3  2 53
        """,
        measures=("volts_control.lowest", "switch_closed.time_to_close"),
    ),
    Step(
        "output_volts",
        "Volts at the control's outputs",
        6,
        "With the call there: inducer, igniter and valve outputs one after the other.",
        states=(INDUCER,),
        marks="E",
        needs=("voltmeter",),
        results=(
            Result("all", "each comes in its turn", "the control is less likely"),
            Result("missing", "inputs good, an output is missing", "control board faulty"),
            Result("waiting", "it waits for an input", "look at that input"),
        ),
        table="""
            usual                                     72  3 25
            control_board_faulty                      10 84  6
            no_call control_power_lost rollout_open   10  6 84
            switch_stuck_closed limit_faulty          12  4 84
            intake_blocked vent_blocked inducer_weak  26  3 71
            switch_hose_leak switch_faulty            20  3 77
            flame_sensor_weak igniter_faulty          92  4  4
            gas_valve_faulty gas_supply_low           92  4  4
        """,
    ),
    Step(
        "wires_connectors",
        "Wires and connectors",
        10,
        "Power off. Pull gently at each plug, look for scorched or green pins and rubbed wires.",
        marks="P",
        results=(
            Result("good", "tight and clean", "wiring is less likely"),
            Result("loose", "loose, rubbed or corroded", "wiring: make it good and look at the circuit again"),
            Result("scorched", "scorched", "a stop: power stays off until it is repaired"),
        ),
        table="""
            usual                94  5  1
            no_call              60 39  1
            control_power_lost   58 36  6
            ground_polarity      46 50  4
            control_board_faulty 72 16 12
            flame_sensor_weak    82 17  1
            rollout_open         66  6 28
        """,
    ),
)
"""In the order of the trade."""
