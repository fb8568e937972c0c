"""What each cause does to the parts of a plant, from severity 0 (nothing) to 1 (total).

Pressures at a switch are narrow, so that what takes a share of them goes with the square of the severity. A
restriction of severity s leaves the share 1 - s of the passage: its resistance grows with one over the square of
that. One that changes a level takes s of it away. Where a part is either good or not, the text says from which severity
on. All functions take arrays as well: severity 0 leaves a unit exactly as it is, and causes act on top of each other.
"""

from collections.abc import Callable
from dataclasses import dataclass

from drivers.simulate.design import INCH
from drivers.simulate.maths import Number
from drivers.simulate.parts import Parts

_LEAST_OPEN = 0.01
"""Share of a passage that a total blockage leaves open."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One cause: what it is in plain words, and what it does."""

    words: str
    """For people, lower case."""
    severity: str
    """What severity means here."""
    act: Callable[[Parts, Number], None]
    """Turn the knobs of the parts to a severity. [1]"""


def _narrowed(parts: Parts, severity: Number) -> Number:
    """Factor on the resistance of a passage of which `severity` is blocked."""
    return parts.m.maximum(1.0 - severity, _LEAST_OPEN) ** -2.0


def _from(parts: Parts, severity: Number, least: float) -> Number:
    """1 where the severity is at least so much, else 0."""
    return parts.m.where(severity >= least, 1.0, 0.0)


def _none(parts: Parts, severity: Number) -> None:
    """Nothing is wrong."""


def _intake_blocked(parts: Parts, severity: Number) -> None:
    parts.draft.intake_factor = parts.draft.intake_factor * _narrowed(parts, severity)


def _vent_blocked(parts: Parts, severity: Number) -> None:
    parts.draft.vent_factor = parts.draft.vent_factor * _narrowed(parts, severity)


def _secondary_restricted(parts: Parts, severity: Number) -> None:
    parts.draft.secondary_factor = parts.draft.secondary_factor * _narrowed(parts, severity)
    parts.heat.fouling = parts.heat.fouling * (1.0 - 0.2 * severity)


def _primary_restricted(parts: Parts, severity: Number) -> None:
    parts.draft.primary_factor = parts.draft.primary_factor * _narrowed(parts, severity)


def _drain_blocked(parts: Parts, severity: Number) -> None:
    parts.water.drain_factor = parts.water.drain_factor * (1.0 - severity) ** 6


def _collector_leak(parts: Parts, severity: Number) -> None:
    parts.false_air = parts.false_air + severity * severity * parts.leak_area


def _heat_exchanger_breach(parts: Parts, severity: Number) -> None:
    parts.draft.exchanger_hole = parts.draft.exchanger_hole + 0.5 * severity * parts.leak_area
    parts.disturbance = parts.disturbance + 0.6 * severity


def _inducer_weak(parts: Parts, severity: Number) -> None:
    parts.draft.speed_factor = parts.draft.speed_factor * parts.m.sqrt(1.0 - severity * severity)


def _switch_hose_leak(parts: Parts, severity: Number) -> None:
    lost = severity * severity
    leak = lost / parts.m.maximum(1.0 - lost, 1e-3)
    for switch in (parts.switch, parts.switch_high):
        switch.hose_leak = switch.hose_leak + leak


def _switch_hose_water(parts: Parts, severity: Number) -> None:
    parts.slug = parts.slug + severity * severity * INCH


def _switch_faulty(parts: Parts, severity: Number) -> None:
    switch = parts.switch
    switch.closing_shift = switch.closing_shift + severity * severity * switch.unit.closing
    switch.contact_open = parts.m.maximum(switch.contact_open, _from(parts, severity, 0.9))


def _switch_stuck_closed(parts: Parts, severity: Number) -> None:
    parts.switch.stuck_closed = parts.m.maximum(parts.switch.stuck_closed, severity)


def _gas_supply_low(parts: Parts, severity: Number) -> None:
    parts.gas.supply_factor = parts.gas.supply_factor * (1.0 - severity)


def _manifold_low(parts: Parts, severity: Number) -> None:
    parts.gas.manifold_factor = parts.gas.manifold_factor * (1.0 - 0.8 * severity)


def _manifold_high(parts: Parts, severity: Number) -> None:
    parts.gas.manifold_factor = parts.gas.manifold_factor * (1.0 + 0.5 * severity)
    parts.gas.orifice_factor = parts.gas.orifice_factor * (1.0 + 0.2 * severity)


