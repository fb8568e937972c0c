"""The charts of the trends as data: limits, breaks, units, number of points."""

import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.model import NANOSECONDS, Channel, Event, EventKind, Plate, Reading, Series
from analysis.points import measure_of
from analysis.thinning import longest_line, usual_spacing
from collector.store import Store
from dashboard.charts import CHARTS, LOOKS, TREND_POINTS
from dashboard.figures import View, trend_figures
from dashboard.history import moments, rise_of
from dashboard.hub import Hub
from dashboard.strip import HELD, bars
from dashboard.trends import DAY, requested_trends

INCH = 249.08891
START = 1_768_372_280.0
PLATE = Plate(
    rise=(35 / 1.8, 65 / 1.8),
    supply_max=(170 - 32) / 1.8,
    switch_close=(0.95 * INCH, 0.50 * INCH),
    switch_open=(0.85 * INCH, 0.42 * INCH),
    manifold=(3.5 * INCH, 1.7 * INCH),
    flame_current_min=1e-6,
)
VIEW = View(START, START + 300)


def series(point: str, value: Any, *, seconds: float = 300.0, rate: float = 10.0, instrument: str = "meter") -> Series:
    time = START + np.arange(round(seconds * rate)) / rate
    channel = Channel(point, instrument, measure_of(point).inside)
    return Series(channel, time, np.broadcast_to(np.asarray(value, float), time.shape).copy())


def traces(figures: dict[str, Any]) -> list[dict[str, Any]]:
    return [dict(one) for figure in figures.values() for one in figure["data"]]


def trace(figures: dict[str, Any], name: str) -> dict[str, Any]:
    (found,) = [one for one in traces(figures) if one["name"] == name]
    return found


def lines(figures: dict[str, Any], chart: str) -> dict[str, float]:
    layout = figures[chart]["layout"]
    texts = {note["text"]: note["y"] for note in layout["annotations"] if note.get("yref") == "y"}
    drawn = {shape["y0"] for shape in layout["shapes"] if shape["yref"] == "y"}
    assert set(texts.values()) == drawn
    return texts


def test_limits_are_drawn_at_their_values() -> None:
    limits = [{"point": "humidity_supply", "above": 0.6, "below": None}, {"point": "room_co", "above": 9e-6}]
    found = [series("draft_switch", 140.0), series("temp_supply", 40.0), series("humidity_supply", 0.4)]
    figures = trend_figures([*found, series("gas_manifold", 800.0), series("flame_current", 3e-6)], VIEW, PLATE, limits)
    assert list(figures) == ["draft", "gas", "flame", "temperature", "humidity"], "from top to bottom"
    assert lines(figures, "draft") == pytest.approx({"make": 0.50, "break": 0.42})
    assert lines(figures, "gas") == pytest.approx({"plate: manifold high": 3.5, "plate: manifold low": 1.7})
    assert lines(figures, "flame") == pytest.approx({"least": 1.0})
    assert lines(figures, "temperature") == pytest.approx({"plate: supply limit": 170.0})
    assert lines(figures, "humidity") == pytest.approx({"supply humidity: alarm above": 60.0})


def test_high_stage_points_are_drawn_where_that_switch_is_measured() -> None:
    found = [series("draft_switch", 140.0), series("draft_switch_high", 250.0)]
    drawn = lines(trend_figures(found, VIEW, PLATE), "draft")
    assert drawn == pytest.approx({"make": 0.50, "break": 0.42, "make, high stage": 0.95, "break, high stage": 0.85})


def test_an_alarm_at_the_plates_own_limit_is_drawn_once() -> None:
    limits = [{"point": "temp_supply", "above": PLATE.supply_max, "below": None}]
    assert list(lines(trend_figures([series("temp_supply", 40.0)], VIEW, PLATE, limits), "temperature")) == [
        "plate: supply limit"
    ]


def test_without_a_plate_nothing_is_drawn_in() -> None:
    assert trend_figures([series("draft_switch", 1.0)], VIEW)["draft"]["layout"]["shapes"] == []


