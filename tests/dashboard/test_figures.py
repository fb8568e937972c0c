"""The trend figure as data: limits, breaks, units, number of points."""

import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.model import NANOSECONDS, Channel, Plate, Reading, Series
from analysis.points import measure_of
from collector.store import Store
from dashboard.figures import CHARTS, LOOKS, TREND_POINTS, View, longest_line, message_figure, trend_figure
from dashboard.hub import Hub
from dashboard.live import requested_figure

INCH = 249.08891
START = 1_768_372_280.0
PLATE = Plate(
    rise=(35 / 1.8, 65 / 1.8),
    supply_max=(170 - 32) / 1.8,
    switch_close=(0.95 * INCH, 0.50 * INCH),
    switch_open=(0.85 * INCH, 0.42 * INCH),
)
VIEW = View(START, START + 300)


def series(point: str, value: Any, *, seconds: float = 300.0, rate: float = 10.0, instrument: str = "meter") -> Series:
    time = START + np.arange(round(seconds * rate)) / rate
    channel = Channel(point, instrument, measure_of(point).inside)
    return Series(channel, time, np.broadcast_to(np.asarray(value, float), time.shape).copy())


def trace(figure: dict[str, Any], name: str) -> dict[str, Any]:
    (found,) = [dict(one) for one in figure["data"] if one["name"] == name]
    return found


def lines(figure: dict[str, Any], axis: str) -> dict[str, float]:
    texts = {note["text"]: note["y"] for note in figure["layout"]["annotations"] if note.get("yref") == axis}
    drawn = {shape["y0"] for shape in figure["layout"]["shapes"] if shape["yref"] == axis}
    assert set(texts.values()) == drawn
    return texts


def test_limits_are_drawn_at_their_values() -> None:
    limits = [{"point": "humidity_supply", "above": 0.6, "below": None}, {"point": "room_co", "above": 9e-6}]
    figure = trend_figure([series("draft_switch", 140.0)], VIEW, PLATE, limits)
    assert lines(figure, "y") == pytest.approx({"make": 0.50, "break": 0.42})
    assert lines(figure, "y2") == pytest.approx({"plate: supply limit": 170.0})
    assert lines(figure, "y3") == pytest.approx({"supply humidity: alarm above": 60.0})


def test_high_stage_points_are_drawn_where_that_switch_is_measured() -> None:
    found = [series("draft_switch", 140.0), series("draft_switch_high", 250.0)]
    drawn = lines(trend_figure(found, VIEW, PLATE), "y")
    assert drawn == pytest.approx({"make": 0.50, "break": 0.42, "make, high stage": 0.95, "break, high stage": 0.85})


def test_an_alarm_at_the_plates_own_limit_is_drawn_once() -> None:
    limits = [{"point": "temp_supply", "above": PLATE.supply_max, "below": None}]
    assert list(lines(trend_figure([], VIEW, PLATE, limits), "y2")) == ["plate: supply limit"]


def test_without_a_plate_nothing_is_drawn_in() -> None:
    assert trend_figure([series("draft_switch", 1.0)], VIEW)["layout"]["shapes"] == []


def test_units_of_the_trade_and_metric() -> None:
    found = [series("draft_collector", -1.25 * INCH), series("temp_supply", 50.0), series("humidity_supply", 0.38)]
    trade, metric = trend_figure(found, VIEW, PLATE), trend_figure(found, View(START, START + 300, "metric"), PLATE)
    assert trace(trade, "collector box")["y"][0] == pytest.approx(-1.25, abs=1e-4)
    assert trace(metric, "collector box")["y"][0] == pytest.approx(-311.36, abs=0.01)
    assert trace(trade, "supply air")["y"][0] == pytest.approx(122.0)
    assert trace(metric, "supply air")["y"][0] == pytest.approx(50.0)
    assert trace(trade, "supply humidity")["y"][0] == pytest.approx(38.0)
    assert lines(metric, "y")["make"] == pytest.approx(124.54, abs=0.01)


def test_meta_lets_the_script_go_on_in_the_same_units() -> None:
    figure = trend_figure([series("temp_return", 20.0)], VIEW, PLATE)
    for one in figure["data"]:
        assert one["meta"]["key"] == "temp_return@meter"
        assert 20.0 * one["meta"]["scale"] + one["meta"]["offset"] == pytest.approx(one["y"][0], abs=1e-3)