def _igniter_faulty(parts: Parts, severity: Number) -> None:
    parts.fire.igniter_factor = parts.fire.igniter_factor * (
        1.0 - 0.5 * severity - 0.5 * _from(parts, severity, 0.95) * severity
    )


def _gas_valve_faulty(parts: Parts, severity: Number) -> None:
    parts.gas.valve_opens = parts.gas.valve_opens * (1.0 - severity) ** 2


def _flame_sensor_weak(parts: Parts, severity: Number) -> None:
    parts.fire.rod_factor = parts.fire.rod_factor * (1.0 - severity)


def _airflow_low_restricted(parts: Parts, severity: Number) -> None:
    parts.air.filter_factor = parts.air.filter_factor * parts.m.maximum(1.0 - 0.97 * severity, _LEAST_OPEN) ** -2.0


def _airflow_low_blower(parts: Parts, severity: Number) -> None:
    parts.air.blower_factor = parts.air.blower_factor * (1.0 - severity)


def _air_baffle_missing(parts: Parts, severity: Number) -> None:
    parts.heat.bypass = parts.m.maximum(parts.heat.bypass, 0.45 * severity)
    parts.air_internal = parts.air_internal * parts.m.sqrt(1.0 - 0.45 * severity)


def _limit_faulty(parts: Parts, severity: Number) -> None:
    parts.limit.limit_shift = parts.limit.limit_shift - 60.0 * severity
    parts.limit.limit_open = parts.m.maximum(parts.limit.limit_open, _from(parts, severity, 0.95))


def _humidifier_overrun(parts: Parts, severity: Number) -> None:
    parts.overrun = parts.m.maximum(parts.overrun, severity)


def _lockouts_misset(parts: Parts, severity: Number) -> None:
    parts.lockout_shift = parts.lockout_shift + 20.0 * severity


def _heat_pump_weak(parts: Parts, severity: Number) -> None:
    parts.heat_pump_capacity = parts.heat_pump_capacity * (1.0 - severity)


def _no_call(parts: Parts, severity: Number) -> None:
    parts.call_lost = parts.m.maximum(parts.call_lost, severity)


def _control_power_lost(parts: Parts, severity: Number) -> None:
    parts.electric.transformer_factor = parts.electric.transformer_factor * (1.0 - 0.45 * severity)
    parts.power_lost = parts.m.maximum(parts.power_lost, _from(parts, severity, 0.9))


def _control_board_faulty(parts: Parts, severity: Number) -> None:
    parts.board = parts.m.maximum(parts.board, severity)


def _burner_fouled(parts: Parts, severity: Number) -> None:
    parts.fire.carry_over = parts.m.maximum(parts.fire.carry_over, severity)
    parts.draft.primary_factor = parts.draft.primary_factor * (1.0 + 0.3 * severity)
    parts.fouled = parts.fouled + 0.5 * severity


def _ground_polarity(parts: Parts, severity: Number) -> None:
    parts.fire.ground_factor = parts.fire.ground_factor * (1.0 - severity)
    parts.electric.neutral_ground = parts.electric.neutral_ground + 12.0 * severity
    parts.electric.polarity = parts.m.maximum(parts.electric.polarity, _from(parts, severity, 0.8))


def _rollout_open(parts: Parts, severity: Number) -> None:
    parts.rollout_shift = parts.rollout_shift - 150.0 * severity
    parts.rollout_open = parts.m.maximum(parts.rollout_open, _from(parts, severity, 0.9))


def _vent_recirculation(parts: Parts, severity: Number) -> None:
    parts.recirculation = parts.m.maximum(parts.recirculation, 0.45 * severity)


def _other(parts: Parts, severity: Number) -> None:
    parts.gusts = parts.gusts + 3.0 * severity


