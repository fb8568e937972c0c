"""The bundled recording is what its script makes, keeps the order of a safe control, and tells its story."""

import csv
import gzip
import importlib.util
import math
import re
import subprocess
import sys
import tomllib
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

Array = NDArray[np.float64]
Row = dict[str, float]

FOLDER = Path(__file__).parents[2] / "replay_data"
SCRIPT, RECORDING = FOLDER / "make_recordings.py", FOLDER / "drain_backs_up.csv.gz"
INSTRUMENTS = {  # name: points, unit, readings a second
    "draft meter": ("draft_burner_box draft_transition draft_collector draft_vent", "inH2O", 10.0),
    "switch manometer": ("draft_switch", "inH2O", 10.0),
    "gas manometer": ("gas_manifold gas_inlet", "inH2O", 5.0),
    "static manometer": ("static_supply static_return", "inH2O", 2.0),
    "duct thermometer": ("temp_supply temp_return", "degF", 1.0),
    "house thermometer": ("temp_outdoor temp_room temp_surface", "degF", 1.0),
    "hygrometer": ("humidity_room humidity_supply", "%", 0.5),
    "flame meter": ("flame_current", "uA", 5.0),
    "volt meter": ("volts_control", "V", 5.0),
    "room CO meter": ("room_co", "ppm", 0.2),
}
CONTACTS = "call_heat switch_closed switch_high_closed gas_valve blower_on limit_closed".split()
FLOW_TAPS = ("draft_burner_box", "draft_transition", "draft_vent")


class Recording:
    """The shipped file: seconds from the first row, and the readings of each point."""

    def __init__(self, lines: list[str]) -> None:
        self.heads, *self.rows = csv.reader(lines)
        self.stamps = [datetime.fromisoformat(row[0]) for row in self.rows]
        self.times = np.array([(stamp - self.stamps[0]).total_seconds() for stamp in self.stamps])
        self.columns = {head.split("@")[0]: index for index, head in enumerate(self.heads)}

    def readings(self, point: str) -> tuple[Array, Array]:
        """Times [s] and values at which the point was read."""
        cells = [row[self.columns[point]] for row in self.rows]
        return self.times[[cell != "" for cell in cells]], np.array([float(cell) for cell in cells if cell])

    def mean(self, point: str, start: float, end: float) -> float:
        """Mean of a point over a span [s]."""
        times, values = self.readings(point)
        return float(values[(times >= start) & (times < end)].mean())

    def changes(self, contact: str, to: int) -> list[float]:
        """Times [s] at which a contact went to 0 or 1."""
        times, values = self.readings(contact)
        return [float(time) for time in times[1:][(values[1:] == to) & (values[:-1] != to)]]

    def held(self, contact: str, times: Array) -> NDArray[np.bool_]:
        """Whether the contact was closed at other times: its latest reading counts."""
        read, values = self.readings(contact)
        return values[np.searchsorted(read, times, side="right") - 1] > 0


def lines_of(path: Path) -> list[str]:
    return gzip.decompress(path.read_bytes()).decode("utf-8").splitlines()


@pytest.fixture(scope="module")
def recording() -> Recording:
    return Recording(lines_of(RECORDING))


