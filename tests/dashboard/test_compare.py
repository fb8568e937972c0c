"""Two recordings on one axis: aligned, moved, thinned, and told apart without a colour."""

import json
import math
from pathlib import Path
from typing import Any

import pytest

from analysis.model import Channel, EventKind
from analysis.points import POINTS
from dashboard.compare import closes_at, compared
from dashboard.compare_look import COLOURS, GROUPS, MARKS, clock, times
from dashboard.recorded import Wanted
from drivers.base import InputError
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, SWITCH, VALVE, event, ramp, recorded

INCH = 249.08891
LATER = 1_800_000_000 * SECOND
METRIC = Wanted(units="metric")


def contact(channel: Channel, *values: tuple[float, float]) -> list[tuple[Channel, float, float]]:
    return [(channel, time, value) for time, value in values]


def lines(found: dict[str, Any], letter: str) -> dict[str, Any]:
    """Lines of a side by the names of their meters."""
    traces = [trace for one in found["figures"] for trace in one["figure"]["data"] if trace["mode"] == "lines"]
    return {trace["name"].partition(": ")[2]: trace for trace in traces if trace["name"].startswith(f"{letter} (")}


@pytest.fixture
def two(tmp_path: Path) -> tuple[Path, Path]:
    """Gas comes at 20 s in A and at 50 s in B, the switch closes at 10 s and at 45 s."""
    a = recorded(
        tmp_path / "a.lightoff",
        [
            *ramp(DRAFT, 100),
            *contact(VALVE, (0, 0), (20, 1), (90, 0)),
            *contact(SWITCH, (0, 0), (10, 1)),
        ],
    )
    b = recorded(
        tmp_path / "b.lightoff",
        [*ramp(DRAFT, 200), *contact(VALVE, (0, 1), (1, 1), (30, 0), (50, 1)), *contact(SWITCH, (0, 0), (45, 1))],
        start=LATER,
    )
    return a, b


def test_both_begin_at_nought(two: tuple[Path, Path]):
    found = compared(*two, METRIC)
    assert found["moved"] == 0.0
    assert found["span"] == [0.0, 200_000.0]
    for letter, last in (("A", 100.0), ("B", 200.0)):
        line = lines(found, letter)["at the pressure switch"]
        assert (line["x"][0], line["x"][-1]) == (0.0, last)
        assert line["y"][10] == pytest.approx(10 * INCH, abs=1e-3)


def test_solid_and_dashed_and_said_in_words(two: tuple[Path, Path]):
    found = compared(*two, METRIC)
    a, b = lines(found, "A")["at the pressure switch"], lines(found, "B")["at the pressure switch"]
    assert (a["name"], a["line"]["dash"]) == ("A (solid): at the pressure switch", "solid")
    assert (b["name"], b["line"]["dash"]) == ("B (dash): at the pressure switch", "dash")
    symbols = [
        trace["marker"]["symbol"] for trace in found["figures"][0]["figure"]["data"] if trace["mode"] == "markers"
    ]
    assert symbols == ["circle", "circle-open"]


@pytest.mark.parametrize(("align", "by", "moved"), [("start", 12.5, 12.5), ("gas", 0.0, -30.0), ("gas", -1.0, -31.0)])
def test_b_is_aligned_and_moved(two: tuple[Path, Path], align: str, by: float, moved: float):
    """A valve that is open at the beginning is not seen opening: it is the first time that it goes from off to on."""
    found = compared(*two, METRIC, align=align, by=by)
    assert found["moved"] == moved
    assert lines(found, "B")["at the pressure switch"]["x"][0] == moved
    assert lines(found, "A")["at the pressure switch"]["x"][0] == 0.0
    assert found["span"] == [min(0.0, moved) * 1000, (200.0 + moved) * 1000]


def test_without_a_gas_valve_in_both_the_switch_aligns(two: tuple[Path, Path], tmp_path: Path):
    without = recorded(tmp_path / "c.lightoff", [*ramp(DRAFT, 100), *contact(SWITCH, (0, 0), (25, 1))])
    found = compared(two[0], without, METRIC, align="gas")
    assert found["moved"] == -15.0
    assert "pressure switch closed" in found["text"]


def test_without_either_it_says_so(two: tuple[Path, Path], tmp_path: Path):
    without = recorded(tmp_path / "c.lightoff", [*ramp(DRAFT, 100), *contact(SWITCH, (0, 1), (25, 0))])
    with pytest.raises(InputError, match="neither the gas valve nor the pressure switch"):
        compared(two[0], without, METRIC, align="gas")
    assert closes_at(without, "switch_closed") is None


