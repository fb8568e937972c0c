"""Resistances of the draft circuit before the repair, over those when it was good: after it, or by the job file."""

import math
from dataclasses import dataclass

from analysis.comparison.conditions import Conditions, temp_intake
from analysis.comparison.representative import Representative, representative
from analysis.comparison.side import Side
from analysis.draft_inverse import SECTIONS, Ratios, resistances
from analysis.draft_network import State
from analysis.draft_visit import Readings
from analysis.model import Baseline
from analysis.quantity import Quality, Quantity
from analysis.units import INCH_OF_WATER

TAPS = ("burner_box", "transition", "collector", "vent")
PRIMARY, SECONDARY, FLUE = 900.0, 120.0, 45.0
"""Mean temperatures of the gas in a condensing unit that is hot; common practice, no published source. Only their
change from visit to visit matters, and they are taken as the same. [degC]"""
READ_TO = 0.01 * INCH_OF_WATER
"""Last digit of a figure in a job file. [Pa]"""


@dataclass(frozen=True, slots=True)
class Sections:
    """What the taps say of the sections."""

    ratios: Ratios | None
    """Before over the reference; None where the taps are missing."""
    against: str
    """The reference in words."""
    lacks: str
    """What is missing, in words."""
    channels: tuple[str, ...] = ()
    """Keys of the channels before."""

    def quantity(self, section: str) -> Quantity:
        """Ratio of a section. [1]"""
        if self.ratios is None:
            return Quantity(math.nan, "1")
        found: Quantity = getattr(self.ratios, section)
        return found

    def known(self, section: str) -> tuple[bool, float, float]:
        """Whether the taps say something of it, and probabilities of a rise and a fall by 1.3 times."""
        if self.ratios is None:
            return False, math.nan, math.nan
        place = SECTIONS.index(section)
        return self.ratios.determined[place], self.ratios.raised[place], self.ratios.lowered[place]


def sections(before: Side, after: Side, around: Conditions) -> Sections:
    """Resistances before over those after; without taps after, over those of the job file's baseline."""
    first, second = _taps(before), _taps(after)
    if not first:
        return Sections(None, "", "burner on for 5 min, before the repair")
    baseline = _stated(after.baseline if after.baseline != Baseline() else before.baseline)
    if not second and not baseline:
        return Sections(None, "", "burner on for 5 min, after the repair; or the baseline of the job file")
    channels = tuple(dict.fromkeys(key for one in first.values() for key in one.channels))
    now = Readings(**_values(first, around))
    if second:
        reference, against, states = Readings(**_values(second, around)), "against after the repair", _states(around)
    else:
        given = {f"u_{tap}": math.hypot(READ_TO / math.sqrt(12), around.wind_u) for tap in baseline}
        reference, against, states = Readings(**baseline, **given), "against the baseline of the job file", None
    if states is None:
        return Sections(resistances(now, reference), against, "", channels)
    return Sections(resistances(now, reference, state=states[0], baseline_state=states[1]), against, "", channels)


def _taps(side: Side) -> dict[str, Representative]:
    """Sound values of the taps, hot in high stage; nothing where neither collector nor transition is among them."""
    found = {tap: representative(side.of(f"draft_{tap}.hot.high")) for tap in TAPS}
    sound = {tap: one for tap, one in found.items() if one and one.quantity.quality is Quality.GOOD}
    sound = {tap: one for tap, one in sound.items() if math.isfinite(one.quantity.u)}
    return sound if {"transition", "collector"} & sound.keys() else {}


def _values(taps: dict[str, Representative], around: Conditions) -> dict[str, float]:
    """Readings with their own uncertainties; half the variance of the wind's difference belongs to each visit."""
    wind = around.wind_u / math.sqrt(2)
    found = {tap: one.quantity.value for tap, one in taps.items()}
    return found | {f"u_{tap}": math.hypot(one.quantity.u, wind) for tap, one in taps.items()}


def _stated(baseline: Baseline) -> dict[str, float]:
    values = {tap: getattr(baseline, f"draft_{tap}") for tap in TAPS}
    return {tap: value for tap, value in values.items() if value is not None}


def _states(around: Conditions) -> tuple[State, State] | None:
    """Both visits' states, where outdoor air was measured."""
    if around.outdoor is None:
        return None
    pressures = (around.pressure, around.pressure * math.exp(around.thicker))
    first, second = (
        State(
            temp_intake=temp_intake(temp, around.pipes),
            temp_primary=PRIMARY,
            temp_secondary=SECONDARY,
            temp_inducer=FLUE,
            pressure=pressure,
            temp_outdoor=temp,
        )
        for temp, pressure in zip(around.outdoor, pressures, strict=True)
    )
    return first, second
