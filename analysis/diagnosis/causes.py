"""What can be wrong: the names of the causes, their words, and how common each is before anything was measured.

Shares and odds: common practice, no published source; a company can replace them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

CAUSES = (
    "none intake_blocked vent_blocked secondary_restricted primary_restricted drain_blocked collector_leak"
    " heat_exchanger_breach inducer_weak switch_hose_leak switch_hose_water switch_faulty switch_stuck_closed"
    " gas_supply_low manifold_low manifold_high igniter_faulty gas_valve_faulty flame_sensor_weak"
    " airflow_low_restricted airflow_low_blower air_baffle_missing limit_faulty humidifier_overrun lockouts_misset"
    " heat_pump_weak no_call control_power_lost control_board_faulty burner_fouled ground_polarity rollout_open"
    " vent_recirculation other"
).split()
"""Every cause that a diagnosis may name."""

WORDS: Mapping[str, str] = {
    "none": "works as it should",
    "intake_blocked": "combustion-air intake blocked",
    "vent_blocked": "vent blocked",
    "secondary_restricted": "secondary heat exchanger fouled or corroded",
    "primary_restricted": "primary heat exchanger restricted",
    "drain_blocked": "condensate drain or trap blocked",
    "collector_leak": "collector box leaks air",
    "heat_exchanger_breach": "possible heat exchanger breach",
    "inducer_weak": "inducer weak or dead",
    "switch_hose_leak": "pressure switch hose leaks",
    "switch_hose_water": "water in the pressure switch hose",
    "switch_faulty": "pressure switch faulty",
    "switch_stuck_closed": "pressure switch stuck closed",
    "gas_supply_low": "gas supply pressure low",
    "manifold_low": "manifold pressure low",
    "manifold_high": "manifold pressure high, overfired",
    "igniter_faulty": "igniter weak or open",
    "gas_valve_faulty": "gas valve does not open",
    "flame_sensor_weak": "flame rod dirty or its current weak",
    "airflow_low_restricted": "airflow restricted: filter, coil or duct",
    "airflow_low_blower": "blower weak or dead",
    "air_baffle_missing": "air baffle missing",
    "limit_faulty": "limit switch opens too early",
    "humidifier_overrun": "humidifier runs too long",
    "lockouts_misset": "outdoor lock-out temperatures set wrong",
    "heat_pump_weak": "heat pump weak",
    "no_call": "call for heat does not arrive: thermostat, wiring or staging",
    "control_power_lost": "control power lost: breaker, door, fuse, transformer or float switch",
    "control_board_faulty": "control board faulty",
    "burner_fouled": "burners fouled: carry-over, delayed light-off",
    "ground_polarity": "ground bad or polarity reversed",
    "rollout_open": "roll-out switch open",
    "vent_recirculation": "intake draws flue gas",
    "other": "something that is not in this list",
}
"""Each cause for people."""

SHARES: Mapping[str, float] = {
    "flame_sensor_weak": 13,
    "igniter_faulty": 12,
    "drain_blocked": 8,
    "airflow_low_restricted": 8,
    "control_power_lost": 6,
    "inducer_weak": 5,
    "no_call": 4.5,
    "airflow_low_blower": 4,
    "control_board_faulty": 4,
    "gas_supply_low": 3.5,
    "intake_blocked": 3,
    "vent_blocked": 3,
    "switch_faulty": 3,
    "heat_pump_weak": 3,
    "none": 3,
    "switch_hose_water": 2,
    "gas_valve_faulty": 2,
    "switch_hose_leak": 1.5,
    "secondary_restricted": 1.5,
    "limit_faulty": 1.5,
    "lockouts_misset": 1.5,
    "burner_fouled": 1,
    "humidifier_overrun": 0.8,
    "collector_leak": 0.7,
    "vent_recirculation": 0.5,
    "other": 0.5,
    "primary_restricted": 0.5,
    "switch_stuck_closed": 0.5,
    "manifold_low": 0.5,
    "heat_exchanger_breach": 0.5,
    "rollout_open": 0.5,
    "ground_polarity": 0.5,
    "manifold_high": 0.3,
    "air_baffle_missing": 0.2,
}
"""How common each is among no-heat calls; shares of their sum. [1]"""

LEAST = 1e-3
"""Least probability of `other` in any table. [1]"""


@dataclass(frozen=True, slots=True)
class Visited:
    """What raises the odds of some causes; None where it is not known."""

    temp_outdoor: float | None = None
    """[degC]"""
    first_cold_day: bool = False
    years: float | None = None
    """Age of the unit. [a]"""
    fuel: str | None = None
    recent_work: bool = False
    """Somebody worked on the unit shortly before."""


@dataclass(frozen=True, slots=True)
class Priors:
    """How common the causes are, and what multiplies their odds."""

    shares: Mapping[str, float] = field(default_factory=lambda: dict(SHARES))

    def __post_init__(self) -> None:
        """Refuse causes that there are none of, and shares that are none."""
        unknown = sorted(set(self.shares) - set(CAUSES))
        if unknown:
            raise ValueError(f"unknown cause '{unknown[0]}' in the table of shares")
        if not all(0 <= share < float("inf") for share in self.shares.values()) or not sum(self.shares.values()) > 0:
            raise ValueError("shares of causes must be numbers of at least 0, and one above it")

    @classmethod
    def of_some(cls, counted: Mapping[str, float]) -> "Priors":
        """The table with other shares of some causes, such as how often each was found; ValueError as for any table.

        counted : of two causes or more, in any measure: together they keep what the table gives to them together, so
            that what was not counted stays as common as it was. `other` never falls below `LEAST` all the same. [any]
        """
        Priors(counted)
        if len(counted) < 2:
            raise ValueError("one cause alone says nothing of how common it is beside the others; give two or more")
        factor = sum(SHARES[cause] for cause in counted) / sum(counted.values())
        return cls({**SHARES, **{cause: factor * share for cause, share in counted.items()}})

    def probabilities(self, visited: Visited | None = None) -> dict[str, float]:
        """Of each cause, before anything was measured; `other` is never less than `LEAST`, no cause is zero. [1]"""
        visited = visited or Visited()
        weight = {cause: float(self.shares.get(cause, 0.0)) for cause in CAUSES}
        total = sum(weight.values())
        weight = {
            cause: max(share / total, LEAST if cause == "other" else LEAST / 10) for cause, share in weight.items()
        }
        for causes, factor in odds(visited):
            for cause in causes:
                weight[cause] *= factor
        total = sum(weight.values())
        return {cause: share / total for cause, share in weight.items()}


COLD = -6.7
"""20 degF. [degC]"""
OLD = 12.0
"""[a]"""


def odds(visited: Visited) -> tuple[tuple[tuple[str, ...], float], ...]:
    """Causes and by what their odds are multiplied."""
    found: list[tuple[tuple[str, ...], float]] = []
    if visited.temp_outdoor is not None and visited.temp_outdoor < COLD:
        found += [(("intake_blocked", "vent_blocked"), 3.0), (("drain_blocked",), 2.0)]
    if visited.first_cold_day:
        found.append((("igniter_faulty", "flame_sensor_weak", "drain_blocked"), 2.0))
    if visited.years is not None and visited.years > OLD:
        found.append((("secondary_restricted", "heat_exchanger_breach"), 3.0))
    if visited.fuel == "propane":
        found.append((("gas_supply_low",), 3.0))
    if visited.recent_work:
        found.append((("switch_hose_leak", "switch_hose_water", "no_call", "air_baffle_missing"), 4.0))
    return tuple(found)
