"""`lightoff simulate` as people type it: what it writes, what it refuses, and that no recording holds the truth."""

import io
import json
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from analysis.diagnosis.causes import CAUSES
from analysis.model import origin_of
from collector import cli, command_line, job
from collector.recording import Recording
from drivers.codecs.recording_csv import CsvReader
from tests.collector.job_texts import FULL, unit

SHORT = ("--minutes", "1")
README = (Path(__file__).parents[2] / "README.md").read_text()


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def simulate(*arguments: str) -> Result:
    return CliRunner().invoke(cli.main, ["simulate", *arguments], catch_exceptions=False)


def names(folder: Path) -> list[str]:
    return sorted(file.name for file in folder.iterdir())


def truth(name: str) -> Any:
    return json.loads(Path(f"{name}.truth.json").read_text())


def test_three_files_beside_each_other(here):
    done = simulate("--cause", "drain_blocked", "--severity", "0.6", "--seed", "7", *SHORT, "-o", "a.csv")
    assert (done.exit_code, done.stderr) == (0, "")
    assert names(here) == ["a.csv", "a.toml", "a.truth.json"]
    reader = CsvReader(Path("a.csv").read_text().splitlines(keepends=True), "a")
    readings = list(reader)
    assert reader.problem_count == 0
    assert done.stdout.splitlines()[0] == f"a.csv: {len(readings)} readings of 1 min, simulated and invented"
    assert {origin_of(channel.instrument) for channel in reader.channels} == {"simulated"}
    times = [reading.time for reading in readings]
    assert times == sorted(times)
    assert min(times) >= 1_768_372_200 * 10**9, "2026-01-14T06:30:00Z"
    assert max(times) <= 1_768_372_261 * 10**9
    assert CliRunner().invoke(cli.main, ["check-job", "a.toml"]).stdout == "a.toml: nothing to correct\n"
    assert "seed 7" in Path("a.toml").read_text().splitlines()[0]
    assert list(truth("a")) == ["seed", "causes", "attempts", "events"]
    assert truth("a")["seed"] == 7
    cause = {"cause": "drain_blocked", "severity": 0.6, "onset": 0.0, "course": "constant"}
    assert truth("a")["causes"] == [cause]


def test_every_value_has_the_digits_of_its_meter(here):
    assert simulate(*SHORT, "-o", "a.csv").exit_code == 0
    head, *rows = [line.split(",") for line in Path("a.csv").read_text().splitlines()]
    fine = [place for place, cell in enumerate(head) if "@simulated: draft meter" in cell]
    contacts = [place for place, cell in enumerate(head) if cell.endswith("[1]")]
    assert len(fine) == 4
    assert contacts
    for places, form in ((fine, r"-?\d+\.\d{3}"), (contacts, r"[01]")):
        cells = [row[place] for row in rows for place in places if row[place]]
        assert cells
        assert [cell for cell in cells if not re.fullmatch(form, cell)] == []
    times = [row[0] for row in rows]
    assert all(re.fullmatch(r"2026-01-14T06:3\d:\d\d\.\d{3}Z", time) for time in times), "whole milliseconds"
    instruments = {one.name: one for one in job.load(Path("a.toml")).instruments}
    assert set(instruments) == {re.search(r"@simulated: (.+) \[", cell)[1] for cell in head[1:]}  # type: ignore[index]
    assert instruments["draft meter"].accuracy == "0.5 % + 0.01 inH2O"


def test_the_same_again_from_the_same_seed_and_another_from_another(here):
    for name, seed in (("a", "7"), ("b", "7"), ("c", "8")):
        assert simulate("--cause", "intake_blocked", "--seed", seed, *SHORT, "-o", f"{name}.csv.gz").exit_code == 0
    for ending in ("csv.gz", "toml", "truth.json"):
        first, again, other = (Path(f"{name}.{ending}").read_bytes() for name in "abc")
        assert first == again
        assert first != other