@pytest.fixture(scope="module")
def job() -> dict[str, Any]:
    return tomllib.loads((FOLDER / "drain_backs_up.toml").read_text("utf-8"))


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("demo_recording_script", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def figure(text: str) -> float:
    return float(text.partition(" ")[0])


def spans(times: Array, condition: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Spans [s] over which a condition held from reading to reading."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], condition, [False]]).astype(int)))
    return [(float(times[start]), float(times[end - 1])) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def fired(job: dict[str, Any], point: str, times: Array, values: Array) -> list[float]:
    """Times [s] from which the value stayed below the job's limit for its on-delay, NaN counting as above."""
    limit = next(limit for limit in job["limit"] if limit["point"] == point)
    low = spans(times, values < figure(limit["below"]))
    return [start for start, end in low if end - start >= figure(limit["on_delay"])]


def run_script(folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, str(SCRIPT), "--out", str(folder)]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=50)


def test_script_makes_the_shipped_values_again(tmp_path: Path) -> None:
    assert run_script(tmp_path).returncode == 0
    rebuilt, shipped = lines_of(tmp_path / RECORDING.name), lines_of(RECORDING)
    assert len(rebuilt) == len(shipped)
    different = [number for number, pair in enumerate(zip(rebuilt, shipped, strict=True), 1) if pair[0] != pair[1]]
    assert not different, f"first at line {different[0]}"


def test_script_refuses_a_folder_that_is_not_there(tmp_path: Path) -> None:
    result = run_script(tmp_path / "missing")
    assert result.returncode == 2
    assert str(tmp_path / "missing") in result.stderr
    assert not (tmp_path / "missing").exists()


def test_file_is_small_and_its_head_names_no_time_and_no_file() -> None:
    content = RECORDING.read_bytes()
    assert len(content) <= 500_000
    assert content[3] & 0b1000 == 0  # RFC 1952: flag FNAME
    assert content[4:8] == bytes(4)  # RFC 1952: MTIME


def test_heads_name_point_instrument_and_unit(recording: Recording) -> None:
    expected = {
        f"{point}@{name} [{unit}]" for name, (points, unit, _) in INSTRUMENTS.items() for point in points.split()
    }
    expected |= {f"{contact}@contact logger [1]" for contact in CONTACTS}
    assert recording.heads[0] == "time"
    assert sorted(recording.heads[1:]) == sorted(expected)


def test_rows_are_full_and_their_times_strictly_increase(recording: Recording) -> None:
    assert recording.rows[0][0] == "2026-01-14T06:31:20.000Z"
    form = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z")
    assert all(form.fullmatch(row[0]) for row in recording.rows)
    assert all(before < after for before, after in pairwise(recording.stamps))
    assert 20 * 60 <= recording.times[-1] <= 25 * 60
    assert all(len(row) == len(recording.heads) and any(row[1:]) for row in recording.rows)


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_instrument_reads_at_its_rate_with_jitter_and_gaps_only_where_promised(name: str, recording: Recording) -> None:
    points, _, rate = INSTRUMENTS[name]
    times, _ = recording.readings(points.split()[0])
    steps = np.diff(times)
    assert np.median(steps) == pytest.approx(1 / rate, abs=0.0021)
    assert np.std(steps[steps < 1.5 / rate]) > 0.001
    assert all(np.array_equal(times, recording.readings(point)[0]) for point in points.split())
    gaps = [pytest.approx(13.0, abs=1.5)] if name == "hygrometer" else []
    assert [step for step in steps if step > 1.5 / rate] == gaps


def test_instruments_have_phases_of_their_own(recording: Recording) -> None:
    instruments = [head.split("@")[1] for head in recording.heads[1:]]
    together = [len({name for name, cell in zip(instruments, row[1:], strict=True) if cell}) for row in recording.rows]
    assert sum(count > 1 for count in together) < 0.1 * len(together)


def test_contacts_are_read_on_change_and_every_five_seconds(recording: Recording) -> None:
    times, _ = recording.readings("gas_valve")
    assert np.diff(times).max() <= 5.001
    assert any(time % 5 > 0.01 for time in recording.changes("gas_valve", 1))
    assert all(set(recording.readings(contact)[1]) <= {0.0, 1.0} for contact in CONTACTS)


@pytest.mark.parametrize(("point", "step"), [("draft_switch", 0.001), ("gas_manifold", 0.01), ("temp_supply", 0.1)])
def test_values_come_in_steps_of_the_resolution(point: str, step: float, recording: Recording) -> None:
    steps = recording.readings(point)[1] / step
    assert np.allclose(steps, np.round(steps), atol=1e-6)
    assert any(np.round(steps) % 10)


def safety_faults(rows: list[Row]) -> list[int]:
    """Rows with gas but without a call, a closed limit, and a switch first seen open and closed ever since."""
    faults, was_open, gas = [], False, False
    for number, row in enumerate(rows):
        was_open = row["switch_closed"] == 0 or (was_open and not (gas and row["gas_valve"] == 0))
        ready = was_open and row["switch_closed"] == row["limit_closed"] == row["call_heat"] == 1
        gas = row["gas_valve"] == 1
        if gas and not ready:
            faults.append(number)
    return faults


@pytest.fixture
def contact_rows(recording: Recording) -> list[Row]:
    columns = [recording.readings(contact)[1].tolist() for contact in CONTACTS]
    return [dict(zip(CONTACTS, values, strict=True)) for values in zip(*columns, strict=True)]


def test_gas_only_with_a_switch_seen_open_first_and_closed_since(contact_rows: list[Row]) -> None:
    assert sum(row["gas_valve"] for row in contact_rows) > 100
    assert safety_faults(contact_rows) == []


@pytest.mark.parametrize("contact", ["switch_closed", "limit_closed", "call_heat"])
def test_safety_check_sees_a_contact_open_under_gas(contact: str, contact_rows: list[Row]) -> None:
    firing = [number for number, row in enumerate(contact_rows) if row["gas_valve"] == 1]
    contact_rows[firing[50]][contact] = 0.0
    assert firing[50] in safety_faults(contact_rows)


def test_safety_check_sees_a_switch_not_open_between_trials(contact_rows: list[Row]) -> None:
    gas = [row["gas_valve"] for row in contact_rows]
    second = gas.index(1, gas.index(0, gas.index(1)))
    for row in contact_rows[second - 20 : second]:
        row["switch_closed"] = 1.0
    assert second in safety_faults(contact_rows)


def test_gas_and_flame_only_while_the_valve_is_on(recording: Recording) -> None:
    # Gone within 2 s after the valve: upper end of common practice, no published source.
    for point, limit in (("flame_current", 0.5), ("gas_manifold", 0.2)):
        times, values = recording.readings(point)
        present = times[values > limit]
        assert len(present) > 1000
        assert np.all(recording.held("gas_valve", present) | recording.held("gas_valve", present - 2.0))


def test_sequence_keeps_the_times_of_the_job(recording: Recording, job: dict[str, Any]) -> None:
    furnace, timing = job["furnace"], job["furnace"]["timing"]
    times, flame = recording.readings("flame_current")
    burning = times[flame > figure(furnace["flame_current_min"])]
    for valve in recording.changes("gas_valve", 1):
        proved = max(time for time in recording.changes("switch_closed", 1) if time < valve)
        assert valve - proved == pytest.approx(timing["prepurge"] + timing["igniter_warmup"], abs=0.3)
        assert 0.5 < burning[burning > valve][0] - valve < timing["ignition_trial"]
    assert recording.changes("blower_on", 1)[0] - burning[0] == pytest.approx(timing["blower_on_delay"], abs=1.0)
    stopped = recording.changes("blower_on", 0)[0]
    lost = max(time for time in recording.changes("gas_valve", 0) if time < stopped)
    assert stopped - lost == pytest.approx(timing["post_purge"] + timing["blower_off_delay"], abs=0.5)


def test_first_minutes_are_quick_and_the_room_stays_safe(recording: Recording) -> None:
    times, pressure = recording.readings("draft_collector")
    assert times[pressure < -0.1][0] < 20
    times, flame = recording.readings("flame_current")
    assert times[flame > 1.0][0] < 70
    assert 6 * 60 <= recording.changes("switch_closed", 0)[0] <= 8 * 60
    assert recording.readings("room_co")[1].max() <= 2
    assert recording.readings("limit_closed")[1].min() == 1


def test_three_trials_then_rest_then_it_runs_again(recording: Recording, job: dict[str, Any]) -> None:
    turned_down, turned_up = recording.changes("call_heat", 0)[0], recording.changes("call_heat", 1)[1]
    starts, stops = recording.changes("gas_valve", 1), recording.changes("gas_valve", 0)
    assert stops == recording.changes("switch_closed", 0)  # every stop is a switch that opened
    assert sum(start < turned_down for start in starts) == job["furnace"]["timing"]["trials"] == len(starts) - 1
    lost = stops[-2]
    assert turned_up - lost >= 240
    assert abs(recording.mean("draft_collector", lost + 40, turned_up)) < 0.01
    assert recording.mean("draft_switch", lost + 30, lost + 40) < -0.2  # water stands in the hose
    assert abs(recording.mean("draft_switch", turned_up - 20, turned_up)) < 0.01  # and is gone after the rest
    assert turned_up < starts[-1] < stops[-1] - 180
    high = figure(job["furnace"]["manifold"][0])
    assert recording.mean("gas_manifold", starts[-1] + 120, stops[-1] - 60) == pytest.approx(high, abs=0.05)


def early_and_late(recording: Recording) -> tuple[tuple[float, float], tuple[float, float]]:
    """Spans [s] in the first high stage: soon after it began, just before it fell."""
    began, fell = recording.changes("switch_high_closed", 1)[0], recording.changes("switch_high_closed", 0)[0]
    return (began + 15, began + 45), (fell - 30, fell - 2)


def test_collector_grows_while_flow_falls_as_with_a_doubled_secondary(recording: Recording) -> None:
    """Signs of a doubled secondary resistance, from the balance of a fan with four resistances in series.

    Normal hot run of a network worked by hand (fan 2.40 - 0.80 q^2, losses 0.15, 0.35, 0.75, 0.35 times q^2, in. w.c.):
    q^2 = 2.40 / (0.80 + 1.60) = 1: burner box -0.150, transition -0.500, collector -1.250, vent 0.350.
    Secondary 1.50: q^2 = 2.40 / (0.80 + 2.35) = 0.762: -0.114 (-24 %), -0.381 (-24 %), -1.524 (+22 %), 0.267 (-24 %).
    """
    early, late = early_and_late(recording)
    change = {tap: recording.mean(tap, *late) / recording.mean(tap, *early) - 1 for tap in FLOW_TAPS}
    assert all(-0.40 < value < -0.15 for value in change.values()), change
    assert 1.08 < recording.mean("draft_collector", *late) / recording.mean("draft_collector", *early) < 1.30
    pull = [
        recording.mean("draft_burner_box", *span) - recording.mean("draft_collector", *span) for span in (early, late)
    ]
    at_switch = [recording.mean("draft_switch", *span) for span in (early, late)]
    assert pull[1] > 1.1 * pull[0]  # the taps never explain an open switch
    assert at_switch[0] == pytest.approx(pull[0], abs=0.02)
    assert at_switch[1] < 0.9 * at_switch[0]  # water over the port does


def test_network_of_the_script_gives_the_hand_worked_signs(script: ModuleType) -> None:
    density = (1.0, 0.308, 0.783, 0.886)  # hot run: intake, primary, secondary, inducer, of room air
    gas = [script.ROOM_AIR / value for value in density]
    normal, doubled, slow = script.taps(gas, 1.0), script.taps(gas, 1.0, 2.0), script.taps(gas, 0.85)
    for name in ("burner_box", "transition", "vent"):
        assert getattr(doubled, name) / getattr(normal, name) == pytest.approx(0.762, abs=0.003)
    assert doubled.collector / normal.collector == pytest.approx(1.524 / 1.250, abs=0.003)
    assert slow.collector / normal.collector == pytest.approx(0.85**2, abs=1e-9)  # fan law: pressure as speed squared


def test_light_off_puffs_and_water_slugs(recording: Recording) -> None:
    valve = recording.changes("gas_valve", 1)[0]
    times, box = recording.readings("draft_burner_box")
    assert box[(times > valve) & (times < valve + 4)].max() > recording.mean("draft_burner_box", 30, valve) + 0.03
    _, collector = recording.readings("draft_collector")
    _, late = early_and_late(recording)
    dry, wet = (
        np.std(np.diff(collector[(times >= start) & (times < end)], n=2)) for start, end in ((90.0, 120.0), late)
    )
    assert wet > 2 * dry


def test_clean_furnace_gives_the_baseline_of_the_job(
    script: ModuleType, job: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (("CONDENSATE", 0.0), ("DURATION", 900.0), ("CALLS", ((8.0, math.inf),))):
        monkeypatch.setattr(script, name, value)
    truth = script.simulate(job, np.random.default_rng(1))
    assert truth["switch_closed"][int(20 / script.STEP) :].min() == 1  # without water it never trips
    for point, text in job["furnace"]["baseline"].items():
        assert truth[point][-600:].mean() == pytest.approx(figure(text), abs=0.01), point


def test_draft_margin_is_healthy_first_and_gone_at_each_trip(recording: Recording, job: dict[str, Any]) -> None:
    times, pressure = recording.readings("draft_switch")
    open_switch = ~recording.held("switch_closed", times)
    margin = np.where(open_switch, np.nan, pressure - figure(job["furnace"]["switch_open"][1]))
    assert margin[(times > 15) & (times < 300)].min() > 0.10
    fires = fired(job, "draft_margin", times, margin)
    assert min(fires) > 300
    trips = recording.changes("switch_closed", 0)
    assert len(trips) == 4
    for trip in trips:
        assert np.nanmin(margin[(times > trip - 1.5) & (times < trip)]) < 0
        assert any(trip - 60 < start < trip for start in fires), trip


def dew_point(temp: Array, humidity: Array) -> Array:
    """Dew point [degF]; Magnus form with the constants of WMO No. 8 (17.62, 243.12 degC)."""
    celsius = (temp - 32) / 1.8
    gamma = np.log(humidity / 100) + 17.62 * celsius / (243.12 + celsius)
    return np.asarray(1.8 * 243.12 * gamma / (17.62 - gamma) + 32)


def test_dew_point_margin_sinks_below_its_limit(recording: Recording, job: dict[str, Any]) -> None:
    # 70 degF at 35, 45, 50 %: 41.12, 47.71, 50.53 degF, computed with psychrolib 2.5.0 (ASHRAE Fundamentals ch. 1).
    known = dew_point(np.full(3, 70.0), np.array([35.0, 45.0, 50.0]))
    assert known == pytest.approx([41.12, 47.71, 50.53], abs=0.1)
    times, humidity = recording.readings("humidity_room")
    surface, room = (np.interp(times, *recording.readings(point)) for point in ("temp_surface", "temp_room"))
    margin = surface - dew_point(room, humidity)
    assert margin[0] > 2.2
    assert 300 < fired(job, "dew_point_margin", times, margin)[0] < 900
    assert margin.min() < 0.5
    assert recording.mean("temp_outdoor", 0, 1300) == pytest.approx(5, abs=0.5)
    assert room.mean() == pytest.approx(70, abs=1)
    assert humidity.max() / 100 > job["humidifier"]["setting"] + 0.05


def test_rise_fits_plate_and_airflow(recording: Recording, script: ModuleType, job: dict[str, Any]) -> None:
    """Output = 1.08 x cfm x rise at sea level (60 x 0.075 x 0.24), times the density ratio of the site.

    0.9095 at 2,600 ft: (1 - 2.25577e-5 x 792.5)^5.2559, standard atmosphere in ASHRAE Fundamentals ch. 1.
    """
    furnace = job["furnace"]
    halves = [
        recording.mean("temp_supply", start, start + 20) - recording.mean("temp_return", start, start + 20)
        for start in (340, 360)
    ]
    assert abs(halves[1] - halves[0]) < 1.0
    low, high = (figure(text) for text in furnace["rise"])
    assert low < halves[0] < high
    output = figure(furnace["input"][0]) * 1000 * furnace["efficiency"]
    expected = output / (1.08 * 0.9095 * script.FLOW_HIGH * 2118.88)
    assert 0.85 * expected < halves[1] < expected  # the humidifier takes some, the duct is still warming
    assert recording.readings("temp_supply")[1].max() < figure(furnace["supply_max"])
    static = recording.mean("static_supply", 340, 380) - recording.mean("static_return", 340, 380)
    assert 0.3 < static < figure(furnace["static_max"])


def test_readme_says_what_this_is(script: ModuleType) -> None:
    text = (FOLDER / "README.md").read_text("utf-8")
    assert "Everything here is invented" in text
    assert f"seed {script.SEED}" in text
    assert "drain_blocked" in text
