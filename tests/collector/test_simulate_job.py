"""`lightoff simulate --job`: the unit of a job file, and what its own simulated instrument says."""

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from collector import cli
from collector.clock import Clock
from collector.recording import Recording
from collector.simulate_command import Options, plan_of
from collector.simulation import Practised
from tests.collector.job_texts import FULL, unit

SHORT = ("--minutes", "1")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def simulate(*arguments: str) -> Result:
    return CliRunner().invoke(cli.main, ["simulate", *arguments], catch_exceptions=False)


def truth(name: str) -> Any:
    return json.loads(Path(f"{name}.truth.json").read_text())


def test_the_unit_of_a_job_file(here):
    Path("my.toml").write_text(FULL)
    assert simulate("--job", "my.toml", *SHORT, "-o", "a.lightoff").exit_code == 0
    assert Path("a.toml").read_text() == FULL
    with Recording(here / "a.lightoff") as recording:
        assert recording.job() == FULL
    Path("b.toml").write_text(FULL)
    assert simulate("--job", "b.toml", *SHORT, "-o", "b.csv").exit_code == 0, "the job may lie where it goes"
    assert Path("b.toml").read_text() == FULL
    start = "2020-02-02T02:02:02Z"
    assert simulate("--job", "my.toml", *SHORT, "--start", start, "-o", "c.csv").exit_code == 0
    assert Path("c.csv").read_text().splitlines()[1].startswith("2020-02-02T02:02:")


def test_the_simulated_instrument_of_a_job_says_what_no_option_says(here):
    Path("my.toml").write_text(unit("seed=7 drain_blocked=0.7 onset=20 instruments=draft speed=2"))
    assert simulate("--job", "my.toml", *SHORT, "-o", "a.csv").exit_code == 0
    assert truth("a")["seed"] == 7
    told = {"cause": "drain_blocked", "severity": 0.7, "onset": 20.0, "course": "constant"}
    assert truth("a")["causes"] == [told]
    assert Path("a.toml").read_text() == unit("seed=7 instruments=draft speed=2")
    asked = ("--seed", "7", "--cause", "drain_blocked", "--severity", "0.7", "--onset", "20", "--instruments", "draft")
    Path("bare.toml").write_text("")
    assert simulate("--job", "bare.toml", *asked, *SHORT, "-o", "b.csv").exit_code == 0
    assert Path("a.csv").read_text() == Path("b.csv").read_text(), "the same call as by options"


def test_an_option_wins_over_the_simulated_instrument_of_a_job(here):
    Path("my.toml").write_text(unit("seed=7 drain_blocked=0.7 instruments=draft"))
    given = ("--seed", "9", "--cause", "no_call", "--instruments", "contacts")
    assert simulate("--job", "my.toml", *given, *SHORT, "-o", "a.lightoff").exit_code == 0
    assert truth("a")["seed"] == 9
    assert [one["cause"] for one in truth("a")["causes"]] == ["no_call"]
    assert Path("a.toml").read_text() == unit("seed=9 instruments=contacts")
    with Recording(here / "a.lightoff") as recording:
        assert recording.job() == unit("seed=9 instruments=contacts")
        assert {channel.instrument for channel in recording.channels} == {"simulated: contact logger"}
    assert simulate("--job", "my.toml", "--cause", "none", "--seed", "1", *SHORT, "-o", "b.csv").exit_code == 0
    assert truth("b") | {"attempts": [], "events": []} == {"seed": 1, "causes": [], "attempts": [], "events": []}
    assert Path("b.toml").read_text() == unit("seed=1 instruments=draft")


def test_live_the_simulated_instrument_of_a_job_says_what_no_option_says(here):
    Path("my.toml").write_text(unit("seed=7 drain_blocked=0.7 speed=20"))
    plan = plan_of(None, Options(job_file=Path("my.toml")), place=lambda: here / "a.lightoff")
    (driver,) = plan.drivers(Clock())
    assert isinstance(driver, Practised)
    assert [(cause.cause, cause.severity) for cause in driver.set_now] == [("drain_blocked", 0.7)]
    assert driver.speed == 20.0
    assert plan.job.text == unit("seed=7 speed=20")
    slow = plan_of(
        None, Options(job_file=Path("my.toml"), seed=8, speed=2.0, port=0), place=lambda: here / "a.lightoff"
    )
    assert slow.job.text == unit("seed=8 speed=2")
    assert (plan.port, slow.port) == (8350, 0)