def test_a_recording_reads_as_the_csv_and_holds_no_truth(here):
    asked = ("--cause", "gas_supply_low", "--severity", "0.4", "--seed", "3", *SHORT)
    assert simulate(*asked, "-o", "a.csv").exit_code == 0
    assert simulate(*asked, "-o", "b.lightoff").exit_code == 0
    assert names(here) == ["a.csv", "a.toml", "a.truth.json", "b.lightoff", "b.toml", "b.truth.json"]
    assert Path("a.toml").read_text() == Path("b.toml").read_text()
    lines = Path("a.csv").read_text().splitlines(keepends=True)
    expected = {(one.channel, one.time, one.value) for one in CsvReader(lines, "a")}
    with Recording(here / "b.lightoff") as recording:
        assert {(one.channel, one.time, one.value) for one in recording.readings()} == expected
        assert recording.job() == Path("b.toml").read_text()
    for file in ("a.csv", "a.toml", "b.lightoff"):
        content = Path(file).read_bytes()
        for word in ("gas_supply", "gas supply low", "severity", "truth", "outcome"):
            assert word.encode() not in content, (file, word)


def test_several_things_wrong_each_with_its_own(here):
    asked = ["--cause", "drain_blocked", "--severity", "0.7", "--cause", "airflow_low_restricted", "--severity", "0.4"]
    asked += ["--onset", "10", "--onset", "20", "--course", "growing", "--course", "intermittent"]
    assert simulate(*asked, *SHORT, "-o", "a.csv").exit_code == 0
    assert truth("a")["causes"] == [
        {"cause": "drain_blocked", "severity": 0.7, "onset": 10.0, "course": "growing"},
        {"cause": "airflow_low_restricted", "severity": 0.4, "onset": 20.0, "course": "intermittent"},
    ]
    assert simulate(*SHORT, "-o", "b.csv").exit_code == 0
    assert truth("b")["causes"] == []


@pytest.mark.parametrize("cause", [cause for cause in CAUSES if cause != "none"])
def test_every_cause_can_be_simulated(here, cause):
    assert simulate("--cause", cause, "--minutes", "0.5", "-o", "a.csv").exit_code == 0
    assert [one["cause"] for one in truth("a")["causes"]] == [cause]