def test_units_of_the_trade_and_metric() -> None:
    found = [series("draft_collector", -1.25 * INCH), series("temp_supply", 50.0), series("humidity_supply", 0.38)]
    trade, metric = trend_figures(found, VIEW, PLATE), trend_figures(found, View(START, START + 300, "metric"), PLATE)
    assert trace(trade, "collector box")["y"][0] == pytest.approx(-1.25, abs=1e-4)
    assert trace(metric, "collector box")["y"][0] == pytest.approx(-311.36, abs=0.01)
    assert trace(trade, "supply air")["y"][0] == pytest.approx(122.0)
    assert trace(metric, "supply air")["y"][0] == pytest.approx(50.0)
    assert trace(trade, "supply humidity")["y"][0] == pytest.approx(38.0)
    assert lines(metric, "draft")["make"] == pytest.approx(124.54, abs=0.01)


def test_meta_lets_the_script_go_on_in_the_same_units() -> None:
    figure = trend_figures([series("temp_return", 20.0)], VIEW, PLATE)
    for one in traces(figure):
        assert one["meta"]["key"] == "temp_return@meter"
        assert 20.0 * one["meta"]["scale"] + one["meta"]["offset"] == pytest.approx(one["y"][0], abs=1e-3)


def test_plate_window_stands_above_the_return_air() -> None:
    figure = trend_figures([series("temp_return", 20.0), series("temp_supply", 45.0)], VIEW, PLATE)
    low, high = figure["temperature"]["data"][:2]
    assert (low["y"][0], high["y"][0]) == pytest.approx((68.0 + 35.0, 68.0 + 65.0), abs=1e-3)
    assert high["fill"] == "tonexty"


def test_a_day_of_readings_is_thinned_and_keeps_its_extremes() -> None:
    values = np.sin(np.arange(864_000) / 5000) * 100
    values[500_000] = -321.0
    found = [series("draft_switch", values, seconds=86_400.0), series("temp_return", 20.0, seconds=86_400.0)]
    figure = trend_figures(found, View(START, START + 86_400, "metric"), PLATE)
    assert all(100 < len(one["x"]) <= 2000 for one in traces(figure))
    assert min(trace(figure, "at the pressure switch")["y"]) == -321.0


def test_a_gap_is_a_gap() -> None:
    whole = series("draft_switch", 100.0)
    keep = (whole.time < START + 100) | (whole.time > START + 104)
    figure = trend_figures([Series(whole.channel, whole.time[keep], whole.value[keep])], VIEW)
    one = figure["draft"]["data"][0]
    assert one["y"].count(None) == 1
    broken = one["y"].index(None)
    assert (START + 99) * 1000 < one["x"][broken] < (START + 105) * 1000
    spacings = [later - earlier for earlier, later in pairwise(one["x"])]
    drawn = [
        s for s, before, after in zip(spacings, one["y"], one["y"][1:], strict=False) if None not in (before, after)
    ]
    assert max(drawn) <= 3000.0


def test_a_slow_instrument_is_not_torn_apart() -> None:
    slow = series("temp_return", 20.0, rate=0.2)
    assert longest_line(usual_spacing(slow.time)) == pytest.approx(25.0)
    assert None not in trend_figures([slow], VIEW)["temperature"]["data"][0]["y"]
    assert longest_line(usual_spacing(slow.time[:1])) == 3.0


def test_values_that_are_missing_are_nothing_and_not_nan() -> None:
    values = np.full(3000, 100.0)
    values[1000:1500] = np.nan
    figure = trend_figures([series("draft_switch", values)], VIEW)
    assert None in figure["draft"]["data"][0]["y"]
    json.dumps(figure, allow_nan=False)


def test_figures_hold_plain_lists_with_times_in_milliseconds() -> None:
    figure = trend_figures([series("draft_switch", 100.0)], VIEW)
    one = figure["draft"]["data"][0]
    assert type(one["x"]) is list
    assert type(one["y"]) is list
    assert one["x"][0] == START * 1000
    assert figure["draft"]["layout"]["xaxis"]["type"] == "date"
    assert figure["draft"]["layout"]["xaxis"]["range"] == [START * 1000, (START + 300) * 1000]


def test_axes_hold_all_values_and_limits_and_seldom_change() -> None:
    def span(value: float) -> list[float]:
        layout = trend_figures([series("draft_collector", value * INCH)], VIEW, PLATE)["draft"]["layout"]
        return list(layout["yaxis"]["range"])

    assert span(-1.25) == [-1.5, 1.5]
    assert span(-1.30) == span(-1.25)
    assert span(-1.51) == [-2.0, 1.5]


