"""Papers and meters as a job file: nothing to correct in it, and read again it says the same within its digits."""

import random
import re
from dataclasses import fields
from typing import TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import Baseline, Channel, Plate, Timing
from collector import job
from collector.instruments import build
from collector.papers import papers_of
from drivers.simulate.job_text import job_text
from drivers.simulate.papers import Papers
from tests.collector.job_texts import FULL

INCH = 0.0254 * 1000 * 9.80665  # one inch of water at 4 degC, by length, density and standard gravity [Pa]
BTU_PER_HOUR = 1055.056 / 3600  # the Btu of ISO 31-4 [W]

HALF = {
    "altitude": 0.5 * 0.3048,  # half a foot [m]
    "pressure": 0.005 * INCH,
    "input": 50 * BTU_PER_HOUR,
    "difference": 0.5 * 5 / 9,
    "current": 0.005e-6,
    "share": 0.0005,
    "time": 0.0005,
}
"""Half of the last digit written."""


Value = TypeVar("Value")


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


@st.composite
def stages(draw: st.DrawFn, low: float, high: float) -> tuple[float, ...]:
    """Per stage, high first."""
    return tuple(sorted(draw(st.lists(between(low, high), min_size=1, max_size=2)), reverse=True))


@st.composite
def papers(draw: st.DrawFn) -> Papers:
    """Any papers that a real unit may have."""

    def known(strategy: st.SearchStrategy[Value]) -> Value | None:
        return draw(st.none() | strategy)

    closing = draw(stages(0.05 * INCH, 3 * INCH))
    opening = [point * draw(between(0.3, 0.95)) for point in closing]
    opening = sorted(opening, reverse=True)
    bottom = draw(between(3.0, 25.0))
    inlet = draw(between(3.0, 9.0)) * INCH
    plate = Plate(
        fuel=known(st.sampled_from(["natural gas", "propane"])),
        condensing=known(st.booleans()),
        input=draw(stages(5_000.0, 60_000.0)),
        efficiency=known(between(0.7, 0.99)),
        rise=known(st.just((bottom, bottom + draw(between(0.3, 40.0))))),
        static_max=known(between(0.1 * INCH, 1.5 * INCH)),
        supply_max=known(between(50.0, 100.0)),
        manifold=draw(stages(0.5 * INCH, 12 * INCH)),
        gas_inlet=known(st.just((inlet, inlet + draw(between(0.02, 8.0)) * INCH))),
        switch_close=closing,
        switch_open=tuple(opening),
        flame_current_min=known(between(0.2e-6, 5e-6)),
        switch_label=draw(st.sampled_from(["make", "break", "unknown"])),
        manifold_reference=draw(st.sampled_from(["room", "burner_box"])),
        pipes=known(st.integers(1, 2)),
    )
    return Papers(
        name=draw(st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40).filter(str.strip)),
        altitude=draw(between(-100.0, 4000.0)),
        plate=plate,
        baseline=Baseline(*(known(between(-3 * INCH, 2 * INCH)) for _ in fields(Baseline))),
        timing=draw(st.builds(Timing, *[between(1.0, 200.0)] * 6, st.integers(1, 10))),
        capacity_47=known(between(2_000.0, 30_000.0)),
        capacity_17=known(between(1_000.0, 20_000.0)),
        compressor_lockout=known(between(-30.0, 20.0)),
        auxiliary_lockout=known(between(-30.0, 20.0)),
        humidifier_setting=known(between(0.1, 0.6)),
    )


def near(value: object, half: float) -> object:
    """The same, within half a digit (and what floats leave)."""
    if value is None or isinstance(value, str | bool):
        return value
    return pytest.approx(value, abs=half * (1 + 1e-6), rel=0)


PLATE = {
    "input": "input",
    "efficiency": "share",
    "rise": "difference",
    "static_max": "pressure",
    "supply_max": "difference",
    "manifold": "pressure",
    "gas_inlet": "pressure",
    "switch_close": "pressure",
    "switch_open": "pressure",
    "flame_current_min": "current",
}