def test_plate_window_stands_above_the_return_air() -> None:
    figure = trend_figure([series("temp_return", 20.0), series("temp_supply", 45.0)], VIEW, PLATE)
    low, high = figure["data"][:2]
    assert (low["y"][0], high["y"][0]) == pytest.approx((68.0 + 35.0, 68.0 + 65.0), abs=1e-3)
    assert high["fill"] == "tonexty"


def test_a_day_of_readings_is_thinned_and_keeps_its_extremes() -> None:
    values = np.sin(np.arange(864_000) / 5000) * 100
    values[500_000] = -321.0
    found = [series("draft_switch", values, seconds=86_400.0), series("temp_return", 20.0, seconds=86_400.0)]
    figure = trend_figure(found, View(START, START + 86_400, "metric"), PLATE)
    assert all(100 < len(one["x"]) <= 2000 for one in figure["data"])
    assert min(trace(figure, "at the pressure switch")["y"]) == -321.0


def test_a_gap_is_a_gap() -> None:
    whole = series("draft_switch", 100.0)
    keep = (whole.time < START + 100) | (whole.time > START + 104)
    figure = trend_figure([Series(whole.channel, whole.time[keep], whole.value[keep])], VIEW)
    one = figure["data"][0]
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
    assert longest_line(slow.time) == pytest.approx(25.0)
    assert None not in trend_figure([slow], VIEW)["data"][0]["y"]
    assert longest_line(slow.time[:1]) == 3.0


def test_values_that_are_missing_are_nothing_and_not_nan() -> None:
    values = np.full(3000, 100.0)
    values[1000:1500] = np.nan
    figure = trend_figure([series("draft_switch", values)], VIEW)
    assert None in figure["data"][0]["y"]
    json.dumps(figure, allow_nan=False)


def test_figures_hold_plain_lists_with_times_in_milliseconds() -> None:
    figure = trend_figure([series("draft_switch", 100.0)], VIEW)
    one = figure["data"][0]
    assert type(one["x"]) is list
    assert type(one["y"]) is list
    assert one["x"][0] == START * 1000
    assert figure["layout"]["xaxis"]["type"] == "date"
    assert figure["layout"]["xaxis"]["range"] == [START * 1000, (START + 300) * 1000]


def test_axes_hold_all_values_and_limits_and_seldom_change() -> None:
    def span(value: float) -> list[float]:
        layout = trend_figure([series("draft_collector", value * INCH)], VIEW, PLATE)["layout"]
        return list(layout["yaxis"]["range"])

    assert span(-1.25) == [-1.5, 1.0]
    assert span(-1.30) == span(-1.25)
    assert span(-1.51) == [-2.0, 1.0]


def test_two_instruments_at_one_point_are_told_apart() -> None:
    found = [series("temp_supply", 40.0, instrument="one"), series("temp_supply", 41.0, instrument="two")]
    assert [one["name"] for one in trend_figure(found, VIEW)["data"]] == ["supply air (one)", "supply air (two)"]


def test_no_series_says_so_in_every_chart() -> None:
    figure = trend_figure([], VIEW)
    assert figure["data"] == []
    texts = [note["text"] for note in figure["layout"]["annotations"]]
    assert sum("no readings in this span" in text for text in texts) == len(CHARTS)


def test_a_message_is_shown_in_place_of_lines() -> None:
    assert "cannot read" in [note["text"] for note in message_figure("cannot read", VIEW)["layout"]["annotations"]]


def test_two_instruments_at_one_point_have_different_dashes() -> None:
    found = [series("draft_switch", 140.0, instrument=name) for name in ("one", "two", "three")]
    drawn = trend_figure([*found, series("draft_collector", -300.0)], VIEW)["data"]
    looks = [(one["line"]["color"], one["line"]["dash"]) for one in drawn]
    assert len(set(looks)) == 4


def test_readings_far_apart_have_a_dot_each() -> None:
    typed = series("temp_return", 20.0, seconds=60.0, rate=0.1)
    single = Series(typed.channel, typed.time[:1], typed.value[:1])
    modes = [trend_figure([one], VIEW)["data"][0]["mode"] for one in (typed, single, series("temp_return", 20.0))]
    assert modes == ["lines+markers", "lines+markers", "lines"]