def test_an_axis_that_has_grown_does_not_shrink_while_it_is_asked_to_be_kept() -> None:
    view = View(START, START + 300, keep={"draft": (-3.0, 1.5), "gas": (0.0, 99.0)})
    assert trend_figures([series("draft_switch", 100.0)], view)["draft"]["layout"]["yaxis"]["range"] == [-3.0, 1.5]


def test_two_instruments_at_one_point_are_told_apart() -> None:
    found = [series("temp_supply", 40.0, instrument="one"), series("temp_supply", 41.0, instrument="two")]
    assert [one["name"] for one in traces(trend_figures(found, VIEW))] == ["supply air (one)", "supply air (two)"]


def test_a_chart_without_a_channel_is_left_out_and_one_without_readings_says_so() -> None:
    assert trend_figures([], VIEW) == {}
    nothing = series("gas_inlet", 1.0, seconds=0.0)
    figures = trend_figures([series("draft_switch", 1.0), nothing], VIEW)
    assert {name: figure["layout"]["meta"]["empty"] for name, figure in figures.items()} == {
        "draft": False,
        "gas": True,
    }


def test_only_the_last_chart_has_the_time_below() -> None:
    figures = trend_figures([series("draft_switch", 1.0), series("gas_inlet", 1.0)], VIEW)
    assert [figure["layout"]["xaxis"]["showticklabels"] for figure in figures.values()] == [False, True]


def test_marks_notes_and_alarms_stand_in_every_chart_and_are_told_in_the_first() -> None:
    def moment(seconds: float, kind: EventKind) -> Event:
        return Event(round((START + seconds) * NANOSECONDS), kind, "text")

    drawn_in = [moment(100, EventKind.MARK), moment(101, EventKind.NOTE), moment(200, EventKind.ALARM)]
    found = [series("draft_switch", 1.0), series("gas_inlet", 1.0)]
    figures = trend_figures(found, VIEW, moments=drawn_in)
    for figure in figures.values():
        drawn = [(shape["x0"] / 1000 - START, shape["line"]["dash"]) for shape in figure["layout"]["shapes"]]
        assert drawn == [(100, "solid"), (101, "dot"), (200, "dash")]
    told = [[note["text"] for note in figure["layout"]["annotations"]] for figure in figures.values()]
    assert told == [["▼ mark", "▲ alarm"], []], "words that would stand over each other are left out"
    many = [moment(second, EventKind.MARK) for second in range(100)]
    assert len(trend_figures(found, VIEW, moments=many)["gas"]["layout"]["shapes"]) == 60


def test_of_alarms_only_that_they_were_raised_is_a_moment(tmp_path: Path) -> None:
    def event(seconds: float, kind: EventKind, **data: object) -> Event:
        return Event(round((START + seconds) * NANOSECONDS), kind, "text", None, data)

    with Store(tmp_path / "call.lightoff") as store:
        raised = event(2, EventKind.ALARM, to="unacknowledged")
        over = event(3, EventKind.ALARM, to="normal")
        store.append([event(1, EventKind.MARK), raised, over, event(4, EventKind.CHECK), event(99, EventKind.NOTE)])
    found = moments(tmp_path / "call.lightoff", START, START + 10)
    assert [(one.kind, one.time / NANOSECONDS - START) for one in found] == [("mark", 1), ("alarm", 2)]


def test_a_contact_has_a_bar_while_it_is_closed() -> None:
    time = START + np.array([0.0, 1, 2, 3, 4, 5, 6])
    x, y = bars(time, np.array([0.0, 1, 1, 0, np.nan, 1, 1]), -2.0)
    assert (x - START).tolist() == [1, 3, 3, 5, 6], "up to the reading that says open; the last one is still closed"
    assert y.tolist()[:2] == [-2.0, -2.0]
    assert np.isnan(y[2])
    assert y[3:].tolist() == [-2.0, -2.0]


def test_a_contact_that_was_not_read_for_long_is_not_known_meanwhile() -> None:
    time = START + np.array([0.0, 1, 2 + HELD, 3 + HELD])
    x, y = bars(time, np.array([1.0, 1, 1, 0]), 0.0)
    assert (x - START).tolist() == [0, 1, 1, 2 + HELD, 3 + HELD, 3 + HELD]
    assert np.isnan(y).tolist() == [False, False, True] * 2
    assert [part.size for part in bars(time[:0], time[:0], 0.0)] == [0, 0]
    one, _ = bars(time[:1], np.array([1.0]), 0.0)
    assert (one - START).tolist() == [0, 0]


