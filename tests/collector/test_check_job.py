"""`lightoff check-job`: all that the instruments of a job lack, with line and key, and files taken from beside it."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from collector.cli import main
from collector.clock import Clock
from collector.job import load
from collector.plans import recording

JOB = """
[[instrument]]
name = "draft"
driver = "serial"
profile = "line-presure"
address = "/dev/ttyUSB0"
channels = { pressure = "draft_vent" }

[[instrument]]
name = "gateway"
driver = "mqtt"
profile = "mqtt-json"
address = "mqtt://192.0.2.10"
topic = "bench"
secret = "env:LIGHTOFF_NOT_THERE"
channels = { temperature = "draft_vent", presure = "temp_room" }

[[instrument]]
name = "unit"
driver = "modbus"
profile = "own.toml"
address = "/dev/ttyUSB1"
device = 0
secret = "file:key.txt"
channels = { pressure = "temp_room" }

[[instrument]]
name = "broken"
driver = "modbus"
profile = "broken.toml"
address = "tcp://192.0.2.5"
channels = { pressure = "draft_vent" }

[[instrument]]
name = "right"
driver = "modbus"
profile = "own.toml"
address = "tcp://192.0.2.6"
device = 255
channels = { pressure = "draft_vent" }
"""
OWN = 'driver = "modbus"\n[[value]]\nname = "pressure"\nunit = "Pa"\nregister = 1\n'
BROKER = """
[[instrument]]
name = "gateway"
driver = "mqtt"
profile = "mqtt-json"
address = "mqtt://reader@192.0.2.10"
topic = "bench"
secret = "file:key.txt"
channels = { temperature = "temp_room" }
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Of a job and its profiles; the working directory is another one."""
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    (tmp_path / "job.toml").write_text(JOB.lstrip())
    (tmp_path / "own.toml").write_text(OWN)
    (tmp_path / "broken.toml").write_text(OWN.replace("unit =", "unti =").replace("register", "regster"))
    return tmp_path


def check(folder: Path) -> Result:
    return CliRunner().invoke(main, ["check-job", str(folder / "job.toml")], catch_exceptions=False)


def test_all_that_instruments_lack_is_told_at_once_with_line_and_key(folder: Path):
    done = check(folder)
    assert (done.exit_code, done.stdout) == (1, "")
    lines = done.stderr.splitlines()
    places = [match[1] for line in lines if (match := re.search(r"job\.toml: (line \d+, [^:]+): ", line))]
    assert len(places) == len(lines)
    assert places == [
        "line 4, instrument[1].profile",
        "line 14, instrument[2].secret",
        "line 15, instrument[2].channels.temperature",
        "line 15, instrument[2].channels.presure",
        "line 22, instrument[3].device",
        "line 23, instrument[3].secret",
        "line 24, instrument[3].channels.pressure",
        "line 29, instrument[4].profile",
        "line 29, instrument[4].profile",
    ]
    assert "instrument 'draft': there is no profile 'line-presure'; nearest known: line-pressure" in lines[0]
    assert "profiles come with the program or lie in " in lines[0]
    assert "device 0 cannot be the number of a unit; write its number, 1 to 247" in lines[4]
    assert "broken.toml: line 4, value[1].unti: unknown key 'unti'; nearest known: unit" in done.stderr


def test_a_profile_and_a_secret_are_taken_from_beside_the_job(folder: Path):
    (folder / "job.toml").write_text(BROKER)
    assert "its secret cannot be read from 'key.txt'" in check(folder).stderr
    (folder / "key.txt").write_text("not told\n")
    done = check(folder)
    assert (done.exit_code, done.stderr) == (0, "")
    plan = recording(
        load(folder / "job.toml"), folder / "a.lightoff", port=0, seconds=None, job_file=folder / "job.toml"
    )
    assert [driver.name for driver in plan.drivers(Clock())] == ["gateway"], "nor does it matter for a call"


@pytest.mark.parametrize("number", ["-1", "248", "254", "256", "true", '"7"', "1.5"])
def test_the_number_of_a_unit_has_one_range(folder: Path, number: str):
    text = JOB[JOB.index('[[instrument]]\nname = "right"') :].replace("255", number)
    (folder / "job.toml").write_text(text)
    done = check(folder)
    assert done.exit_code == 1
    assert "job.toml: line 6, instrument[1].device: " in done.stderr
    assert "is not the number of a unit, 1 to 247, or 0 or 255 at a server on a network" in done.stderr


@pytest.mark.parametrize("number", ["0", "1", "247", "255"])
def test_every_number_of_a_unit_is_taken_at_a_server(folder: Path, number: str):
    text = JOB[JOB.index('[[instrument]]\nname = "right"') :].replace("255", number)
    (folder / "job.toml").write_text(text)
    assert check(folder).exit_code == 0
