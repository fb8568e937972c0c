"""One recording looked at: what every meter showed at a moment, and the span of its figure."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Channel, EventKind, Quality, Reading
from collector.outline import Outline
from collector.rows import Many, Rows
from collector.store import Store
from dashboard.figures import POINTS_A_TRACE
from dashboard.history import read
from dashboard.recorded import Wanted, recorded_figure, shown_span, usable, values_at
from drivers.base import InputError
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, SWITCH, T0, event, ramp, recorded

INCH = 249.08891
RETURN = Channel("temp_return", "duct thermometer", "degF")
START = T0 / SECOND


def values(path: Path, seconds: float, start: float = START) -> dict[str, float | None]:
    return {row["point"]: row["value"] for row in values_at(path, start + seconds)["values"]}


def test_the_last_good_value_within_30_s_in_the_inside_unit(tmp_path: Path):
    path = recorded(
        tmp_path / "call.lightoff",
        [(DRAFT, 0.0, 0.50), (DRAFT, 10.0, 0.60), (SUPPLY, 0.0, 32.0), (SWITCH, 39.0, 1.0)],
    )
    assert values(path, 10.0) == pytest.approx({"draft_switch": 0.60 * INCH, "temp_supply": 0.0, "switch_closed": None})
    assert values(path, 9.99)["draft_switch"] == pytest.approx(0.50 * INCH), "nothing of later"
    assert values(path, 30.0)["temp_supply"] == pytest.approx(0.0)
    assert values(path, 30.01)["temp_supply"] is None, "too old"
    assert values(path, 40.0) == pytest.approx({"draft_switch": 0.60 * INCH, "temp_supply": None, "switch_closed": 1.0})
    assert values(path, -5.0) == {"draft_switch": None, "temp_supply": None, "switch_closed": None}


def test_a_bad_value_is_passed_over_and_a_zeroing_counts(tmp_path: Path):
    path = tmp_path / "call.lightoff"
    with Store(path) as store:
        store.append([
            DRAFT,
            Reading(DRAFT.key, T0, 0.5),
            Reading(DRAFT.key, T0 + SECOND, math.nan, Quality.BAD),
            event(EventKind.ZEROED, -1, "zeroed", channel=DRAFT.key, offset=0.1),
        ])  # fmt: skip
    assert values(path, 1.0) == pytest.approx({"draft_switch": 0.4 * INCH})


def test_two_meters_on_a_point_and_a_unit_that_is_none(tmp_path: Path):
    other = Channel("draft_switch", "another meter", "inH2O")
    odd = Channel("temp_supply", "odd meter", "parsec")
    path = recorded(tmp_path / "call.lightoff", [(SWITCH, 0, 1.0), (DRAFT, 0, 0.5), (other, 0, 0.6), (odd, 0, 1.0)])
    told = values_at(path, START)
    assert told["at"] == T0 / 1e6
    assert [(row["point"], row["instrument"]) for row in told["values"]] == [
        ("draft_switch", "another meter"),
        ("draft_switch", "draft meter"),
        ("switch_closed", "contact logger"),
    ]


def test_a_figure_shows_all_of_it_or_the_span_asked_for(tmp_path: Path):
    job = event(EventKind.JOB, 0, "job", text='[furnace]\nswitch_close = ["0.50 inH2O"]\n', name="a.toml")
    path = recorded(tmp_path / "call.lightoff", ramp(DRAFT, 600), job)
    whole = recorded_figure(path, Wanted())
    assert whole["span"] == [START * 1000, (START + 600) * 1000] == whole["shown"]
    assert "make" in json.dumps(whole["figures"]), "the plate of the job inside is drawn in"
    part = recorded_figure(path, Wanted(units="metric", start=START + 60, end=START + 70))
    assert part["shown"] == [(START + 60) * 1000, (START + 70) * 1000]
    (line,) = [trace for trace in part["figures"][0]["figure"]["data"] if trace["name"]]
    assert len(line["x"]) == 11
    assert line["y"][0] == pytest.approx(60 * INCH)
    assert part["counted"] is False


def test_times_from_the_start_are_text_that_belongs_to_no_zone(tmp_path: Path):
    """As numbers they would be local time, and those below 10,000 ms would be taken for years."""
    path = recorded(tmp_path / "call.lightoff", ramp(DRAFT, 60), start=0)
    found = recorded_figure(path, Wanted(start=1.0, end=9.5))
    assert (found["counted"], found["span"], found["shown"]) == (True, [0.0, 60_000.0], [1000.0, 9500.0])
    figure = found["figures"][0]["figure"]
    (line,) = [trace for trace in figure["data"] if trace["name"]]
    assert line["x"][:2] == ["1970-01-01 00:00:01.000000", "1970-01-01 00:00:02.000000"]
    assert figure["layout"]["xaxis"]["range"] == ["1970-01-01 00:00:01.000000", "1970-01-01 00:00:09.500000"]


def test_a_job_that_is_not_understood_any_more_takes_nothing_away(tmp_path: Path):
    job = event(EventKind.JOB, 0, "job", text="[furnace]\nno_such_key = 3\n", name="a.toml")
    assert recorded_figure(recorded(tmp_path / "call.lightoff", ramp(DRAFT, 60), job), Wanted())["figures"]


def test_a_recording_without_readings_says_so(tmp_path: Path):
    with pytest.raises(InputError, match=r"call.lightoff has no readings"):
        recorded_figure(recorded(tmp_path / "call.lightoff", []), Wanted())


@pytest.mark.parametrize(
    ("start", "end", "shown"),
    [
        (None, None, (100.0, 200.0)),
        (120.0, 150.0, (120.0, 150.0)),
        (0.0, 150.0, (100.0, 150.0)),
        (150.0, 900.0, (150.0, 200.0)),
        (150.0, 120.0, (100.0, 200.0)),
        (300.0, 400.0, (100.0, 200.0)),
        (150.0, 150.2, (149.6, 150.6)),
        (100.0, 100.2, (100.0, 101.0)),
    ],
)
def test_the_span_shown_lies_within_the_whole(start: float | None, end: float | None, shown: tuple[float, float]):
    assert shown_span(Wanted(start=start, end=end), 100.0, 200.0) == pytest.approx(shown)


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf, 11.0, None])
def test_a_number_that_cannot_be_meant_is_none(number: float | None):
    assert usable(number, 5.0, 10.0) == 5.0
    assert usable(-10.0, 5.0, 10.0) == -10.0


def long_call(path: Path) -> Path:
    """Six hours of 10 Hz: a spike of one reading, a gap of 200 s, a zeroing in the middle, and both temperatures."""
    count = 6 * 36_000
    time = T0 + np.arange(count, dtype=np.int64) * (SECOND // 10)
    draft = np.full(count, 0.5)
    draft[50_001] = 3.0
    stays = np.flatnonzero((np.arange(count) < 100_000) | (np.arange(count) > 102_000))
    columns = {DRAFT: draft, SUPPLY: np.full(count, 122.0), RETURN: np.full(count, 68.0)}
    zero = event(EventKind.ZEROED, 15_000, "zeroed", channel=DRAFT.key, offset=0.25)
    with Store(path) as store:
        store.append([*columns, zero])
        for channel, value in columns.items():
            rows = Rows(time, value, np.zeros(count, np.int8)).at(stays)
            store.append([Many(channel.key, rows)])
    return path


def test_a_long_recording_is_drawn_from_its_overview_with_spike_gap_and_zeroing(tmp_path: Path):
    path = long_call(tmp_path / "call.lightoff")
    drawn = recorded_figure(path, Wanted(units="metric"))["figures"]
    traces = {trace["meta"]["point"]: trace for one in drawn for trace in one["figure"]["data"] if trace.get("name")}
    trace = traces["draft_switch"]
    x, y = np.array(trace["x"]) / 1000 - START, np.array([math.nan if one is None else one for one in trace["y"]])
    assert 500 < x.size <= POINTS_A_TRACE
    assert trace["mode"] == "lines", "dense readings have no dots, however few are drawn"
    assert np.nanmax(y) == pytest.approx(3.0 * INCH, rel=1e-4)
    assert abs(x[np.nanargmax(y)] - 5000.1) < 20
    (gap,) = np.flatnonzero(np.isnan(y))
    assert x[gap - 1] == pytest.approx(9999.9, abs=0.001)
    assert x[gap + 1] == pytest.approx(10_200.1, abs=0.001)
    before, after = y[(x < 14_999) & (y < 200)], y[(x > 15_001)]
    assert before == pytest.approx(0.5 * INCH, rel=1e-4)
    assert after == pytest.approx(0.25 * INCH, rel=1e-4)
    rise = np.array([math.nan if one is None else one for one in traces["temp_rise"]["y"]])
    assert rise[np.isfinite(rise)] == pytest.approx(30.0)
    assert np.count_nonzero(np.isnan(rise)) == 1


def test_what_is_looked_at_closely_is_drawn_from_the_readings(tmp_path: Path):
    path = long_call(tmp_path / "call.lightoff")
    (draft, *_) = read(path, {"draft_switch"}, START + 4990, START + 5010, POINTS_A_TRACE)
    assert not isinstance(draft, Outline)
    assert draft.time.size == 201
    (whole,) = read(path, {"draft_switch"}, None, None)
    assert whole.time.size == 6 * 36_000 - 2001, "what computes gets every reading"