@pytest.mark.parametrize("kit", ["full", "draft", "basic", "contacts"])
def test_the_meters_wished_for(here, kit):
    assert simulate("--instruments", kit, *SHORT, "-o", "a.csv").exit_code == 0
    head = Path("a.csv").read_text().split("\n", 1)[0]
    meters = set(re.findall(r"@simulated: (.+?) \[", head))
    least = {
        "full": {"draft meter", "contact logger", "flue analyser", "room CO meter"},
        "draft": {"draft meter", "switch manometer"},
        "basic": {"manometer"},
        "contacts": {"contact logger"},
    }[kit]
    assert least <= meters
    assert ("contact logger" in meters) == (kit in ("full", "contacts"))


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["--cause", "drain_bloked"], 2, "unknown cause 'drain_bloked'; nearest known: drain_blocked"),
        (["--cause", "drain_blocked", "--severity", "1.2"], 2, "severity 1.2 of drain_blocked is outside 0 to 1"),
        (["--cause", "drain_blocked", "--severity", "-1"], 2, "severity -1 of drain_blocked is outside 0 to 1"),
        (["--cause", "no_call", "--severity", "0.1", "--severity", "0.2"], 2, "there are 2 of --severity and 1"),
        (["--severity", "0.1"], 2, "--severity without --cause"),
        (["--cause", "no_call", "--course", "slow"], 2, "unknown course 'slow' of no_call"),
        (["--cause", "no_call", "--onset", "-5"], 2, "before the beginning"),
        (["--cause", "no_call", "--cause", "no_call"], 2, "no_call is given twice"),
        (["--instruments", "all"], 2, "unknown kit of meters 'all'"),
        (["--start", "yesterday"], 2, "--start: 'yesterday' is neither a time"),
        (["--start", "9999-01-01T00:00:00Z"], 2, "too late to be recorded"),
        (["--speed", "2"], 2, "--speed is for a unit that runs live"),
        (["--for", "2"], 2, "--for is for a unit that runs live"),
        (["--port", "8350"], 2, "--port is for a unit that runs live"),
        (["--no-browser"], 2, "--no-browser is for a unit that runs live"),
        (["--cause", "no_call", "--onset", "60", *SHORT], 2, "the onset 60 s of no_call is not before the end, 60 s"),
        (["--job", "late.toml", *SHORT], 2, "the onset 300 s of no_call is not before the end, 60 s"),
        (["-o", "a.xlsx"], 2, "a.xlsx is no name with an ending of .csv, .csv.gz, .lightoff"),
        (["-o", "./.lightoff"], 2, ".lightoff is no name with an ending of"),
        (["-o", ".csv"], 2, ".csv is no name with an ending of"),
        (["-o", ".csv.gz"], 2, ".csv.gz is no name with an ending of"),
        (["--live", "-o", "q.txt"], 2, "q.txt: a unit that runs live is recorded as .lightoff"),
        (["--live", "-o", "dirx/"], 2, "dirx: a unit that runs live is recorded as .lightoff"),
        (["--live", "-o", ".lightoff"], 2, ".lightoff: a unit that runs live is recorded as .lightoff"),
        (["-o", "nowhere/a.csv"], 1, "there is no folder nowhere"),
        (["-o", "there.csv"], 1, "there.csv is there already; choose another name or say --force"),
        (["--live", "-o", "there.lightoff"], 1, "there.lightoff is there already"),
        (["--live", "-o", "a.csv"], 2, "is recorded as .lightoff"),
        (["--live", "--minutes", "3"], 2, "--minutes is for files"),
        (["--live", "--force"], 2, "--force is for files"),
        (["--live", "--cause", "x"], 2, "unknown cause 'x'"),
        (["--live", "--job", "low.toml"], 2, "switch_open"),
        (["--job", "missing.toml"], 1, "missing.toml is not there"),
        (["--job", "."], 1, "is a folder"),
        (["--job", "words.toml"], 2, "this is not TOML"),
        (["--job", "low.toml"], 2, "low.toml: line 3, furnace.switch_open: number 1 is not below number 1"),
        (["--job", "false.toml"], 2, "the job file contradicts itself: 'furnace.condensing' is true"),
        (["--live", "--job", "false.toml"], 2, "the job file contradicts itself: 'furnace.condensing' is true"),
        (["--job", "typo.toml"], 2, "typo.toml: line 2, furnace.rize: unknown key 'rize'"),
        (["--job", "false.toml", "-o", "there.csv"], 2, "'furnace.condensing' is true"),
        (["--live", "--job", "false.toml", "-o", "there.lightoff"], 2, "'furnace.condensing' is true"),
        (["--job", "hidden.toml"], 2, "instrument 'unit': its address cannot be kept without what is wrong"),
        (["--live", "--job", "hidden.toml"], 2, "instrument 'unit': its address cannot be kept without what is wrong"),
        (["--job", "unread.toml"], 2, "instrument 'unit': unknown name 'sead'; nearest known: seed"),
        (["--job", "two.toml"], 2, "instrument 'two' is a second simulated unit"),
        (["--job", "own.toml", "-o", "own.csv"], 2, "own.toml says what is wrong, or another seed"),
    ],
)
def test_what_cannot_be_is_one_sentence_and_leaves_nothing(here, arguments, status, says):
    Path("there.csv").write_text("mine")
    Path("there.lightoff").write_text("mine")
    Path("low.toml").write_text('[furnace]\nswitch_close = "0.5 inH2O"\nswitch_open = "0.6 inH2O"\n')
    Path("typo.toml").write_text('[furnace]\nrize = ["35 degF", "65 degF"]\n')
    Path("words.toml").write_text("no job at all\n")
    Path("late.toml").write_text(unit("no_call=1 onset=300"))
    Path("own.toml").write_text(unit("no_call=1"))
    Path("hidden.toml").write_text(unit(r"seed=7 drain\u005fblocked=0.3"))
    Path("unread.toml").write_text(unit("sead=7"))
    Path("two.toml").write_text(unit("seed=7") + unit("seed=8").replace('"unit"', '"two"'))
    Path("false.toml").write_text("[furnace]\ncondensing = true\nefficiency = 0.80\n")
    before = names(here)
    output = [] if "-o" in arguments or "--live" in arguments else ["-o", "a.csv"]
    result = simulate(*arguments, *output)
    assert result.exit_code == status, result.stderr
    (line,) = result.stderr.strip().splitlines()
    assert says in line
    assert names(here) == before
    assert Path("there.csv").read_text() == Path("there.lightoff").read_text() == "mine"