FAULTS: dict[str, Fault] = {
    "none": Fault("works as it should", "has none", _none),
    "intake_blocked": Fault("intake blocked", "share of its area that is blocked", _intake_blocked),
    "vent_blocked": Fault("vent blocked", "share of its area that is blocked", _vent_blocked),
    "secondary_restricted": Fault(
        "secondary heat exchanger restricted", "share of its passages that is blocked", _secondary_restricted
    ),
    "primary_restricted": Fault(
        "primary heat exchanger restricted", "share of its passages that is blocked", _primary_restricted
    ),
    "drain_blocked": Fault(
        "condensate drain or trap blocked",
        "of its bore; what passes goes with the sixth power of the rest",
        _drain_blocked,
    ),
    "collector_leak": Fault(
        "collector box leaks air", "its square: of a hole as wide as the unit's passage", _collector_leak
    ),
    "heat_exchanger_breach": Fault(
        "possible heat exchanger breach", "of a hole half as large as the unit's passage", _heat_exchanger_breach
    ),
    "inducer_weak": Fault(
        "inducer weak or dead", "its square: share of its pressure that is gone; 1 is dead", _inducer_weak
    ),
    "switch_hose_leak": Fault(
        "pressure switch hose leaks", "its square: share of the pressure that is lost", _switch_hose_leak
    ),
    "switch_hose_water": Fault(
        "water in the pressure switch hose", "its square: height of the slug, of one inch", _switch_hose_water
    ),
    "switch_faulty": Fault(
        "pressure switch faulty",
        "its square: of its closing point, added to it; from 0.9 on never closed",
        _switch_faulty,
    ),
    "switch_stuck_closed": Fault(
        "pressure switch stuck closed", "share of its opening point that is gone; 1 never opens", _switch_stuck_closed
    ),
    "gas_supply_low": Fault("gas supply low", "share of the supply that is gone", _gas_supply_low),
    "manifold_low": Fault("manifold pressure low", "0.8 of it is the share that is missing", _manifold_low),
    "manifold_high": Fault(
        "manifold pressure high, overfired",
        "0.5 of it too much; orifices 0.2 of it too wide",
        _manifold_high,
    ),
    "igniter_faulty": Fault(
        "igniter aged or open",
        "half the share of its conductance that is gone; from 0.95 on open",
        _igniter_faulty,
    ),
    "gas_valve_faulty": Fault("gas valve does not open", "what it opens is (1 - s) squared", _gas_valve_faulty),
    "flame_sensor_weak": Fault("flame rod dirty", "share of the current that is lost", _flame_sensor_weak),
    "airflow_low_restricted": Fault(
        "airflow restricted (filter, coil, duct)", "share of the filter that is blocked", _airflow_low_restricted
    ),
    "airflow_low_blower": Fault("blower weak or dead", "share of its speed that is gone", _airflow_low_blower),
    "air_baffle_missing": Fault(
        "air baffle missing", "0.45 of it is the share of air that goes past", _air_baffle_missing
    ),
    "limit_faulty": Fault(
        "limit opens too early", "60 K times it too early; from 0.95 on it stays open", _limit_faulty
    ),
    "humidifier_overrun": Fault(
        "humidifier runs too long", "share of the time that its valve is held open", _humidifier_overrun
    ),
    "lockouts_misset": Fault(
        "outdoor lockouts set wrong", "20 K times it that each is moved towards a band without heat", _lockouts_misset
    ),
    "heat_pump_weak": Fault("heat pump weak", "share of its capacity that is gone", _heat_pump_weak),
    "no_call": Fault("call does not arrive", "share of the time without; from 0.2 on none for second stage", _no_call),
    "control_power_lost": Fault(
        "control power weak or lost", "0.45 of it is the voltage that is missing; from 0.9 on all", _control_power_lost
    ),
    "control_board_faulty": Fault(
        "control board faulty", "resets the more often; from 0.6 on one output is dead", _control_board_faulty
    ),
    "burner_fouled": Fault("burners fouled", "of carry-over that is lost, and of the ports", _burner_fouled),
    "ground_polarity": Fault("bad ground or reversed polarity", "share of the flame current lost", _ground_polarity),
    "rollout_open": Fault("roll-out switch opens", "150 K times it too early; from 0.9 on it is open", _rollout_open),
    "vent_recirculation": Fault(
        "intake draws flue gas", "0.45 of it is the share of flue gas in the air", _vent_recirculation
    ),
    "other": Fault("something that is not in this list", "gusts at the terminal, up to four times", _other),
}
"""Every cause, in the order of `causes.CAUSES`."""


def act(parts: Parts, severities: dict[str, Number]) -> None:
    """All knobs neutral, and then every cause with its severity."""
    parts.neutral()
    for cause, severity in severities.items():
        FAULTS[cause].act(parts, severity)
