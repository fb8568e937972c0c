"""Tests of ignition, gas and flame; shares: common practice, no published source."""

from analysis.diagnosis.steps.step import Result, State, Step

REST, INDUCER, FIRING = State

STEPS = (
    Step(
        "recorded_sequence",
        "The recorded sequence, phase by phase",
        2,
        "Look at the last attempts of the recording: how far each came, and what was missing there.",
        results=(
            Result("not_shown", "not recorded", "nothing is said"),
            Result("no_start", "inducer never started", "call, power or control"),
            Result("no_draft", "switch did not close", "draft circuit"),
            Result("no_glow", "igniter drew no current", "igniter, its wires or the control"),
            Result("no_gas", "igniter hot, no pressure at the manifold", "gas valve, its wires, or gas supply"),
            Result("no_light", "gas at the manifold, no flame", "igniter place, air, orifice, gas pressure"),
            Result("no_current", "flame seen or heard, no flame current", "rod, lead, ground, polarity"),
            Result("limit", "lit, then the limit opened", "air side, gas input, or the limit"),
        ),
        table="""
            usual                                               58  6  6  6  6  6  6  6
            none                                                86  2  2  2  2  2  2  2
            igniter_faulty                                      34  2  2 46  3  9  2  2
            gas_valve_faulty                                    36  2  2  2 50  4  2  2
            gas_supply_low                                      42  2  2  2 24 22  4  2
            manifold_low burner_fouled                          52  2  2  2  4 28  7  3
            flame_sensor_weak ground_polarity                   36  2  2  2  2  4 50  2
            control_board_faulty                                36 20  4 14 14  4  4  4
            no_call control_power_lost lockouts_misset          38 50  2  2  2  2  2  2
            intake_blocked vent_blocked inducer_weak            34  5 49  2  2  4  2  2
            drain_blocked secondary_restricted collector_leak   36  3 50  2  2  3  2  2
            switch_hose_leak switch_hose_water switch_faulty    33  3 54  2  2  2  2  2
            switch_stuck_closed rollout_open                    38 50  2  2  2  2  2  2
            airflow_low_restricted airflow_low_blower           36  2  2  2  2  2  2 52
            limit_faulty air_baffle_missing manifold_high       38  2  2  2  2  2  2 50
        """,
        measures=("attempts.count",),
    ),
    Step(
        "igniter_volts_amps",
        "Volts at the igniter, amps through it",
        5,
        "During its warm-up: volts at the plug, clamp on one lead. Hands off the element: it is hot and breaks.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("voltmeter", "clamp_meter"),
        like="igniter",
        results=(
            Result("usual", "volts and amps as usual", "the igniter is less likely"),
            Result("no_amps", "volts, but no or few amps", "igniter weak or open"),
            Result("no_volts", "no volts", "control or wiring"),
        ),
        table="""
            usual                95  3  2
            igniter_faulty        9 88  3
            control_board_faulty 66  4 30
            ground_polarity      90  4  6
            no_call              80  2 18
            control_power_lost   50  4 46
        """,
        measures=("amps_igniter.warmup",),
    ),
    Step(
        "gas_valve_volts",
        "Volts at the gas valve",
        4,
        "At the valve's wires during the trial for ignition; with the gas cock shut this is read as well.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("voltmeter",),
        results=(
            Result("volts_opens", "24 V there, valve clicks or flows", "the valve opens: look at gas, igniter, flame"),
            Result("volts_dead", "24 V there, valve does nothing", "gas valve faulty"),
            Result("no_volts", "no 24 V", "control, wiring or a safety before it"),
        ),
        table="""
            usual                88  2 10
            gas_valve_faulty     11 86  3
            control_board_faulty 55  3 42
            rollout_open no_call 30  2 68
            control_power_lost   20  3 77
            switch_stuck_closed  30  2 68
            igniter_faulty       80  3 17
        """,
        measures=("gas_manifold.flowing.high",),
    ),
    Step(
        "line_neutral_ground",
        "Line, neutral and ground",
        4,
        "Line to ground, neutral to ground and line to neutral at the furnace.",
        marks="E",
        needs=("voltmeter",),
        results=(
            Result("good", "polarity and ground good", "ground and polarity are less likely"),
            Result("reversed", "reversed, or neutral floats", "ground bad or polarity reversed"),
            Result("dead", "no line voltage", "breaker, switch or door"),
        ),
        table="""
            usual              97  2  1
            ground_polarity     7 92  1
            control_power_lost 72  3 25
        """,
    ),
    Step(
        "flame_current_series",
        "Flame current, meter in series",
        8,
        "Power off to open the rod's lead and to close it again. An isolated meter only: others put the rod on"
        " ground or the computer on the mains.",
        states=(FIRING,),
        marks="PE",
        needs=("microammeter",),
        results=(
            Result("good", "at its usual figure and steady", "rod and ground are less likely"),
            Result("low", "low from the first second", "rod, ground or polarity"),
            Result("falls", "good, then falls", "air short, flue gas drawn in, or gas pressure"),
            Result("swings", "swings", "flame lifts, insulator, burners"),
        ),
        table="""
            usual              88  4  4  4
            flame_sensor_weak   7 87  4  2
            ground_polarity    14 80  2  4
            burner_fouled      40 16  8 36
            vent_recirculation 22  4 70  4
            gas_supply_low     38 22 30 10
            manifold_low       40 46  4 10
            intake_blocked     50  6 38  6
            heat_exchanger_breach 52 4 24 20
        """,
        measures=("flame_current.settled",),
    ),
    Step(
        "inlet_pressures",
        "Inlet pressure, resting and flowing with all gas appliances on",
        8,
        "Manometer at the inlet port: at rest first. Above the valve's rating: shut the gas cock, no firing. The"
        " port is closed and bubble-tested afterwards.",
        states=(FIRING,),
        marks="L",
        needs=("manometer",),
        parts=("gas_inlet",),
        results=(
            Result("good", "within the rating plate's window, resting and flowing", "supply is less likely"),
            Result("drops", "drops below it when gas flows", "pipe, regulator, or tank"),
            Result("low", "low at rest", "supply, regulator, cock, or tank"),
            Result("high", "above the valve's rating", "a stop: no firing, the supplier corrects it"),
        ),
        table="""
            usual          95  3  1  1
            gas_supply_low  6 62 31  1
            manifold_high  90  2  1  7
            manifold_low   82 12  5  1
        """,
        measures=("gas_inlet.static", "gas_inlet.flowing.high"),
    ),
    Step(
        "manifold_pressure",
        "Manifold pressure in each stage",
        6,
        "Manometer at the manifold port, against room or burner box as the rating plate says; closed and"
        " bubble-tested afterwards. Set only by the maker's instructions and the derating of the place.",
        states=(FIRING,),
        marks="L",
        needs=("manometer",),
        parts=("gas_manifold",),
        results=(
            Result("good", "as the rating plate says", "gas input is less likely"),
            Result("low", "low", "valve set low, or supply low"),
            Result("high", "high", "overfired"),
            Result("none", "nothing, with the valve on", "gas valve does not open, or no gas"),
        ),
        table="""
            usual            93  3  2  2
            manifold_low      5 92  1  2
            manifold_high     5  1 93  1
            gas_supply_low   22 66  1 11
            gas_valve_faulty  9  9  2 80
        """,
        measures=("gas_manifold.flowing.high",),
    ),
    Step(
        "clock_meter",
        "Clock the gas meter",
        4,
        "Other appliances' controls turned down, their gas left on. Time one turn of the dial at high fire; put the"
        " controls back afterwards.",
        states=(FIRING,),
        parts=("gas_meter",),
        results=(
            Result("usual", "input as the rating plate says", "gas input is less likely"),
            Result("low", "input low", "manifold or supply low, or orifices"),
            Result("high", "input high", "overfired"),
        ),
        table="""
            usual             92  5  3
            manifold_low      10 88  2
            manifold_high      7  2 91
            gas_supply_low    24 74  2
            burner_fouled     62 33  5
            intake_blocked    84  8  8
        """,
    ),
    Step(
        "flue_analyser",
        "Analyser in the flue, steady state",
        8,
        "Probe in the flue port at high fire, ten minutes after light-off or later. CO that rises is a stop at any"
        " level.",
        states=(FIRING,),
        marks="A",
        needs=("analyser",),
        parts=("flue_port",),
        like="analyser",
        results=(
            Result("good", "O2 and CO as usual and steady", "combustion is good"),
            Result("rich", "O2 low, CO up", "short of air, overfired, or flue gas drawn in"),
            Result("lean", "O2 high", "low fire, or false air"),
            Result(
                "rising", "CO rises with the run", "a stop: no more firing; breach, flue gas drawn in, or short of air"
            ),
        ),
        table="""
            usual                                    91  3  5  1
            intake_blocked                           20 60  2 18
            vent_blocked                             28 53  3 16
            secondary_restricted primary_restricted  32 51  2 15
            drain_blocked                            50 35  4 11
            manifold_high                            10 82  2  6
            manifold_low gas_supply_low              22  4 72  2
            collector_leak                           22  2 74  2
            burner_fouled                            24 52  6 18
            heat_exchanger_breach                    32 12 20 36
            vent_recirculation                       14 38  2 46
            inducer_weak                             38 47  3 12
        """,
        measures=("flue_o2.settled.high", "flue_co.settled.high"),
    ),
    Step(
        "igniter_resistance",
        "Resistance of the igniter, cold",
        5,
        "Power off, plug apart, igniter cold. Look for a crack or a white spot without touching the element.",
        marks="P",
        needs=("voltmeter",),
        like="igniter",
        results=(
            Result("usual", "within the maker's range, no crack", "the igniter is less likely"),
            Result("bad", "open, high or cracked", "igniter weak or open"),
        ),
        table="""
            usual          96  4
            igniter_faulty 14 86
        """,
    ),
    Step(
        "rod_insulator",
        "Flame rod, its insulator and its lead",
        10,
        "Power off. Look at the coating of the rod, the insulator and the lead; cleaned with fine steel wool, not"
        " with sand paper.",
        marks="P",
        results=(
            Result("clean", "clean and whole", "the rod is less likely"),
            Result("dirty", "coated, cracked or loose", "flame rod: clean it and read the current again"),
        ),
        table="""
            usual              92  8
            flame_sensor_weak   9 91
            burner_fouled      66 34
            vent_recirculation 80 20
        """,
    ),
    Step(
        "burners_ports",
        "Burners, carry-over ports and orifices",
        25,
        "Gas and power off, cold. By a licensed person as the maker describes; every gas joint that was opened is"
        " bubble-tested.",
        marks="GPL",
        results=(
            Result("clean", "clean, aligned", "burners are less likely"),
            Result("fouled", "rust, lint, spiders or a gap in the carry-over", "burners fouled"),
            Result("sooty", "soot or scorch marks", "a stop: short of air, overfired, or a breach"),
        ),
        table="""
            usual                 95  4  1
            burner_fouled          7 86  7
            manifold_high         70  6 24
            heat_exchanger_breach 66  6 28
            rollout_open          34 18 48
            primary_restricted    44 16 40
            intake_blocked        74  6 20
        """,
    ),
    Step(
        "rollout_look",
        "Look at the roll-out switches and round them",
        3,
        "Nothing is pressed. A roll-out switch that is open stays so until a licensed person has found why.",
        results=(
            Result("closed", "none open, nothing scorched", "a roll-out is less likely"),
            Result("open", "one is open or scorched", "a stop: gas and power off until it is inspected"),
        ),
        table="""
            usual                 97  3
            rollout_open           6 94
            heat_exchanger_breach 82 18
            primary_restricted    84 16
            burner_fouled         86 14
            vent_blocked          92  8
        """,
    ),
)
"""In the order of the trade."""
