"""A recording opened for analysis: zeroings, withdrawals, doubts, other units and points, also while it is written."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from analysis.units import INCH_OF_WATER
from collector.database import RecordingError
from collector.normalize import zeroing
from collector.opened import Opened, open_data
from collector.opened_recording import HOSE_OFF
from collector.store import Store
from drivers.base import InputError, LightoffError
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, T0, VALVE, event, ramp, recorded

JOB = '[site]\nname = "basement"\n'
BY_HAND = Channel("draft_switch", "by hand: dial", "inH2O")


def values(found: Opened, key: str) -> dict[float, float]:
    (one,) = (one for one in found.series if one.channel.key == key)
    return dict(zip((one.time - T0 / SECOND).tolist(), one.value.tolist(), strict=True))


def written(path: Path, *items: Channel | Reading | Event) -> Path:
    with Store(path) as store:
        store.append(items)
    return path


def reading(channel: Channel, seconds: float, value: float, quality: Quality = Quality.GOOD) -> Reading:
    return Reading(channel.key, T0 + round(seconds * SECOND), value, quality)


def test_a_recording_is_opened_with_its_events_and_the_last_job_in_it(tmp_path):
    first, last = (event(EventKind.JOB, at, "job file", text=text) for at, text in ((0, ""), (5, JOB)))
    path = recorded(tmp_path / "call.lightoff", [*ramp(DRAFT, 10), *ramp(VALVE, 10, per_second=2)], first, last)
    (tmp_path / "call.toml").write_text('[site]\nname = "beside"\n')
    (tmp_path / "named.toml").write_text('[site]\nname = "named"\n')
    found = open_data(path)
    assert (found.name, found.kind, found.job.site.name, found.job_from) == (
        "call",
        "recording",
        "basement",
        "inside the recording",
    )
    assert (found.start, found.end, found.rows, found.readings) == (T0 / SECOND, T0 / SECOND + 10, 21, 32)
    assert [one.kind for one in found.events] == [EventKind.JOB, EventKind.JOB]
    assert open_data(path, tmp_path / "named.toml").job.site.name == "named"


def test_without_a_job_inside_the_one_beside_it_is_taken(tmp_path):
    path = recorded(tmp_path / "call.lightoff", ramp(DRAFT, 1))
    assert open_data(path).job_from == ""
    (tmp_path / "call.job.toml").write_text(JOB)
    assert open_data(path).job_from == str(tmp_path / "call.job.toml")


def test_a_job_inside_with_a_mistake_is_told_with_its_line(tmp_path):
    path = recorded(tmp_path / "call.lightoff", ramp(DRAFT, 1), event(EventKind.JOB, 0, "job", text="\n[furnase]\n"))
    with pytest.raises(InputError, match="line 2"):
        open_data(path)


def test_zeroings_hold_from_their_time_on(tmp_path):
    zero = zeroing(DRAFT, 0.5, T0 + 2 * SECOND)
    found = values(open_data(recorded(tmp_path / "a.lightoff", ramp(DRAFT, 3), zero)), DRAFT.key)
    assert [value / INCH_OF_WATER for value in found.values()] == pytest.approx([0.0, 1.0, 1.5, 2.5])


def test_withdrawn_is_never_read_bad_is_no_value_and_doubtful_is_told(tmp_path):
    gone = event(EventKind.WITHDRAWN, 9, "withdrawn", channel=BY_HAND.key, at=T0 + SECOND)
    limited = replace(DRAFT, high=3.0)
    path = written(
        tmp_path / "a.lightoff",
        limited,
        BY_HAND,
        *(reading(limited, at, at) for at in (0, 1, 4)),
        reading(limited, 2, 2.0, Quality.SUSPECT),
        reading(limited, 3, 3.0, Quality.BAD),
        reading(BY_HAND, 1, 9.0),
        reading(BY_HAND, 2, 8.0),
        gone,
    )
    found = open_data(path)
    assert [*values(found, BY_HAND.key)] == [2.0]
    meter = values(found, DRAFT.key)
    assert np.isnan(meter.pop(3.0))
    assert [*meter] == [0.0, 1.0, 2.0, 4.0]
    assert {key: (when - T0 / SECOND).tolist() for key, when in found.doubtful.items()} == {DRAFT.key: [2.0, 4.0]}
    assert found.readings == 5


def test_another_unit_on_a_meter_is_one_series(tmp_path):
    metric = Channel("draft_switch", "draft meter (Pa)", "Pa")
    change = Event(T0 + 2 * SECOND, EventKind.UNIT_CHANGED, "Pa now", None, {"from": DRAFT.key, "to": metric.key})
    wild = [(DRAFT, 1.5, 900.0), (metric, 2.5, 60_000.0)]
    rows = [(DRAFT, 0.0, 1.0), (DRAFT, 1.0, 1.0), (metric, 2.0, 250.0), (metric, 3.0, 251.0), *wild]
    found = open_data(recorded(tmp_path / "a.lightoff", rows, change))
    assert len(found.series) == 1
    assert values(found, metric.key) == pytest.approx(
        {0: INCH_OF_WATER, 1: INCH_OF_WATER, 1.5: 900 * INCH_OF_WATER, 2: 250, 2.5: 60_000, 3: 251}
    )
    assert {key: (when - T0 / SECOND).tolist() for key, when in found.doubtful.items()} == {metric.key: [1.5, 2.5]}


def moved(at: float, channel: str, point: str) -> Event:
    return event(EventKind.POINT_CHANGED, at, "moved", channel=channel, point=point)


SWITCH_TAP, VENT_TAP = DRAFT.key, "draft_vent@draft meter"


def test_around_a_move_a_meter_shows_neither_point(tmp_path):
    vent = replace(DRAFT, point="draft_vent")
    rows = [(DRAFT if at < 30 else vent, float(at), float(at)) for at in range(60)]
    found = open_data(
        recorded(tmp_path / "a.lightoff", [*rows, *ramp(SUPPLY, 59)], moved(30, SWITCH_TAP, "draft_vent"))
    )
    before, after = values(found, SWITCH_TAP), values(found, VENT_TAP)
    assert [at for at, value in before.items() if np.isnan(value)] == [25, 26, 27, 28, 29]
    assert [at for at, value in after.items() if np.isnan(value)] == [30, 31, 32, 33, 34, 35]
    assert (min(after), max(after)) == (30, 59)
    assert HOSE_OFF == 5
    assert not np.isnan([*values(found, SUPPLY.key).values()]).any(), "another meter stays as it is"


def test_readings_that_go_on_under_the_old_channel_belong_to_where_the_meter_is(tmp_path):
    moves = (moved(30, SWITCH_TAP, "draft_vent"), moved(60, VENT_TAP, "draft_switch"))
    found = open_data(recorded(tmp_path / "a.lightoff", ramp(DRAFT, 90), zeroing(DRAFT, 1.0, T0), *moves))
    switch, vent = values(found, SWITCH_TAP), values(found, VENT_TAP)
    assert [*switch] == [*range(30), *range(60, 91)]
    assert [*vent] == [*range(30, 60)]
    assert vent[45] == pytest.approx(44 * INCH_OF_WATER), "zeroed as it was"
    assert np.isnan(vent[56])
    assert [one.channel.point for one in found.series] == ["draft_switch", "draft_vent"]


def test_moved_to_where_its_unit_means_nothing_it_is_left_out_from_then_on(tmp_path):
    found = open_data(recorded(tmp_path / "a.lightoff", ramp(DRAFT, 60), moved(30, SWITCH_TAP, "temp_room")))
    assert [one.channel.key for one in found.series] == [SWITCH_TAP]
    assert max(values(found, SWITCH_TAP)) == 29


def test_what_an_import_could_not_read_is_told_and_second_values_are_counted(tmp_path):
    problem = event(EventKind.PROBLEM, 0, "call.csv: line 7: no number", line=7, reason="no number")
    path = written(tmp_path / "a.lightoff", DRAFT, reading(DRAFT, 0, 1.0), reading(DRAFT, 0, 2.0), problem)
    found = open_data(path)
    assert [str(one) for one in found.problems] == ["line 7: no number"]
    assert (found.problem_count, found.conflicts, found.readings) == (1, 1, 1)


def test_a_recording_that_is_still_written_opens_as_it_is_now(tmp_path):
    path = tmp_path / "a.lightoff"
    with Store(path) as store:
        store.append([DRAFT, reading(DRAFT, 0, 1.0)])
        assert open_data(path).readings == 1
        written_meanwhile: list[float] = []

        def write(share: float) -> None:
            written_meanwhile.append(share)
            store.append([reading(VALVE, 2 + share, 1.0)])

        store.append([VALVE, *(reading(VALVE, at, 1.0) for at in (0, 1))])
        assert open_data(path, progress=write).readings == 3, "all of one moment"
        assert written_meanwhile == [0.5, 1.0]
        assert open_data(path).readings == 5


@pytest.mark.parametrize("damage", ["cut", "overwritten", "no readings"])
def test_a_recording_that_cannot_be_read_is_said_in_one_sentence(tmp_path, damage):
    path = recorded(tmp_path / "a.lightoff", [] if damage == "no readings" else ramp(DRAFT, 20_000))
    content = bytearray(path.read_bytes())
    if damage == "cut":
        del content[len(content) // 2 :]
    elif damage == "overwritten":
        content[4096:] = b"\xff" * (len(content) - 4096)
    path.write_bytes(content)
    with pytest.raises((InputError, RecordingError)) as caught:
        open_data(path)
    assert isinstance(caught.value, LightoffError)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert [file.name for file in tmp_path.iterdir()] == ["a.lightoff"]