def test_each_contact_has_a_lane_with_its_name() -> None:
    found = [series("switch_closed", 1.0), series("gas_valve", 0.0), series("limit_closed", 1.0)]
    figure = trend_figures(found, VIEW)["contacts"]
    names = [one["name"] for one in figure["data"]]
    assert names == ["limit", "switch", "gas valve"], "in the order of the sequence"
    assert figure["layout"]["yaxis"]["ticktext"] == names
    assert [len(one["x"]) for one in figure["data"]] == [2, 2, 0]
    narrow = trend_figures(found, View(START, START + 300, narrow=True))["contacts"]["layout"]
    assert [note["text"] for note in narrow["annotations"]] == names, "inside, where there is no room beside"


def test_a_lane_says_when_its_contact_was_known() -> None:
    whole = series("switch_closed", 1.0, rate=1.0)
    keep = (whole.time < START + 50) | (whole.time > START + 60 + HELD)
    (lane,) = trend_figures([Series(whole.channel, whole.time[keep], whole.value[keep])], VIEW)["contacts"]["data"]
    spans = [[end / 1000 - START for end in span] for span in lane["meta"]["known"]]
    assert spans == [[0, 49], [61 + HELD, 299]]


def test_the_rise_is_worked_out_from_what_was_recorded() -> None:
    supply, back = series("temp_supply", 50.0, rate=1.0), series("temp_return", 20.0, rate=1.0)
    late = Series(back.channel, back.time[:100], back.value[:100])
    rise = rise_of([supply, late])
    assert rise is not None
    good = rise.time[np.isfinite(rise.value)]
    assert (good[0], good[-1]) == (START, START + 99 + 60), "a return air older than a minute says nothing"
    assert set(rise.value[np.isfinite(rise.value)]) == {30.0}
    assert rise_of([supply]) is None
    typed = series("temp_return", 5.0, instrument="by hand: dial")
    both = rise_of([supply, typed, back])
    assert both is not None
    assert both.value[0] == 30.0, "measured before typed in"
    figures = trend_figures([supply, back, rise], VIEW, PLATE)
    (box,) = [shape for shape in figures["rise"]["layout"]["shapes"] if shape["type"] == "rect"]
    assert (box["y0"], box["y1"]) == pytest.approx((35.0, 65.0))
    assert figures["rise"]["data"][0]["meta"]["key"] == "temp_rise", "what comes live has no instrument"
    assert figures["rise"]["data"][0]["y"][0] == pytest.approx(54.0)


def test_two_instruments_at_one_point_have_different_dashes() -> None:
    found = [series("draft_switch", 140.0, instrument=name) for name in ("one", "two", "three")]
    drawn = traces(trend_figures([*found, series("draft_collector", -300.0)], VIEW))
    looks = [(one["line"]["color"], one["line"]["dash"]) for one in drawn]
    assert len(set(looks)) == 4


def test_readings_far_apart_have_a_dot_each() -> None:
    typed = series("temp_return", 20.0, seconds=60.0, rate=0.1)
    single = Series(typed.channel, typed.time[:1], typed.value[:1])
    modes = [traces(trend_figures([one], VIEW))[0]["mode"] for one in (typed, single, series("temp_return", 20.0))]
    assert modes == ["lines+markers", "lines+markers", "lines"]


def test_times_that_count_from_the_start_are_moved_as_the_browser_asks(tmp_path: Path) -> None:
    path = tmp_path / "from_zero.lightoff"
    channel = Channel("draft_switch", "meter", "inH2O")
    with Store(path) as store:
        store.append([channel, *(Reading(channel.key, second * NANOSECONDS, 0.5) for second in range(61))])
    answer = requested_trends({"window": 300, "shift": 7 * 3_600_000}, Hub(path))
    figure = answer["figures"]["draft"]
    moved = DAY * 1000 + 7 * 3_600_000
    assert figure["data"][0]["x"][:2] == [moved, moved + 1000]
    assert figure["layout"]["xaxis"]["range"] == [moved, moved + 60_000], "nothing is before the start"
    assert (answer["counted"], answer["shift"], answer["asked"]) == (True, moved, 7 * 3_600_000)
    assert requested_trends({"window": 300, "shift": 1e12}, Hub(path))["shift"] == DAY * 1000


