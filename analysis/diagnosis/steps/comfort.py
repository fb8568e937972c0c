"""Tests of heat pump, thermostat settings and humidity; shares: common practice, no published source."""

from analysis.diagnosis.steps.step import Result, State, Step

REST, INDUCER, FIRING = State

STEPS = (
    Step(
        "thermostat_settings",
        "Lock-out temperatures and stages in the thermostat",
        4,
        "Read both outdoor lock-outs, stage delays and the humidity setting; write them down before anything is"
        " changed.",
        results=(
            Result("fit", "they fit the job", "settings are less likely"),
            Result("misset", "a band without heat, or both at once", "lock-outs set wrong"),
            Result("humid", "humidity set high for the cold outside", "humidifier runs too long"),
        ),
        table="""
            usual              95  3  2
            lockouts_misset     5 93  2
            humidifier_overrun 52  3 45
            no_call            84 13  3
        """,
        measures=("changeover.temp_outdoor",),
    ),
    Step(
        "outdoor_sensor",
        "Outdoor sensor against a thermometer",
        4,
        "Thermometer beside the sensor in the shade, five minutes.",
        needs=("thermometer",),
        results=(
            Result("agrees", "agrees", "the sensor is less likely"),
            Result("off", "off by 3 degF or more", "lock-outs act at the wrong temperature"),
        ),
        table="""
            usual           96  4
            lockouts_misset 78 22
        """,
    ),
    Step(
        "rise_over_time",
        "Rise of the heat pump over 15 min",
        15,
        "Heat pump only, where the equipment allows it: rise across the indoor coil against the outdoor temperature.",
        states=(INDUCER,),
        needs=("thermometer",),
        parts=("heat_pump",),
        results=(
            Result("usual", "as usual for the weather", "the heat pump is less likely"),
            Result("low", "low", "heat pump weak"),
            Result("high", "high", "airflow low"),
            Result("off", "it does not run", "call, lock-out or outdoor unit"),
        ),
        table="""
            usual                                     90  4  4  2
            heat_pump_weak                             6 80  2 12
            lockouts_misset                           44  3  3 50
            no_call                                   60  2  2 36
            airflow_low_restricted airflow_low_blower 32  3 63  2
        """,
    ),
    Step(
        "humidity_in_out",
        "Humidity inside and outside",
        5,
        "Room and outdoor humidity with their temperatures, away from kitchen and bath.",
        needs=("hygrometer", "thermometer"),
        parts=("humidifier",),
        results=(
            Result("usual", "as the weather and the people make it", "the humidifier is less likely"),
            Result("wet", "far more water inside than outside explains", "humidifier runs too long"),
        ),
        table="""
            usual              95  5
            humidifier_overrun 10 90
        """,
        measures=("humidity_room.highest", "dew_point_margin.smallest"),
    ),
    Step(
        "cold_surfaces",
        "Cold surfaces and water",
        5,
        "Look at windows, coldest walls and the cabinet for water; read the coldest surface.",
        needs=("thermometer",),
        results=(
            Result("dry", "dry", "too much humidity is less likely"),
            Result("wet", "water on them", "humidifier runs too long, or a leak"),
        ),
        table="""
            usual              94  6
            humidifier_overrun 22 78
        """,
        measures=("dew_point_margin.smallest",),
    ),
    Step(
        "humidifier_volts",
        "Volts at the humidifier valve with no call",
        4,
        "At the valve's wires with the humidity control turned down.",
        marks="E",
        needs=("voltmeter",),
        parts=("humidifier",),
        results=(
            Result("off", "no volts, no water", "valve and control are less likely"),
            Result("on", "volts, or water runs without", "humidifier runs too long"),
        ),
        table="""
            usual              96  4
            humidifier_overrun 42 58
        """,
    ),
    Step(
        "outdoor_unit",
        "Outdoor unit: coil, fan, compressor, defrost",
        20,
        "Look for ice, dirt and a fan that stands; amps and temperatures by a licensed person as the maker describes.",
        marks="EL",
        needs=("clamp_meter", "thermometer"),
        parts=("heat_pump",),
        results=(
            Result("good", "as it should be", "the heat pump is less likely"),
            Result("bad", "iced, dirty, fan or compressor off", "heat pump weak"),
        ),
        table="""
            usual           95  5
            heat_pump_weak   8 92
            lockouts_misset 84 16
        """,
    ),
    Step(
        "pad_damper",
        "Pad, damper and drain of the humidifier",
        8,
        "Power off, water shut. Look at pad, damper and drain; water on again and watch it.",
        marks="P",
        parts=("humidifier",),
        results=(
            Result("good", "as they should be", "the humidifier is less likely"),
            Result("bad", "damper open, drain blocked or valve leaks", "humidifier runs too long"),
        ),
        table="""
            usual              92  8
            humidifier_overrun 38 62
        """,
    ),
)
"""In the order of the trade."""