def test_without_a_place_to_write_to_it_says_what_there_is(here):
    result = simulate()
    assert result.exit_code == 2
    assert "say -o FILE, or --live" in result.stderr


def test_force_replaces_all_three(here):
    for name in ("a.csv", "a.toml", "a.truth.json"):
        Path(name).write_text("from before")
    assert simulate(*SHORT, "-o", "a.csv", "--force").exit_code == 0
    assert all("from before" not in Path(name).read_text() for name in names(here))
    assert simulate(*SHORT, "-o", "a.lightoff", "--force").exit_code == 0
    assert simulate(*SHORT, "-o", "a.lightoff", "--force").exit_code == 0


def test_onset_up_to_the_end_is_there(here):
    assert simulate("--cause", "no_call", "--onset", "59", *SHORT, "-o", "a.csv").exit_code == 0
    assert truth("a")["causes"][0]["onset"] == 59.0


def test_help_lists_every_cause_in_plain_words_and_an_example():
    text = simulate("--help").stdout
    for cause in CAUSES:
        assert re.search(rf"^  {cause}  +[a-z]", text, re.MULTILINE) or re.search(rf"^  {cause}$", text, re.MULTILINE)
    assert "condensate drain or trap blocked" in text
    assert "Example:\n  lightoff simulate --cause" in text