@settings(max_examples=150, deadline=None)
@given(papers())
def test_what_is_written_has_no_mistake_and_reads_back_within_its_digits(wanted: Papers) -> None:
    text = job_text(wanted, seed=3)
    assert job.check(text) == []
    found = papers_of(job.parse(text))
    assert found.name == wanted.name.strip()
    assert found.altitude == near(wanted.altitude, HALF["altitude"])
    for field in fields(Plate):
        half = HALF.get(PLATE.get(field.name, ""), 0.0)
        assert getattr(found.plate, field.name) == near(getattr(wanted.plate, field.name), half), field.name
    for field in fields(Baseline):
        tap = getattr(wanted.baseline, field.name)
        assert getattr(found.baseline, field.name) == near(tap, HALF["pressure"]), field.name
    for field in fields(Timing):
        assert getattr(found.timing, field.name) == near(getattr(wanted.timing, field.name), HALF["time"]), field.name
    assert found.capacity_47 == near(wanted.capacity_47, HALF["input"])
    assert found.capacity_17 == near(wanted.capacity_17, HALF["input"])
    assert found.compressor_lockout == near(wanted.compressor_lockout, HALF["difference"])
    assert found.auxiliary_lockout == near(wanted.auxiliary_lockout, HALF["difference"])
    assert found.humidifier_setting == near(wanted.humidifier_setting, HALF["share"])


def test_the_figures_are_those_that_the_trade_writes() -> None:
    """Inches of water with two digits, whole degrees and feet; a difference of temperature has no offset."""
    text = job_text(papers_of(job.parse(FULL)), seed=3)
    for line in (
        'altitude = "2600 ft"',
        'input = ["80 kBtu/hr", "56 kBtu/hr"]',
        'rise = ["35 degF", "65 degF"]',
        'supply_max = "170 degF"',
        'manifold = ["3.50 inH2O", "1.70 inH2O"]',
        'switch_open = ["0.85 inH2O", "0.42 inH2O"]',
        'flame_current_min = "1.00 uA"',
        'draft_collector = "-1.25 inH2O"',
        "igniter_warmup = 18.5",
        'compressor_lockout = "22 degF"',
        "setting = 0.38",
    ):
        assert f"\n{line}\n" in text, line


def test_closing_and_opening_points_close_to_each_other_stay_apart() -> None:
    closing, opening = 0.5031 * INCH, 0.5019 * INCH
    text = job_text(Papers(plate=Plate(switch_close=(closing,), switch_open=(opening,))), seed=1)
    assert job.check(text) == []
    plate = job.parse(text).plate
    assert plate.switch_open < plate.switch_close
    assert plate.switch_close == pytest.approx((closing,), abs=0.0005 * INCH)


def test_it_says_that_it_is_simulated_and_invented_and_from_which_seed() -> None:
    head = " ".join(job_text(Papers(), seed=20_260_114).split("\n\n", maxsplit=1)[0].replace("#", "").split())
    assert "simulated unit, seed 20260114" in head
    assert "every figure are invented" in head
    assert "licensed person" in head


def channels() -> list[Channel]:
    draft = [
        Channel(f"draft_{tap}", "simulated: draft meter", "inH2O", accuracy="0.5 % + 0.01 inH2O", response_time=0.2)
        for tap in ("burner_box", "collector")
    ]
    air = [
        Channel("temp_supply", "simulated: duct meter", "degF", accuracy="1 degF", response_time=5.0),
        Channel("humidity_supply", "simulated: duct meter", "%", accuracy="3 %", response_time=8.0),
    ]
    return [*draft, *air, Channel("switch_closed", 'simulated: logger "B"', "1")]


def test_meters_stand_in_it_by_instrument_and_nothing_has_to_be_connected() -> None:
    parsed = job.parse(job_text(Papers(), channels(), seed=1))
    draft, duct, logger = parsed.instruments
    assert (draft.name, draft.accuracy, draft.response_time) == ("draft meter", "0.5 % + 0.01 inH2O", 0.2)
    assert draft.channels == {"draft_burner_box": "draft_burner_box", "draft_collector": "draft_collector"}
    assert draft.units == {"draft_burner_box": "inH2O", "draft_collector": "inH2O"}
    assert (duct.accuracy, duct.response_time) == (None, None), "one statement cannot say two accuracies"
    assert (logger.name, logger.channels) == ('logger "B"', {"switch_closed": "switch_closed"})
    assert build(parsed.instruments, now=lambda: 0) == []


def test_any_name_is_written_so_that_it_reads_back() -> None:
    rng = random.Random(5)
    signs = "\"\\'\t\x07\x7f#[]={}\u2028é一"
    for _ in range(200):
        name = "x" + "".join(rng.choice(signs) for _ in range(8)) + "x"
        assert papers_of(job.parse(job_text(Papers(name=name), seed=1))).name == name
    assert not re.search(r"[\x00-\x08\x7f]", job_text(Papers(name="a\x07\x7fb"), seed=1))