def test_times_of_the_calendar_are_not_moved(recording: Path) -> None:
    answer = requested_trends({"window": 60, "shift": 7 * 3_600_000}, Hub(recording))
    assert answer["figures"]["draft"]["data"][0]["x"][-1] == pytest.approx((START + 599.9) * 1000, abs=1)
    assert (answer["counted"], answer["shift"]) == (False, 0)


def test_every_trend_point_has_a_look_of_its_own() -> None:
    charts = [chart for chart in CHARTS if not chart.strip]
    assert set(LOOKS) == {point for chart in charts for point in chart.points} < TREND_POINTS
    for chart in charts:
        looks = [LOOKS[point] for point in chart.points]
        assert len(set(looks)) == len(looks)
        assert len({measure_of(point).name for point in chart.points}) == 1


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "call.lightoff"
    switch, room = Channel("draft_switch", "meter", "inH2O"), Channel("room_co", "badge", "ppm")
    begin = round(START * NANOSECONDS)
    with Store(path) as store:
        store.append([switch, room])
        store.append([Reading(switch.key, begin + number * 100_000_000, 0.5) for number in range(6000)])
    return path


def test_a_request_is_answered_from_the_recording(recording: Path) -> None:
    figure = requested_trends({"window": 60, "units": "trade", "width": 1200}, Hub(recording))["figures"]["draft"]
    (one,) = figure["data"]
    assert one["y"][0] == pytest.approx(0.5)
    last = START + 599.9
    assert figure["layout"]["xaxis"]["range"] == pytest.approx([(last - 60) * 1000, last * 1000], abs=1)
    assert one["x"][0] >= (last - 60) * 1000 - 1


def test_everything_or_a_part_may_be_asked_for(recording: Path) -> None:
    everything = requested_trends({"window": 0}, Hub(recording))["figures"]["draft"]
    assert everything["layout"]["xaxis"]["range"] == pytest.approx([START * 1000, (START + 599.9) * 1000], abs=1)
    wanted = [(START + 10) * 1000, (START + 20) * 1000]
    part = requested_trends({"window": 60, "start": wanted[0], "end": wanted[1]}, Hub(recording))["figures"]["draft"]
    assert part["layout"]["xaxis"]["range"] == wanted
    assert len(part["data"][0]["x"]) == 101


def test_a_replay_does_not_show_its_own_future(recording: Path) -> None:
    hub = Hub(recording)
    position = round((START + 100) * NANOSECONDS)
    hub.publish({"type": "readings", "readings": [["draft_switch@meter", position, 124.5, 0]]})
    figure = requested_trends({"window": 60}, hub)["figures"]["draft"]
    assert figure["data"][0]["x"][-1] == pytest.approx((START + 100) * 1000, abs=1)


def test_an_empty_or_missing_recording_is_told_in_words(tmp_path: Path) -> None:
    empty = tmp_path / "empty.lightoff"
    with Store(empty) as store:
        store.append([Channel("draft_switch", "meter", "inH2O")])
    answer = requested_trends({"window": 300}, Hub(empty))
    assert answer == {"message": "no readings yet", "figures": {}}, "no axis of 1969"
    missing = requested_trends({"window": 0}, Hub(tmp_path / "missing.lightoff"))
    assert "missing.lightoff" in missing["message"]
    assert missing["figures"] == {}


@pytest.mark.parametrize(
    "request_",
    [
        {},
        {"window": "x"},
        {"window": math.inf},
        {"start": 5, "end": 1},
        {"width": None, "units": 3, "window": -1},
        {"keep": 3},
        {"keep": {"draft": [9, -9], "gas": "x", "rise": [None, 1], 5: [0, 1], "flame": [0, 1]}},
        {"keep": {"draft": [0, 1e300]}},
    ],
)
def test_odd_requests_get_a_figure(recording: Path, request_: dict[str, Any]) -> None:
    figure = requested_trends(request_, Hub(recording))["figures"]["draft"]
    assert figure["data"]
    assert figure["layout"]["yaxis"]["range"] == [-1.5, 1.5]
