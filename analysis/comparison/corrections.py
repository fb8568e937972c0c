"""What a measure of the second visit would have been in the air of the first, and what of that is not known."""

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from analysis.comparison.conditions import BAROMETER, ZERO, Conditions
from analysis.units import INCH_OF_WATER

INTAKE_HOT = (0.6, 1.0)
"""Share of a change of the outdoor air's density that the air in the intake has: the pipe warms it on its way; common
practice, no published source. [1]"""
THROUGH_COLD = (0.0, 1.0)
"""The same for the whole circuit in prepurge, between an exchanger that warms the air wholly and not at all. [1]"""
ELSEWHERE, BEHIND = 0.1, 0.2
"""Most that other taps change with the density of the air in the intake, as a power of its ratio: the intake's share of
what they read, at the transition box more; our choice, held against the network itself. [1]"""
BLOWER = (0.0, 1.0)
"""Share of a change of the return air's density that the mass flow of the blower has: none where its control holds the
mass flow, all where it holds its speed; common practice, no published source. [1]"""
AIR_HEAT = 0.47e-3
"""Heat that combustion air brings for each kelvin, over the input: 17.2 kg of air a kg of methane (stoichiometry) at
half as much again, 1006 J/kg/K, 55.5 MJ/kg. [1/K]"""
AIR_HEAT_SURE = 0.3
"""Standard uncertainty of it as a share: excess air, and what of it the flue takes; our choice. [1]"""
GAS_AIR = 0.03
"""Standard uncertainty of the combustion air by which wind and density make two visits differ, as a share; our choice.
[1]"""
ROUNDS = 0.005
"""What a rise changes by itself from one visit to the next, as a share: line voltage and heating value of the gas;
common practice, no published source. [1]"""
FLAME = 0.02
"""The same for a flame current. [1]"""
CLOSING = 0.1
"""The same for the time until the switch closes: density and line voltage turn a slow approach into a later moment; our
choice on simulated units. [1]"""
VOLTS = 0.01
"""The same for supply voltages: common practice, no published source. [1]"""
FRESH = 0.2095
"""Oxygen in dry air, U.S. Standard Atmosphere 1976. [1]"""


SUPPLY = {
    "gas_inlet.drop": 0.01 * INCH_OF_WATER,
    "gas_inlet": 0.05 * INCH_OF_WATER,
    "gas_manifold": 0.01 * INCH_OF_WATER,
}
"""By how much gas pressures move from visit to visit, with other appliances and the load of the main; common practice,
no published source. [Pa]"""
TRACE, TRACE_SHARE = 0.3e-6, 0.1
"""By how much a trend of carbon monoxide [1/min] and its level, as a share [1], do so, with the wind; our choice on
simulated units."""
SHARES = {"flue_co.": TRACE_SHARE, "flue_co2": GAS_AIR, "static_": 2 * GAS_AIR, "flame_current": FLAME, "volts_": VOLTS}
SHARES |= {"amps_": 2 * VOLTS, "switch_closed": CLOSING}
"""By how much other readings do so, as a share of them, by how their names begin; common practice, no published source.
[1]"""
UNSEEN_RETURN = 2.0
"""What the return air may differ by from what was read at another moment; our choice. [K]"""
WARMS_MORE = 0.1
"""By how much the supply goes with the return other than one to one; our choice. [1]"""
WIND_DRIFTS = 1.0
"""By how much the wind's part drifts over a stage, as a share of what it differs by from visit to visit; our choice on
simulated units. [1]"""


@dataclass(frozen=True, slots=True)
class Correction:
    """One thing that was put right, or could not be."""

    what: str
    """What differed: `altitude`, `barometer`, `outdoor air`, `return air`, `vent`, `wind`, `day`."""
    text: str
    """Why and how, or what it would need: without a full stop."""
    amount: float = 0.0
    """What it added to the value of the second visit; 0 where nothing was put right. [inside unit of the measure]"""
    u: float = 0.0
    """Standard uncertainty that it adds to the difference. [inside unit of the measure]"""
    was: float | None = None
    """What it was on the first visit, where that is known. [`unit`]"""
    now: float | None = None
    """What it was on the second. [`unit`]"""
    unit: str = ""
    """`degC` or `m`."""

    @property
    def applied(self) -> bool:
        """Whether it was put right; else only its size is counted as uncertainty."""
        return self.was is not None