def test_a_span_is_read_from_both(two: tuple[Path, Path]):
    found = compared(*two, Wanted(start=20.0, end=40.0), by=10.0)
    assert found["shown"] == [20_000.0, 40_000.0]
    for letter in "AB":
        line = lines(found, letter)["at the pressure switch"]
        assert (line["x"][0], line["x"][-1]) == (20.0, 40.0)
    assert lines(found, "B")["at the pressure switch"]["y"][0] == pytest.approx(10.0), "10 s after its own start"


def test_a_long_one_is_thinned_and_its_extremes_stay(tmp_path: Path):
    rows = [(DRAFT, place / 10, math.sin(place / 50)) for place in range(20_000)]
    rows[7777] = (DRAFT, 777.7, 9.0)
    a = recorded(tmp_path / "a.lightoff", rows)
    found = compared(a, a, Wanted())
    for letter in "AB":
        line = lines(found, letter)["at the pressure switch"]
        assert 1000 < len(line["x"]) <= 2000
        assert max(value for value in line["y"] if value is not None) == 9.0


def test_a_gap_breaks_a_line_but_not_that_of_a_contact(tmp_path: Path):
    rows = [(DRAFT, second, 1.0) for second in [*range(20), *range(60, 80)]]
    a = recorded(tmp_path / "a.lightoff", [*rows, *contact(SWITCH, (0, 0), (1, 1), (2, 0), (70, 1))])
    found = lines(compared(a, a, Wanted()), "A")
    assert None in found["at the pressure switch"]["y"]
    assert None not in found["pressure switch closed"]["y"]


def test_a_zeroing_counts_on_each_side(tmp_path: Path):
    a = recorded(tmp_path / "a.lightoff", ramp(DRAFT, 10))
    zero = event(EventKind.ZEROED, -1, "zeroed", channel=DRAFT.key, offset=2.0)
    b = recorded(tmp_path / "b.lightoff", ramp(DRAFT, 10), zero)
    found = compared(a, b, Wanted())
    assert lines(found, "A")["at the pressure switch"]["y"][5] == pytest.approx(5.0)
    assert lines(found, "B")["at the pressure switch"]["y"][5] == pytest.approx(3.0)


def test_markup_in_a_name_stays_text(tmp_path: Path):
    second = Channel("draft_switch", "<a href='x'>meter</a>", "inH2O")
    a = recorded(tmp_path / "a.lightoff", [*ramp(DRAFT, 10), *ramp(second, 10)])
    found = compared(a, a, Wanted())
    assert "<a" not in json.dumps([one["figure"] for one in found["figures"]])
    assert len(lines(found, "A")) == 2


def test_every_point_is_in_one_group_and_a_group_is_of_one_measure():
    assert sorted(point for group in GROUPS for point in group.points) == sorted(POINTS)
    for group in GROUPS:
        assert len({POINTS[point].measure for point in group.points}) == 1, group.title
        if POINTS[group.points[0]].measure != "contact":
            assert len(group.points) <= len(MARKS) == len(COLOURS), "each has a mark of its own"


def test_contacts_have_a_lane_each(two: tuple[Path, Path]):
    (contacts,) = [one for one in compared(*two, METRIC)["figures"] if one["title"].startswith("contacts")]
    axis = contacts["figure"]["layout"]["yaxis"]
    assert axis["ticktext"] == ["gas valve", "switch"], "from the bottom up: the sequence reads downwards"
    by_name = {trace["name"]: trace for trace in contacts["figure"]["data"]}
    assert set(by_name["A (solid): pressure switch closed"]["y"]) == {1.0, 1.7}
    assert set(by_name["A (solid): gas valve energised"]["y"]) == {0.0, 0.7}


def test_a_group_that_only_one_has_is_shown_too(two: tuple[Path, Path], tmp_path: Path):
    other = recorded(tmp_path / "c.lightoff", ramp(SUPPLY, 10))
    titles = [one["title"] for one in compared(two[0], other, Wanted())["figures"]]
    assert titles == ["draft (suction below 0)", "contacts (up: closed or on)", "air temperature"]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0:00"), (65, "1:05"), (3665, "1:01:05"), (-10, "−0:10"), (-0.2, "0:00")],  # noqa: RUF001
)
def test_times_from_the_start_as_they_are_read(seconds: float, text: str):
    assert clock(seconds) == text


@pytest.mark.parametrize(("start", "end"), [(0, 1), (-35, 1287.3), (100, 100.5), (0, 86_400), (0, 4e7)])
def test_the_axis_has_some_round_times(start: float, end: float):
    ticks, texts = times(start, end, 9)
    assert len(ticks) == len(texts) <= 10
    assert all(start <= tick <= end for tick in ticks)


def test_round_times():
    assert times(-35.0, 1287.0, 9)[0] == [0.0, 300.0, 600.0, 900.0, 1200.0]
