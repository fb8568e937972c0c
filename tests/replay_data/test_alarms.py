"""What the program alarms when a recording is played: what belongs to the story, and nothing on a healthy unit."""

from functools import cache

import pytest

from analysis.model import NANOSECONDS
from collector.alarm_states import AlarmState
from collector.alarms import Alarms
from collector.derived import Derived
from collector.normalize import Normalizer
from collector.session import rules
from drivers.codecs.recording_csv import CsvReader, parse_time
from tests.replay_data.recording import FOLDER, NAMES, job, lines_of, scenario

NEW = (AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED)
LOW_MARGIN, DAMP = "draft_margin below 0.10 inH2O", "dew_point_margin below 2 degF"
EXPECTED = {  # limits of the job file by their whole name, those of the plate by theirs
    "drain_backs_up": {LOW_MARGIN},
    "vent_iced_over": {LOW_MARGIN},
    "intake_covered": {LOW_MARGIN},
    "flame_rod_dirty": {"flame_current_min"},
    "filter_loaded": {"static_max", "rise_high"},
    "propane_tank_cold": {"gas_inlet_low"},
    "humidifier_runs_on": {DAMP, "dew_point_margin"},
    "filter_and_flame_rod": {"flame_current_min", "static_max", "rise_high"},
}


@cache
def raised(name: str) -> tuple[tuple[float, str], ...]:
    """Time [s] and name of each new alarm, as readings come to it that are neither lost nor late."""
    reader, papers = CsvReader(lines_of(FOLDER / f"{name}.csv.gz"), name), job(name)
    start = parse_time(scenario(name).start)
    points = {channel.key: channel.point for channel in reader.channels}
    normalizers = {channel.key: Normalizer(channel) for channel in reader.channels}
    alarms, derived = Alarms(rules(papers, frozenset(points.values()))), Derived(papers.plate)
    found = []
    for reading in reader:
        value, quality = normalizers[reading.channel](reading.value, reading.quality, reading.time)
        point = points[reading.channel]
        changes = alarms.step(point, reading.time, value, quality, reading.channel)
        for other, worked_out, as_good in derived.step(point, reading.time, value, quality):
            changes += alarms.step(other, reading.time, worked_out, as_good, other)
        time = (reading.time - start) / NANOSECONDS
        found += [(time, change.name) for change in changes if change.to_state in NEW]
    return tuple(found)


@pytest.mark.parametrize("name", NAMES)
def test_alarms_are_those_of_the_story(name: str) -> None:
    assert {alarm for _, alarm in raised(name)} == EXPECTED.get(name, set())