def corrections(
    name: str, before: float, after: float, around: Conditions, *, minutes: float = 1.0
) -> list[Correction]:
    """What brings the second value to the conditions of the first.

    name : of the measure. [-]
    before, after : pressures for a margin, i.e. with the set-point added again; else the values. [inside unit]
    around : both visits' conditions. [-]
    minutes : length of the span of a trend. [min]
    returns : list of Correction; empty where the measure does not go with the air. [-]

    Valid: the same unit in the same place; see the constants for what is taken of pipe, exchanger and blower.
    Method: multiplied by powers of ratios of densities; a range of powers counts as a rectangle, `u` along straight
        lines.
    Source: fan laws, ASHRAE Handbook - HVAC Systems and Equipment 2016, chapter 21 (as `common_factor`); stack: ASHRAE
        Handbook - HVAC Systems and Equipment, chapter on chimneys (as `stack_pressure`); heat carried by air: ASHRAE
        Handbook - Fundamentals 2017, chapter 1, equations 26 and 30.
    """
    seen = _Seen(name, before, after, around, minutes)
    for pattern, made in _KINDS:
        if re.match(pattern, name):
            return [*made(seen)]
    return []


class _Seen(NamedTuple):
    """What is corrected."""

    name: str
    before: float
    after: float
    around: Conditions
    minutes: float

    @property
    def size(self) -> float:
        """Of both values. [inside unit]"""
        return (abs(self.before) + abs(self.after)) / 2


def _trend(seen: _Seen) -> Iterator[Correction]:
    yield Correction("wind", "the wind drifts", u=WIND_DRIFTS * seen.around.wind_u / max(seen.minutes, 1.0))


def _still(seen: _Seen) -> Iterator[Correction]:
    yield _vent(seen.around)
    yield _wind(seen.around)


def _gas(seen: _Seen) -> Iterator[Correction]:
    u = next(u for head, u in SUPPLY.items() if seen.name.startswith(head))
    yield Correction("day", "gas pressure moves with the load of the supply", u=u)


def _trace(_: _Seen) -> Iterator[Correction]:
    yield Correction("wind", "the wind moves the combustion air within a run", u=TRACE)


def _oxygen(seen: _Seen) -> Iterator[Correction]:
    text = "wind, barometer and density change the combustion air a little from visit to visit"
    yield Correction("day", text, u=GAS_AIR * (FRESH - seen.size))


def _day(seen: _Seen) -> Iterator[Correction]:
    share = next(share for head, share in SHARES.items() if seen.name.startswith(head))
    yield Correction("day", "line voltage, gas and air differ a little from visit to visit", u=share * seen.size)


def _middle(low_high: tuple[float, float]) -> tuple[float, float]:
    """Middle of a range and its standard uncertainty."""
    low, high = low_high
    return (low + high) / 2, (high - low) / math.sqrt(12)


def _draft(seen: _Seen) -> Iterator[Correction]:
    name, after, size, around = seen.name, seen.after, seen.size, seen.around
    cold = not re.search(r"\.hot\.|\.smallest|\.at_", name)
    box = name.startswith("draft_burner_box")
    # power with which the reading goes with the density of the outdoor air, and its standard uncertainty
    most = BEHIND if name.startswith("draft_transition") else ELSEWHERE
    middle, unsure = _middle(THROUGH_COLD if cold else INTAKE_HOT) if cold or box else (0.0, most / math.sqrt(3))
    grown = after * around.density_factor
    yield from _altitude(grown - after, around)
    text = f"weather moves it by about {100 * BAROMETER:.0f} %, not measured"
    yield Correction("barometer", text, u=math.sqrt(2) * BAROMETER * size)
    if around.pipes != 1:
        yield _outdoor(grown, size, (middle if cold else -middle, unsure), around)
    yield _vent(around)
    yield _wind(around)


def _vent(around: Conditions) -> Correction:
    return Correction("vent", "its own draft goes with the weather; how far it rises is not known", u=around.stack_u)


