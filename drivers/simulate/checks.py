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


def check_papers(papers: Papers) -> None:
    """InputError with the first contradiction."""
    for sentence in _contradictions(papers):
        raise InputError(f"the job file contradicts itself: {sentence}", "correct one of the two")


def _contradictions(papers: Papers) -> Iterator[str]:
    plate = papers.plate
    yield from _stages(plate)
    yield from _suction(papers.baseline)
    if plate.efficiency is not None and plate.condensing is not None:
        if plate.condensing and plate.efficiency < CONDENSES_FROM:
            yield f"'furnace.condensing' is true, but nothing condenses at an efficiency of {plate.efficiency:.0%}"
        if not plate.condensing and plate.efficiency > STAYS_DRY_TO:
            yield f"'furnace.condensing' is false, but an efficiency of {plate.efficiency:.0%} needs condensing"
    if plate.gas_inlet is not None and plate.manifold and plate.manifold[0] >= plate.gas_inlet[1]:
        yield "'furnace.manifold' is above the highest 'furnace.gas_inlet'"
    if papers.capacity_47 is not None and papers.capacity_17 is not None and papers.capacity_17 >= papers.capacity_47:
        yield "'heat_pump.capacity_17' is no less than 'heat_pump.capacity_47'"


def _stages(plate: Plate) -> Iterator[str]:
    for name, values in (("input", plate.input), ("manifold", plate.manifold), ("switch_close", plate.switch_close)):
        if len(values) > 1 and values[1] >= values[0]:
            yield f"'furnace.{name}' gives the low stage (second) no less than the high stage (first)"
    if len(plate.input) > 1 and len(plate.manifold) > 1:
        by_gas = (plate.manifold[1] / plate.manifold[0]) ** 0.5
        by_plate = plate.input[1] / plate.input[0]
        if abs(by_gas / by_plate - 1) > APART:
            yield (
                f"'furnace.input' makes the low stage {by_plate:.0%} of the high one, 'furnace.manifold' {by_gas:.0%}"
                " (input goes with the root of the pressure)"
            )


def _suction(baseline: Baseline) -> Iterator[str]:
    taps = {
        name: value
        for name in ("draft_burner_box", "draft_transition", "draft_collector")
        if (value := getattr(baseline, name)) is not None
    }
    for first, second in pairwise(taps):
        if taps[second] >= taps[first]:
            yield f"suction in 'furnace.baseline' is no stronger at {second} than at {first}, which lies before it"
    if "draft_collector" in taps and taps["draft_collector"] >= 0:
        yield "'furnace.baseline' gives the collector box no suction"
    if baseline.draft_vent is not None and baseline.draft_vent <= 0:
        yield "'furnace.baseline' gives the vent side behind the inducer no pressure above the room's"


def check_margins(papers: Papers, physical: Physical) -> None:
    """InputError where a switch closes at more than the unit has when it is good."""
    design = physical.design
    if not papers.plate.switch_close or papers.baseline.draft_collector is None:
        return
    high = design.differential * design.burner_box - design.collector
    low = high * (design.low_speed**2 if design.stages > 1 else 1.0)
    stages = ("high", high), ("low", low)
    closing = papers.plate.switch_close
    for (name, there), point in zip(stages if len(closing) > 1 else stages[:1], closing, strict=False):
        if point >= there:
            raise InputError(
                f"the job file contradicts itself: the {name}-stage switch closes at {point / INCH:.2f} inH2O, and"
                f" 'furnace.baseline' leaves it {there / INCH:.2f} inH2O",
                "correct one of the two",
            )
