"""The job file: right SI numbers from a full one, and from other ways to write the same."""

import math
import re
import subprocess
import sys
import timeit
from pathlib import Path
from typing import Any

import pytest

from analysis.model import Baseline, Plate, Timing
from analysis.points import DERIVED, POINTS, measure_of
from collector.alarm_rule import PRIORITIES
from collector.job import JobError, check, load, parse
from tests.collector.job_texts import FULL

ROOT = Path(__file__).parents[2]
PACKAGES = ("analysis", "drivers", "collector", "dashboard", "replay_data")
INCH = 0.0254 * 1000 * 9.80665  # one inch of water at 4 degC, by length, density and standard gravity [Pa]
BTU_PER_HOUR = 1055.056 / 3600  # the Btu of ISO 31-4 [W]


def near(*values: float) -> Any:
    return pytest.approx(values)


def test_full_file_gives_every_number_in_inside_units() -> None:
    job = parse(FULL, "full.toml")
    assert (job.text, job.name, job.site.name) == (FULL, "full.toml", "invented house")
    plate, furnace, heat_pump = job.plate, job.furnace, job.heat_pump
    assert (plate.fuel, plate.condensing, plate.efficiency, plate.pipes) == ("natural gas", True, 0.95, 2)
    assert (plate.switch_label, plate.manifold_reference) == ("break", "burner_box")
    assert plate.input == near(80_000 * BTU_PER_HOUR, 56_000 * BTU_PER_HOUR)
    assert plate.rise == near(35 * 5 / 9, 65 * 5 / 9)  # a difference has no offset
    assert (job.altitude, furnace.vent_length) == near(2600 * 0.3048, 40 * 0.3048)
    assert (plate.static_max, plate.supply_max) == near(0.5 * INCH, (170 - 32) * 5 / 9)
    assert (*plate.manifold, *(plate.gas_inlet or ())) == near(3.5 * INCH, 1.7 * INCH, 4.5 * INCH, 10.5 * INCH)
    assert (*plate.switch_close, *plate.switch_open) == near(0.95 * INCH, 0.5 * INCH, 0.85 * INCH, 0.42 * INCH)
    assert plate.flame_current_min == pytest.approx(1e-6)
    assert tuple(dict(furnace.baseline).values()) == near(-0.15 * INCH, -0.5 * INCH, -1.25 * INCH, 0.35 * INCH)
    assert job.baseline == Baseline(**dict(furnace.baseline))
    assert job.timing == Timing(16.0, 18.5, 6.0, 45.0, 20.0, 120.0, 4)
    assert (heat_pump.capacity_47, heat_pump.capacity_17) == near(36_000 * BTU_PER_HOUR, 22_000 * BTU_PER_HOUR)
    assert (heat_pump.compressor_lockout, heat_pump.auxiliary_lockout) == near(-10 * 5 / 9, 13 * 5 / 9)
    assert job.humidifier.setting == 0.38
    assert (furnace.vent_material, furnace.elbows, furnace.condensate_route) == ("PVC", 5, "floor drain")
    assert (job.unit.model, job.unit.serial, job.unit.installed) == ("INV-80", "12345", "2014-10-01")
    assert job.share.broker == "mqtts://broker.invalid:8883"
    assert job.archive.url == "http://archive.invalid:8428/api/v2/write"
    assert (job.archive.bucket, job.archive.org, job.archive.technician) == ("calls", "north", "van 7")
    assert job.archive.secret == "env:ARCHIVE_TOKEN"


def test_instruments_and_limits_of_the_full_file() -> None:
    job = parse(FULL)
    ble, serial = job.instruments
    assert (ble.name, ble.profile, ble.address) == ("draft meter", "ess-pressure", "00:00:5E:00:53:01")
    assert (ble.driver, ble.channels, ble.units) == ("ble", {"pressure": "draft_collector"}, {})
    assert (ble.accuracy, ble.isolated, ble.response_time) == ("0.5 % + 0.01 inH2O", True, None)
    assert (serial.name, serial.isolated, serial.response_time) == ("instrument 2", False, 5.0)
    assert (serial.baud, serial.line) == (9600, r"(?P<inlet>[-+.\d]+) (?P<manifold>[-+.\d]+)")
    assert serial.channels == {"inlet": "gas_inlet", "manifold": "gas_manifold"}
    assert serial.units == {"inlet": "inH2O", "manifold": "in. w.c."}
    humidity, hot, rise, call = job.limits
    names = ["humidity_supply above 60 %", "too hot", "temp_rise below 36 degF", "call_heat below 0.5"]
    assert [limit.name for limit in (humidity, hot, rise, call)] == names
    assert (humidity.above, humidity.deadband, humidity.on_delay, humidity.off_delay) == near(0.6, 0.03, 30, 120)
    assert (humidity.point, humidity.priority) == ("humidity_supply", "high")
    assert (humidity.below, humidity.text) == (None, "the humidifier runs too much")
    assert (hot.above, hot.deadband, hot.on_delay) == near((170 - 32) * 5 / 9, 9 * 5 / 9, 0)
    assert (rise.below, call.below) == near(36 * 5 / 9, 0.5)
    assert (hot.priority, rise.priority, rise.above) == ("safety", "medium", None)
    with pytest.raises(ValueError, match="frozen"):
        hot.above = 3.0