def test_times_that_count_from_the_start_are_moved_as_the_browser_asks(tmp_path: Path) -> None:
    path = tmp_path / "from_zero.lightoff"
    channel = Channel("draft_switch", "meter", "inH2O")
    with Store(path) as store:
        store.append([channel, *(Reading(channel.key, second * NANOSECONDS, 0.5) for second in range(61))])
    figure = requested_figure({"window": 300, "shift": 7 * 3_600_000}, Hub(path))
    assert figure["data"][0]["x"][:2] == [7 * 3_600_000, 7 * 3_600_000 + 1000]
    assert figure["layout"]["xaxis"]["range"] == [7 * 3_600_000, 7 * 3_600_000 + 60_000], "nothing is before the start"
    assert figure["layout"]["xaxis"]["title"]["text"] == "time from the start"
    assert figure["layout"]["meta"] == {"shift": 7 * 3_600_000}
    odd = requested_figure({"window": 300, "shift": 1e12}, Hub(path))
    assert odd["layout"]["meta"] == {"shift": 0}


def test_times_of_the_calendar_are_not_moved(recording: Path) -> None:
    figure = requested_figure({"window": 60, "shift": 7 * 3_600_000}, Hub(recording))
    assert figure["data"][0]["x"][-1] == pytest.approx((START + 599.9) * 1000, abs=1)
    assert figure["layout"]["xaxis"]["title"]["text"] == "local time"


def test_every_trend_point_has_a_look_of_its_own() -> None:
    assert set(LOOKS) == TREND_POINTS
    for chart in CHARTS:
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
    figure = requested_figure({"window": 60, "units": "trade", "width": 1200}, Hub(recording))
    (one,) = figure["data"]
    assert one["y"][0] == pytest.approx(0.5)
    last = START + 599.9
    assert figure["layout"]["xaxis"]["range"] == pytest.approx([(last - 60) * 1000, last * 1000], abs=1)
    assert one["x"][0] >= (last - 60) * 1000 - 1


def test_everything_or_a_part_may_be_asked_for(recording: Path) -> None:
    everything = requested_figure({"window": 0}, Hub(recording))
    assert everything["layout"]["xaxis"]["range"] == pytest.approx([START * 1000, (START + 599.9) * 1000], abs=1)
    wanted = [(START + 10) * 1000, (START + 20) * 1000]
    part = requested_figure({"window": 60, "start": wanted[0], "end": wanted[1]}, Hub(recording))
    assert part["layout"]["xaxis"]["range"] == wanted
    assert len(part["data"][0]["x"]) == 101


def test_a_replay_does_not_show_its_own_future(recording: Path) -> None:
    hub = Hub(recording)
    position = round((START + 100) * NANOSECONDS)
    hub.publish({"type": "readings", "readings": [["draft_switch@meter", position, 124.5, 0]]})
    figure = requested_figure({"window": 60}, hub)
    assert figure["data"][0]["x"][-1] == pytest.approx((START + 100) * 1000, abs=1)


def test_an_empty_or_missing_recording_is_told_in_words(tmp_path: Path) -> None:
    empty = tmp_path / "empty.lightoff"
    with Store(empty) as store:
        store.append([Channel("draft_switch", "meter", "inH2O")])
    figure = requested_figure({"window": 300}, Hub(empty))
    assert [note["text"] for note in figure["layout"]["annotations"]] == ["no readings yet"]
    assert not figure["layout"]["xaxis"]["visible"], "no axis of 1969"
    missing = requested_figure({"window": 0}, Hub(tmp_path / "missing.lightoff"))
    assert any("missing.lightoff" in note["text"] for note in missing["layout"]["annotations"])


@pytest.mark.parametrize(
    "request_",
    [{}, {"window": "x"}, {"window": math.inf}, {"start": 5, "end": 1}, {"width": None, "units": 3, "window": -1}],
)
def test_odd_requests_get_a_figure(recording: Path, request_: dict[str, Any]) -> None:
    assert requested_figure(request_, Hub(recording))["data"]
