"""Tests of the air side and the limit; shares: common practice, no published source."""

from analysis.diagnosis.steps.step import Result, State, Step

REST, INDUCER, FIRING = State

STEPS = (
    Step(
        "filter_static",
        "Filter and static pressure",
        6,
        "Look at filter, registers and coil, then static before and after the furnace with the blower at heating"
        " speed.",
        states=(INDUCER, FIRING),
        needs=("manometer",),
        parts=("static_ports",),
        results=(
            Result("good", "filter clean, static within the rating plate", "restriction is less likely"),
            Result("high", "filter loaded, or static high", "airflow restricted: filter, coil or duct"),
            Result("low", "static low with everything open", "blower weak, or a duct is off"),
        ),
        table="""
            usual                  88 10  2
            airflow_low_restricted  5 93  2
            airflow_low_blower     30  4 66
            air_baffle_missing     86  4 10
        """,
        measures=("static_external.settled.high",),
    ),
    Step(
        "filter_look",
        "Look at the filter, registers and returns",
        3,
        "Filter out and against the light, then in again; registers and returns open.",
        results=(
            Result("clean", "clean and open", "filter and registers are less likely, coil and duct are not"),
            Result("loaded", "filter loaded or registers shut", "airflow restricted"),
        ),
        table="""
            usual                  90 10
            airflow_low_restricted 32 68
        """,
    ),
    Step(
        "settled_rise",
        "Settled temperature rise in high stage",
        20,
        "Return and supply probe out of sight of the heat exchanger, 15 min at high stage.",
        states=(FIRING,),
        needs=("thermometer",),
        results=(
            Result("within", "within the rating plate's range", "airflow and input fit together"),
            Result("high", "above it", "airflow low, or overfired"),
            Result("low", "below it", "low fire, or much air"),
        ),
        table="""
            usual                                     88  6  6
            airflow_low_restricted airflow_low_blower 12 86  2
            manifold_high                             30 68  2
            manifold_low gas_supply_low               32  2 66
            air_baffle_missing                        50 46  4
            burner_fouled                             70  4 26
            limit_faulty                              90  6  4
        """,
        measures=("temp_rise.settled.high",),
    ),
    Step(
        "plenum_spread",
        "Spread of temperatures in the supply plenum",
        10,
        "Probe at four places in the plenum, out of sight of the heat exchanger, at steady fire.",
        states=(FIRING,),
        needs=("thermometer",),
        results=(
            Result("even", "even", "the baffle is less likely"),
            Result("uneven", "one side far hotter", "baffle, coil or duct pushes the air to one side"),
        ),
        table="""
            usual                  93  7
            air_baffle_missing     10 90
            airflow_low_restricted 76 24
            airflow_low_blower     84 16
        """,
    ),
    Step(
        "limit_volts",
        "Volts across the limit",
        5,
        "With its wires on while the circuit is energised: about 24 V is open, about 0 V closed. Read the air beside"
        " it too.",
        states=(INDUCER, FIRING),
        marks="E",
        needs=("voltmeter",),
        results=(
            Result("closed", "closed", "the limit is less likely at this moment"),
            Result("open_hot", "open, air beside it hot", "it does its work: airflow or overfired"),
            Result("open_cool", "open, air beside it cool", "limit opens too early"),
        ),
        table="""
            usual                                     94  3  3
            limit_faulty                              14  8 78
            airflow_low_restricted airflow_low_blower 34 62  4
            manifold_high air_baffle_missing          42 53  5
        """,
        measures=("temp_supply.highest",),
    ),
    Step(
        "blower_volts_amps",
        "Blower volts and amps",
        8,
        "Call for fan, doors on, leads through the gap: volts at the motor, clamp on one lead.",
        states=(INDUCER,),
        marks="E",
        needs=("voltmeter", "clamp_meter"),
        results=(
            Result("usual", "as usual", "the blower is less likely"),
            Result("off", "volts there, amps off or it does not turn", "blower weak or dead"),
            Result("no_volts", "no volts", "control or its relay"),
            Result("unloaded", "amps low at full speed", "little air passes: a restriction"),
        ),
        table="""
            usual                  93  3  2  2
            airflow_low_blower      9 84  5  2
            airflow_low_restricted 46  6  2 46
            control_board_faulty   74  3 21  2
            control_power_lost     70  3 25  2
        """,
        measures=("amps_blower.settled.high", "static_external.settled.high"),
    ),
    Step(
        "blower_wheel",
        "Blower wheel and capacitor",
        15,
        "Power off, capacitor discharged. Turn the wheel by hand; look for dirt on the blades and a loose hub.",
        marks="P",
        needs=("voltmeter",),
        results=(
            Result("good", "clean, free, capacitor within its label", "the blower is less likely"),
            Result("bad", "dirty, loose, tight or capacitor low", "blower weak"),
        ),
        table="""
            usual                  93  7
            airflow_low_blower     15 85
            airflow_low_restricted 86 14
        """,
    ),
    Step(
        "coil_ducts",
        "Coil, baffles and ducts",
        25,
        "Gas and power off. Look at the coil's face, the baffles round the heat exchanger and dampers; all covers"
        " back on.",
        marks="GP",
        results=(
            Result("good", "clean and in place", "coil, baffle and ducts are less likely"),
            Result("clogged", "coil or duct clogged", "airflow restricted"),
            Result("baffle", "baffle missing or bent", "air baffle missing"),
        ),
        table="""
            usual                  95  4  1
            airflow_low_restricted 42 57  1
            air_baffle_missing      5  4 91
        """,
    ),
)
"""In the order of the trade."""