def test_long_work_shows_a_bar_on_a_terminal(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    moments = iter([0.0, 0.5, 2.0, 3.0, 4.0])
    monkeypatch.setattr(time, "monotonic", lambda: next(moments))
    monkeypatch.setattr(sys, "stderr", terminal := Terminal())
    with command_line.counting("simulating", text=command_line.bar) as show:
        for share in (0.1, 0.5, 1.0):
            show(share)
    half = "[" + 15 * "#" + 15 * "." + "]  50 %"
    assert terminal.getvalue() == f"\rsimulating: {half}\rsimulating: [{30 * '#'}] 100 %\n", "none within a second"


def started(*arguments: str, folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "collector", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=folder,
    )


@pytest.mark.parametrize(("name", "stop"), [("a.csv.gz", signal.SIGINT), ("a.lightoff", signal.SIGTERM)])
def test_a_stop_leaves_nothing(tmp_path, name, stop):
    with started("simulate", "--minutes", "1440", "-o", name, folder=tmp_path) as running:
        deadline = time.monotonic() + 40
        while not list(tmp_path.glob("*.part*")) and time.monotonic() < deadline and running.poll() is None:
            time.sleep(0.01)  # looks at another process's files
        running.send_signal(stop)
        _, said = running.communicate(timeout=30)
    assert running.returncode == 130, said
    assert said.strip() == "lightoff simulate: interrupted"
    assert names(tmp_path) == []


def played(folder: Path, *arguments: str) -> Recording:
    with started(*arguments, "--no-browser", "--port", "0", folder=folder) as running:
        output, said = running.communicate(timeout=60)
    assert running.returncode == 0, said
    assert " 0 lost" in output
    return Recording(folder / "live.lightoff")


@pytest.mark.alone
@pytest.mark.timeout(120)
def test_live_it_runs_on_its_clock_and_is_recorded_without_the_truth(tmp_path):
    begin = time.time_ns()
    asked = ("--cause", "control_power_lost", "--severity", "1", "--onset", "40", "--speed", "20", "--for", "5")
    with played(tmp_path, "simulate", "--live", *asked, "-o", "live.lightoff") as recording:
        first, last = recording.span() or (0, 0)
        assert begin <= first <= begin + 30 * 10**9
        assert 60e9 < last - first < 140e9, "some five seconds at twenty times real time"
        assert {origin_of(channel.instrument) for channel in recording.channels} == {"simulated"}
        volts = recording.read("volts_control@simulated: volt meter")
        on = volts.time < first + 38 * 10**9
        assert volts.value[on].min() > 15
        assert volts.value[-1] < 1, "the cause acts when it is to begin"
        assert job.check(recording.job() or "") == []
        told = " ".join(f"{event.text} {event.data}" for event in recording.events())
    assert "control_power" not in told
    assert b"power_lost" not in (tmp_path / "live.lightoff").read_bytes()


@pytest.mark.timeout(120)
def test_a_job_file_runs_a_simulated_unit_and_keeps_no_truth(tmp_path):
    instrument = (
        '[[instrument]]\nname = "unit"\ndriver = "simulate"\naddress = "seed=4 speed=20 flame_sensor_weak=0.9"\n'
    )
    (tmp_path / "job.toml").write_text(FULL.partition("[[instrument]]")[0] + instrument)
    assert "nothing to correct" in CliRunner().invoke(cli.main, ["check-job", str(tmp_path / "job.toml")]).stdout
    with played(tmp_path, "record", "--job", "job.toml", "--for", "4", "-o", "live.lightoff") as recording:
        assert recording.read("draft_switch@simulated: switch manometer").time.size > 100
        kept = recording.job() or ""
    assert '"seed=4 speed=20"' in kept
    assert b"flame_sensor" not in (tmp_path / "live.lightoff").read_bytes()


@pytest.mark.parametrize(
    ("lines", "says"),
    [
        ('address = "sead=7"', "instrument 'unit': unknown name 'sead'; nearest known: seed"),
        ('address = "no_call=3"', "instrument 'unit': severity 3 of no_call is outside 0 to 1"),
        ('channels = { draft_switch = "draft_switch" }', "a simulated unit brings its own"),
        ("[furnace]\ncondensing = true\nefficiency = 0.8", "instrument 'unit': the job file contradicts itself"),
        ('[[instrument]]\nname = "two"\ndriver = "simulate"\naddress = "seed=2"', "'two' is a second simulated unit"),
    ],
)
def test_a_simulated_instrument_that_cannot_be_is_explained(here, lines, says):
    Path("job.toml").write_text(f'[[instrument]]\nname = "unit"\ndriver = "simulate"\n{lines}\n')
    for command in (["check-job", "job.toml"], ["record", "--job", "job.toml", "--no-browser"]):
        result = CliRunner().invoke(cli.main, command, catch_exceptions=False)
        assert result.exit_code == 1
        (line,) = result.stderr.strip().splitlines()
        assert says in line
    assert not list(here.glob("recordings/*"))


def test_the_job_beside_a_recording_has_nothing_to_record(here):
    assert simulate("--instruments", "draft", *SHORT, "-o", "a.csv").exit_code == 0
    result = CliRunner().invoke(cli.main, ["record", "--job", "a.toml", "--no-browser", "--port", "0", "--for", "0.1"])
    assert result.exit_code == 0
    (line,) = result.stderr.strip().splitlines()
    assert line == (
        "nothing comes from draft meter and 3 more: the readings are in the recording that the job file belongs to"
    )


def test_the_examples_of_the_documents_write_what_they_say(here):
    examples = re.findall(r"^\$ lightoff (simulate .+)$", README, re.MULTILINE)
    assert len(examples) == 3
    for example in examples:
        words = shlex.split(example)
        if "--live" not in words:
            assert CliRunner().invoke(cli.main, [*words, *SHORT]).exit_code == 0
            assert Path(words[-1]).exists()
