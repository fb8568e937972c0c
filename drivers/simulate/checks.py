"""Whether what is written down about a unit can be true at once; each contradiction is one sentence."""

from collections.abc import Iterator
from itertools import pairwise

from analysis.model import Baseline, Plate
from drivers.base import InputError
from drivers.simulate.design import INCH, Physical
from drivers.simulate.papers import Papers

CONDENSES_FROM, STAYS_DRY_TO = 0.88, 0.86
"""Efficiencies of the higher heating value from which water condenses, and up to which it does not; reference tables of
flue losses. [1]"""
APART = 0.15
"""Share by which the inputs and the manifold pressures of two stages may disagree. [1]"""

MOST_STAGES = 2
OPEN_BOX = -0.12 * INCH
"""Strongest suction of a burner box that is open to the room; common practice, no published source. [Pa]"""
REGULATES = 0.8 * INCH
"""Least that a regulator takes; common practice, no published source. [Pa]"""
MANIFOLDS = {"natural gas": (1.5 * INCH, 7.0 * INCH), "propane": (6.0 * INCH, 14.0 * INCH)}
"""Settings of the high stage that there may be; wide, common practice, no published source. [Pa]"""
RISES = (8.0, 56.0)
"""Temperature rises that a furnace may have; wide, common practice, no published source. [K]"""
RETURN = 18.0
"""Return air. [degC]"""


def check_papers(papers: Papers) -> None:
    """InputError with the first contradiction."""
    for sentence in _contradictions(papers):
        raise InputError(f"the job file contradicts itself: {sentence}", "correct one of the two")


def _contradictions(papers: Papers) -> Iterator[str]:
    plate = papers.plate
    yield from _stages(plate)
    yield from _suction(papers.baseline)
    yield from _gas(plate)
    yield from _air(plate)
    box = papers.baseline.draft_burner_box
    if plate.pipes == 1 and box is not None and box < OPEN_BOX:
        yield (
            f"with 'furnace.pipes' = 1 the burner box takes its air from the room, and 'furnace.baseline' gives it a"
            f" suction of {-box / INCH:.2f} inH2O"
        )
    if plate.efficiency is not None and plate.condensing is not None:
        if plate.condensing and plate.efficiency < CONDENSES_FROM:
            yield f"'furnace.condensing' is true, but nothing condenses at an efficiency of {plate.efficiency:.0%}"
        if not plate.condensing and plate.efficiency > STAYS_DRY_TO:
            yield f"'furnace.condensing' is false, but an efficiency of {plate.efficiency:.0%} needs condensing"
    if papers.capacity_47 is not None and papers.capacity_17 is not None and papers.capacity_17 >= papers.capacity_47:
        yield "'heat_pump.capacity_17' is no less than 'heat_pump.capacity_47'"


def _stages(plate: Plate) -> Iterator[str]:
    for name, values in (("input", plate.input), ("manifold", plate.manifold), ("switch_close", plate.switch_close)):
        if len(values) > MOST_STAGES:
            yield f"'furnace.{name}' gives {len(values)} stages, and a furnace has one or two"
        if len(values) > 1 and values[1] >= values[0]:
            yield f"'furnace.{name}' gives the low stage (second) no less than the high stage (first)"
    counts = {len(values) for values in (plate.input, plate.manifold, plate.switch_close) if values}
    if len(counts) > 1:
        yield "'furnace.input', 'furnace.manifold' and 'furnace.switch_close' do not give the same number of stages"
    if len(plate.input) > 1 and len(plate.manifold) > 1:
        by_gas = (plate.manifold[1] / plate.manifold[0]) ** 0.5
        by_plate = plate.input[1] / plate.input[0]
        if abs(by_gas / by_plate - 1) > APART:
            yield (
                f"'furnace.input' makes the low stage {by_plate:.0%} of the high one, 'furnace.manifold' {by_gas:.0%}"
                " (input goes with the root of the pressure)"
            )


def _gas(plate: Plate) -> Iterator[str]:
    if not plate.manifold:
        return
    setting = plate.manifold[0]
    if plate.gas_inlet is not None and setting + REGULATES >= plate.gas_inlet[1]:
        yield "'furnace.manifold' leaves the regulator nothing of the highest 'furnace.gas_inlet'"
    low, high = MANIFOLDS.get(plate.fuel or "", (0.0, 1e9))
    if not low <= setting <= high:
        yield f"a 'furnace.manifold' of {setting / INCH:.1f} inH2O is none of {plate.fuel}"


def _air(plate: Plate) -> Iterator[str]:
    if plate.rise is None:
        return
    low, high = plate.rise
    if high < RISES[0] or low > RISES[1]:
        yield f"no furnace can have a 'furnace.rise' of {1.8 * low:.0f} to {1.8 * high:.0f} degF"
    if plate.supply_max is not None and plate.supply_max < RETURN + low:
        yield "return air and the least 'furnace.rise' are more than 'furnace.supply_max'"


def _suction(baseline: Baseline) -> Iterator[str]:
    taps = {
        name: value
        for name in ("draft_burner_box", "draft_transition", "draft_collector")
        if (value := getattr(baseline, name)) is not None
    }
    for first, second in pairwise(taps):
        if taps[second] >= taps[first]:
            yield f"suction in 'furnace.baseline' is no stronger at {second} than at {first}, which lies before it"
    for name, value in taps.items():
        if value >= 0:
            yield f"'furnace.baseline' gives {name} no suction"
    if baseline.draft_vent is not None and baseline.draft_vent <= 0:
        yield "'furnace.baseline' gives the vent side behind the inducer no pressure above the room's"


def margins(physical: Physical) -> tuple[float, float]:
    """What a good unit has above the closing points, high stage first: that hot, low stage in its worst state. [Pa]"""
    high, low, _ = physical.healthy
    return high - physical.switch_high.closing, low - physical.switch.closing


def check_margins(physical: Physical) -> None:
    """InputError where a switch closes at more than the unit has when it is good."""
    switches = ("high", physical.switch_high), ("low", physical.switch)
    for (name, switch), there, margin in zip(switches, physical.healthy, margins(physical), strict=False):
        if margin <= 0.0:
            raise InputError(
                f"the job file contradicts itself: the {name}-stage switch closes at {switch.closing / INCH:.2f} inH2O,"
                f" and a unit with this 'furnace.baseline' has {there / INCH:.2f} inH2O there",
                "correct one of the two",
            )
