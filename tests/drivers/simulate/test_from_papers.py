"""The unit of a job file: what it says is kept, what it leaves open goes with it; contradictions are one sentence."""

import math
from dataclasses import replace
from typing import Any

import pytest

from analysis.model import Baseline, Plate
from drivers.base import InputError
from drivers.simulate.checks import margins
from drivers.simulate.design import INCH
from drivers.simulate.papers import Papers
from drivers.simulate.scenario import prepared
from drivers.simulate.unit import random_unit, unit_of

BTU = 0.29307107
TAPS = Baseline(-0.15 * INCH, -0.50 * INCH, -1.25 * INCH, 0.35 * INCH)
SEEDS = range(1, 6)


def inches(*values: float) -> tuple[float, ...]:
    return tuple(value * INCH for value in values)


def papers(baseline: Baseline | None = None, **plate: Any) -> Papers:
    return Papers(plate=Plate(**plate), baseline=baseline or Baseline())


GOOD = {
    "nothing": papers(),
    "a very small unit": papers(input=(3500 * BTU,)),
    "transition alone": papers(Baseline(draft_transition=-2 * INCH)),
    "burner box alone": papers(Baseline(draft_burner_box=-2 * INCH)),
    "collector alone": papers(Baseline(draft_collector=-0.1 * INCH)),
    "one strong switch alone": papers(switch_close=inches(1.5)),
    "two strong switches alone": papers(switch_close=inches(3.0, 1.2)),
    "switches near what there is": papers(TAPS, switch_close=inches(1.0, 0.55)),
    "switches that only fit against the room": papers(TAPS, switch_close=inches(1.15, 0.5)),
    "much flame current": papers(flame_current_min=9e-6),
    "little static": papers(static_max=0.1 * INCH),
    "cool supply air": papers(supply_max=38.0),
    "high manifold": papers(manifold=inches(6.5, 3.1)),
    "an efficiency of a season": papers(efficiency=0.98, condensing=True),
    "not condensing": papers(efficiency=0.80, condensing=False),
}


@pytest.mark.parametrize("name", GOOD)
def test_a_unit_of_any_job_is_whole_and_heats(name: str) -> None:
    """A good unit of whatever is left open lights and runs: nothing is wrong with it that nobody has asked for."""
    for seed in SEEDS:
        unit = unit_of(GOOD[name], seed)
        draft = unit.physical.draft
        for value in (draft.intake, draft.primary, draft.secondary, draft.vent, draft.shutoff):
            assert value > 0, seed
        assert min(margins(unit.physical)) > 0
        plant = prepared(unit, [], seed=seed, minutes=6)
        plant.advance(360)
        plant.finish()
        assert [attempt["outcome"] for attempt in plant.attempts] == ["heat"], seed


def test_what_the_papers_say_is_kept() -> None:
    """Back from the plate of a random unit: input, switches, manifold and taps as they were, to the plate's digits."""
    for seed in range(12):
        first = random_unit(seed)
        again = unit_of(first.papers, seed + 100).physical
        design, wanted = again.design, first.papers
        assert design.input == pytest.approx(wanted.plate.input[0])
        assert again.switch.closing == pytest.approx(wanted.plate.switch_close[-1])
        assert again.switch.opening == pytest.approx(wanted.plate.switch_open[-1])
        assert design.manifold == pytest.approx(wanted.plate.manifold[0])
        taps = (design.burner_box, design.transition, design.collector, design.vent)
        baseline = wanted.baseline
        assert baseline.draft_collector is not None
        assert taps[2] == pytest.approx(baseline.draft_collector)
        assert taps[0] > taps[1] > taps[2]
        assert design.altitude == wanted.altitude
        assert design.static_return + design.static_supply <= (wanted.plate.static_max or math.inf)


CONTRADICTIONS = {
    "the low stage (second) no less": papers(input=(56e3 * BTU, 80e3 * BTU)),
    "'furnace.switch_close' gives the low stage": papers(switch_close=inches(0.5, 0.9)),
    "3 stages": papers(input=(80e3 * BTU, 56e3 * BTU, 40e3 * BTU)),
    "the same number of stages": papers(input=(80e3 * BTU,), manifold=inches(3.5, 1.7)),
    "root of the pressure": papers(input=(80e3 * BTU, 56e3 * BTU), manifold=inches(3.5, 3.0)),
    "nothing condenses": papers(condensing=True, efficiency=0.80),
    "needs condensing": papers(condensing=False, efficiency=0.95),
    "draft_transition than at draft_burner_box": papers(
        Baseline(draft_burner_box=-0.6 * INCH, draft_transition=-0.5 * INCH)
    ),
    "gives draft_burner_box no suction": papers(Baseline(draft_burner_box=0.2 * INCH)),
    "no pressure above the room's": papers(Baseline(draft_vent=-0.1 * INCH)),
    "leaves the regulator nothing": papers(manifold=inches(4.4), gas_inlet=(2 * INCH, 4.5 * INCH)),
    "is none of natural gas": papers(fuel="natural gas", manifold=inches(10.0)),
    "is none of propane": papers(fuel="propane", manifold=inches(3.5)),
    "1 to 2 degF": papers(rise=(1 / 1.8, 2 / 1.8)),
    "150 to 160 degF": papers(rise=(150 / 1.8, 160 / 1.8)),
    "more than 'furnace.supply_max'": papers(rise=(35 / 1.8, 65 / 1.8), supply_max=32.0),
    "takes its air from the room": papers(Baseline(draft_burner_box=-0.5 * INCH), pipes=1),
    "switch closes at 1.40 inH2O": papers(TAPS, switch_close=inches(1.4, 0.5)),
    "'heat_pump.capacity_17' is no less": replace(papers(), capacity_47=9000.0, capacity_17=9500.0),
}


@pytest.mark.parametrize("words", CONTRADICTIONS)
def test_a_contradiction_is_one_sentence_whatever_the_seed(words: str) -> None:
    for seed in SEEDS:
        with pytest.raises(InputError, match="contradicts itself") as caught:
            unit_of(CONTRADICTIONS[words], seed)
        assert words in str(caught.value)
        assert "\n" not in str(caught.value)


def test_an_efficiency_that_nothing_can_have_is_refused() -> None:
    with pytest.raises(InputError, match="no furnace can be as this job file says"):
        unit_of(papers(efficiency=0.5), 1)
