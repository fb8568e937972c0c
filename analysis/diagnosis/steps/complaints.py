"""As what a cause shows: how often it is met as each complaint; common practice, no published source."""

from collections.abc import Mapping

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.steps.catalogue import ORDERS

_TABLE = """
    usual                 10 10 25 10 25 20
    none                  10 15 20 15 15 25
    intake_blocked        50 42  3  1  2  2
    vent_blocked          48 44  3  1  2  2
    secondary_restricted  26 66  3  2  1  2
    primary_restricted    34 50  6  6  1  3
    drain_blocked         45 48  2  1  3  1
    collector_leak        44 44  6  2  2  2
    heat_exchanger_breach  4 14 56 20  2  4
    inducer_weak          66 26  3  1  3  1
    switch_hose_leak      72 24  1  1  1  1
    switch_hose_water     46 50  1  1  1  1
    switch_faulty         58 36  1  1  3  1
    switch_stuck_closed    6  2  4  2 84  2
    gas_supply_low         1  2 84  3  5  5
    manifold_low           1  1 66 14  2 16
    manifold_high          1  2 12 82  1  2
    igniter_faulty         1  1 95  1  1  1
    gas_valve_faulty       1  1 92  1  4  1
    flame_sensor_weak      1  1 95  1  1  1
    airflow_low_restricted 1  2  2 88  2  5
    airflow_low_blower     1  2  2 86  4  5
    air_baffle_missing     1  1  1 94  1  2
    limit_faulty           1  3  3 84  8  1
    humidifier_overrun     2  6  2  2  8 80
    lockouts_misset        1  1  2  2 34 60
    heat_pump_weak         1  1  1  4  3 90
    no_call                1  4  6  2 80  7
    control_power_lost     2  5  5  2 84  2
    control_board_faulty   3  6 32  4 53  2
    burner_fouled          2  6 82  6  2  2
    ground_polarity        1  1 88  2  7  1
    rollout_open           1  6 22  6 64  1
    vent_recirculation     8 48 34  4  3  3
"""
"""In the order of `ORDERS`. [%]"""


def shares() -> Mapping[str, Mapping[str, float]]:
    """By cause, how often it shows as each complaint. [1]"""
    rows = [line.split() for line in _TABLE.splitlines() if line.strip()]
    known = {cause: tuple(float(figure) / 100.0 for figure in figures) for cause, *figures in rows}
    return {
        cause: dict(zip(ORDERS, known[cause] if cause in known else known["usual"], strict=True)) for cause in CAUSES
    }


def complained(probabilities: Mapping[str, float], complaint: str) -> dict[str, float]:
    """Probabilities of the causes once the complaint is known, which must be one of `ORDERS`. [1]"""
    told = shares()
    weight = {cause: share * told[cause][complaint] for cause, share in probabilities.items()}
    total = sum(weight.values())
    return {cause: share / total for cause, share in weight.items()}