def test_every_key_is_optional() -> None:
    for text in ("", "\ufeff\n# nothing\n", "[site]\n[furnace]\n[furnace.timing]\n[[instrument]]\n[unit]\n"):
        job = parse(text)
        assert (job.plate, job.baseline, job.timing) == (Plate(), Baseline(), Timing())
        assert (job.altitude, job.limits, job.name) == (None, (), "job")
    lines = FULL.split("\n")
    for number, line in enumerate(lines):
        if re.match(r"(?!point|above|below|inlet|manifold = \")[\w.]+ += .+[^\[]$", line):
            assert check("\n".join(lines[:number] + lines[number + 1 :])) == [], line


def test_other_ways_to_write_the_same() -> None:
    plate = parse("furnace = { input = '80 kBtu/hr', manifold = '3.5 in. w.c.', efficiency = '95 %' }").plate
    assert (*plate.input, *plate.manifold, plate.efficiency) == near(80_000 * BTU_PER_HOUR, 3.5 * INCH, 0.95)
    for address in ("/dev/ttyUSB0", "COM3", "00:00:5E:00:53:01", "http://host:80/a?point=3", "mqtts://tech@host:8883"):
        assert parse(f"[[instrument]]\naddress = '{address}'").instruments[0].address == address
    for point in (*POINTS, *DERIVED):
        trade = measure_of(point).trade
        above = "0.5" if trade == "1" else f"'10 {trade}'"
        assert parse(f"[[limit]]\npoint = '{point}'\nabove = {above}").limits[0].above is not None
    for priority in PRIORITIES:
        text = f"[[limit]]\npoint = 'room_co'\nabove = '9 ppm'\npriority = '{priority}'"
        assert parse(text).limits[0].priority == priority
    for file in (ROOT / "replay_data").glob("*.toml"):
        assert check(file.read_text("utf-8")) == []


def test_load_names_the_file(tmp_path: Path) -> None:
    file = tmp_path / "tuesday.toml"
    file.write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())
    job = load(file)
    assert (job.name, job.text, job.plate) == ("tuesday.toml", FULL.replace("\n", "\r\n"), parse(FULL).plate)
    file.write_text("[furnace]\npipes = 3\n", "utf-8")
    with pytest.raises(JobError, match=r"^tuesday.toml has 1 mistake: line 2, furnace.pipes: 3 is not a whole number"):
        load(file)


def test_parse_is_quick_and_alone_needs_pydantic() -> None:
    assert min(timeit.repeat(lambda: parse(FULL), number=1, repeat=6)) < 0.03
    files = [file for package in PACKAGES for file in (ROOT / package).rglob("*.py")]
    importing = [file.name for file in files if re.search(r"^\s*(from|import) pydantic", file.read_text("utf-8"), re.M)]
    assert importing == ["sections.py"]
    code = "import sys, collector.cli; sys.exit('pydantic' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


def test_a_timing_is_stated_as_far_as_the_file_states_it():
    """NaN is not equal to itself, so it is looked at in words."""
    stated = parse("[furnace.timing]\nprepurge = 15\n").stated_timing
    assert repr(stated) == repr(Timing(15.0, math.nan, math.nan, math.nan, math.nan, math.nan, 0))
    trials = parse("[furnace.timing]\ntrials = 2\n").stated_timing
    assert trials is not None
    assert (trials.trials, math.isnan(trials.prepurge)) == (2, True)
    assert parse("[furnace.timing]\n").stated_timing is None
    assert parse("").stated_timing is None