def _wind(around: Conditions) -> Correction:
    return Correction("wind", "at the terminals, not measured", u=around.wind_u)


def _altitude(amount: float, around: Conditions) -> Iterator[Correction]:
    if around.thicker:
        text = f"density {math.exp(-around.thicker):.3f} of what it was"
        yield Correction("altitude", text, amount, 0.0, *around.altitudes, "m")


def _outdoor(grown: float, size: float, power: tuple[float, float], around: Conditions) -> Correction:
    """Colder combustion air is denser: less drop across the intake when hot, more of everything when cold."""
    middle, unsure = power
    if around.outdoor is None:
        return Correction("outdoor air", NO_OUTDOOR, u=size * math.hypot(middle, unsure) * around.warmer_u)
    warmer = around.warmer
    u = size * math.hypot(unsure * warmer, middle * around.warmer_u)
    if not middle:
        return Correction("outdoor air", "moves this tap by next to nothing; not corrected", u=u)
    amount = grown * (math.exp(middle * warmer) - 1)
    return Correction("outdoor air", "density of the combustion air", amount, u, *around.outdoor, "degC")


NO_OUTDOOR = "not measured on both visits (temp_outdoor); not corrected"


def _rise(seen: _Seen) -> Iterator[Correction]:
    after, size, around = seen.after, seen.size, seen.around
    thick = around.thicker
    if thick:  # the orifices pass with the root of the density of the gas, the blower with that of the air
        amount = after * (math.exp(thick / 2) - 1)
        text = "orifices as they are: thinner air takes up less heat, and less gas comes"
        yield Correction("altitude", text, amount, abs(amount) / math.sqrt(3), *around.altitudes, "m")
        after += amount
    text = "barometer, line voltage and heating value of the gas differ a little from visit to visit"
    yield Correction("day", text, u=size * math.hypot(BAROMETER / math.sqrt(2), ROUNDS))
    if around.returns is not None:
        middle, unsure = _middle(BLOWER)
        log = math.log((around.returns[1] + ZERO) / (around.returns[0] + ZERO))
        amount = after * (math.exp(-middle * log) - 1)
        u = size * math.hypot(unsure * log, middle * around.returns_u / (around.returns[0] + ZERO))
        yield Correction("return air", "density of the air at the blower", amount, u, *around.returns, "degC")
        after += amount
    if around.pipes == 1:
        return
    if around.outdoor is None:
        yield Correction("outdoor air", NO_OUTDOOR, u=size * AIR_HEAT * around.outdoor_u)
        return
    apart = around.outdoor[1] - around.outdoor[0]
    u = size * AIR_HEAT * math.hypot(AIR_HEAT_SURE * apart, around.outdoor_u)
    text = "heat that the combustion air brings"
    yield Correction("outdoor air", text, -after * AIR_HEAT * apart, u, *around.outdoor, "degC")


def _supply(seen: _Seen) -> Iterator[Correction]:
    around, apart = seen.around, abs(seen.after - seen.before)
    if around.returns is None:
        text = "not measured at the end of a stage on both visits (temp_return); not corrected"
        yield Correction("return air", text, u=max(apart, UNSEEN_RETURN) / math.sqrt(3))
        return
    first, second = around.returns
    u = math.hypot(around.returns_u, WARMS_MORE * (second - first), UNSEEN_RETURN / math.sqrt(12))
    yield Correction("return air", "the supply goes with it", first - second, u, first, second, "degC")


_KINDS: tuple[tuple[str, Callable[[_Seen], Iterator[Correction]]], ...] = (
    (r"draft_\w+\.trend\.", _trend),
    (r"draft_switch\.after_stop", _still),
    (r"draft_", _draft),
    (r"temp_rise\.", _rise),
    (r"temp_supply\.highest", _supply),
    (r"gas_(inlet|manifold)", _gas),
    (r"flue_co\.trend", _trace),
    (r"flue_o2", _oxygen),
    (r"flame_current\.(decay|trend)", lambda _: iter(())),
    ("|".join(map(re.escape, SHARES)), _day),
)
"""Beginnings of names and what is corrected of them; the first that fits holds."""
