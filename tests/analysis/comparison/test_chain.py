"""Links of the chain by hand: shown, excluded, cannot tell, not measured."""

from dataclasses import replace

import pytest

from analysis.comparison import Side, Tried, chain, compare
from analysis.comparison.link import BREACH, Item
from analysis.measures.measured import Measured
from analysis.model import Baseline
from analysis.quantity import Error, Quantity
from tests.analysis.comparison.test_outcomes import FAILED, HEAT, attempts

GOOD = {"burner_box": -37.0, "transition": -125.0, "collector": -311.0, "vent": 87.0}
"""Taps of a unit that is good, hot in high stage. [Pa]"""
PLUGGED = {"burner_box": -18.0, "transition": -60.0, "collector": -360.0, "vent": 42.0}
"""The same with less flow through a secondary that resists more. [Pa]"""


def figure(name: str, value: float, u: float = 1.0, attempt: int = 1, start: float = 0.0) -> Measured:
    quantity = Quantity(value, "Pa", u, budget=((Error(f"{name} {attempt}"), u),))
    return Measured(name, quantity, start, start + 60.0, attempt, (f"{name.partition('.')[0]}@draft meter",))


def taps(values: dict[str, float], state: str = "hot.high") -> list[Measured]:
    return [figure(f"draft_{tap}.{state}", value) for tap, value in values.items()]


def links(before: Side, after: Side | None = None) -> dict[str, Item]:
    after = after or Side((), ())
    return {one.item: one for one in chain(before, after, compare(before, after))}


def test_nothing_measured_says_what_it_would_need_and_names_no_breach():
    found = links(Side((), ()))
    assert {one.state for one in found.values()} == {"not measured"}
    for name in ("ratio.draft_collector", "resistance.secondary", "intake", "vent", "drain", "hoses", "switch"):
        assert "needs" in found[name].text
    assert BREACH in found["breach"].text


def test_a_secondary_that_resisted_more_is_shown_with_numbers_and_instrument():
    found = links(Side(taps(PLUGGED), ()), Side(taps(GOOD), ()))
    secondary = found["resistance.secondary"]
    assert secondary.state == "shown"
    assert "after the repair" in secondary.text
    assert secondary.figures[0].quantity.value > 2
    assert secondary.figures[0].quantity.u > 0
    assert secondary.figures[0].channels[0].endswith("@draft meter")
    assert found["flow"].state == "shown"
    assert found["ratio.draft_collector"].state == "shown"
    assert found["ratio.draft_collector"].figures[0].quantity.value == pytest.approx(360 / 311, rel=0.02)
    assert (found["intake"].state, found["vent"].state) == ("excluded", "excluded")
    assert "draft_burner_box" in found["intake"].text
    assert found["breach"].state != "shown"


def test_the_baseline_of_the_job_file_stands_in():
    baseline = Baseline(**{f"draft_{tap}": value for tap, value in GOOD.items()})
    found = links(Side(taps(PLUGGED), (), baseline=baseline))
    assert found["resistance.secondary"].state == "shown"
    assert "baseline of the job file" in found["resistance.secondary"].text
    assert found["ratio.draft_collector"].state == "not measured"


def test_the_same_taps_show_nothing():
    found = links(Side(taps(GOOD), ()), Side(taps(GOOD), ()))
    assert found["resistance.secondary"].state == "excluded"
    assert found["ratio.draft_collector"].state == "cannot tell"
    assert found["flow"].state == "cannot tell"


def test_a_trend_over_attempts():
    rising = [figure("draft_collector.cold", -300.0 - 5 * n + (-1) ** n, 1.0, n, 600.0 * n) for n in range(1, 7)]
    flat = [figure("draft_collector.cold", -300.0 + 2 * (-1) ** n, 1.0, n, 600.0 * n) for n in range(1, 7)]
    shown = links(Side(rising, ()))["trend.attempts"]
    assert shown.state == "shown"
    assert shown.figures[0].quantity.value == pytest.approx(-30.0, rel=0.1)  # 5 Pa in ten minutes, an hour
    assert links(Side(flat, ()))["trend.attempts"].state == "cannot tell"
    assert links(Side(rising[:2], ()))["trend.attempts"].state == "not measured"


@pytest.mark.parametrize(("item", "link"), [("drain", "drain"), ("intake_pipe", "intake"), ("hose", "hoses")])
def test_a_test_after_which_it_failed_all_the_same_excludes_what_was_tried(item, link):
    tried = Side((), attempts(FAILED, FAILED), tests=(Tried(item, "it was opened", 110.0, 160.0),))
    found = links(tried)[link]
    assert found.state == "excluded"
    assert "it was opened" in found.text
    mended = replace(tried, attempts=attempts(FAILED, HEAT))
    assert links(mended)[link].state == "not measured"
    still_open = replace(tried, tests=(Tried(item, "it was opened", 110.0, None),))
    assert links(still_open)[link].state == "not measured"


@pytest.mark.parametrize(
    ("switch", "after_stop", "state"),
    [(274.0, 0.5, "excluded"), (274.0, 40.0, "shown"), (150.0, 0.5, "shown"), (311.0, 0.5, "cannot tell")],
)
def test_hoses_by_both_ends(switch, after_stop, state):
    """Collector -311 against burner box -37: 274 Pa at the switch; 311 is against the room, a hose off or a port so."""
    ends = [*taps(GOOD), figure("draft_switch.hot.high", switch), figure("draft_switch.after_stop", after_stop)]
    assert links(Side(ends, ()))["hoses"].state == state


@pytest.mark.parametrize(("largest", "state"), [(40.0, "shown"), (-40.0, "excluded"), (5.0, "cannot tell")])
def test_a_switch_that_stayed_open(largest, state):
    found = links(Side([figure("draft_margin.largest_at_start", largest)], attempts("draft_not_proved")))["switch"]
    assert found.state == state
    if state == "shown":
        assert "three times, with the wiring proved" in found.text


def test_a_drain_is_shown_by_a_moving_draft_and_not_excluded_by_a_still_one():
    def trend(value: float) -> Item:
        one = figure("draft_collector.trend.high", value, 0.1)
        return links(Side([replace(one, quantity=replace(one.quantity, unit="Pa/min"))], ()))["drain"]

    assert trend(-5.0).state == "shown"
    assert trend(0.1).state == "cannot tell"
    assert "prime the trap" in trend(0.1).text
