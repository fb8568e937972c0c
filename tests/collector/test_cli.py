"""The commands as people type them: what they do, what they say, how they end."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analysis.model import Channel, EventKind, Reading
from collector.cautions import CAUTIONS
from collector.cli import main
from collector.database import RecordingError
from collector.recording import Recording
from collector.store import Store

GOOD = "time,draft_collector@draft meter [inH2O]\n2026-01-14T06:31:20.000Z,-1.25\n2026-01-14T06:31:21.000Z,-1.2\n"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def lightoff(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), catch_exceptions=False)


def one_sentence(result: Result) -> str:
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 1, result.stderr
    return lines[0]


@pytest.mark.parametrize("command", sorted(main.commands))
def test_every_command_explains_itself_with_an_example(command):
    result = lightoff(command, "--help")
    assert result.exit_code == 0
    assert f"Example:\n  lightoff {command} " in result.output


def test_the_first_help_names_the_dangers():
    assert CAUTIONS.split(" can kill")[0].split()[0] in lightoff("--help").output
    assert "carbon monoxide" in lightoff("--help").output


def test_import_and_export_round_trip(here):
    Path("in.csv").write_text(GOOD)
    done = lightoff("import", "in.csv", "-o", "a.lightoff")
    assert (done.exit_code, done.stdout, done.stderr) == (0, "a.lightoff: 2 readings\n", "")
    assert lightoff("export", "a.lightoff", "-o", "out.csv").exit_code == 0
    assert Path("out.csv").read_text() == GOOD
    to_standard_output = lightoff("export", "a.lightoff", "-o", "-")
    assert to_standard_output.stdout == GOOD
    both = lightoff("export", "a.lightoff", "-o", "again.csv", "--events", "events.csv")
    assert (both.exit_code, both.stdout) == (0, "again.csv: 2 readings\nevents.csv: 1 events\n"), both.output
    assert Path("events.csv").read_text().startswith("time,kind,about,text\n")
    assert (
        "events.csv is there already"
        in lightoff("export", "a.lightoff", "-o", "c.csv", "--events", "events.csv").stderr
    )
    assert not Path("c.csv").exists()
    assert lightoff("export", "a.lightoff", "-o", "c.csv", "--events", "c.csv").exit_code == 2


def test_import_reports_what_it_could_not_read_and_keeps_the_rest(here):
    Path("in.csv").write_text(GOOD + "rubbish\n2026-01-14T06:31:20.000Z,-9\n")
    done = lightoff("import", "in.csv", "-o", "a.lightoff")
    assert done.exit_code == 1
    assert done.stdout == "a.lightoff: 2 readings, 1 stood there twice\n"
    assert done.stderr.splitlines() == [
        "in.csv: line 4: 1 cells where the first line has 2",
        "in.csv: 1 second values for one instant; the first was kept",
    ]
    with Recording(here / "a.lightoff") as recording:
        assert recording.read("draft_collector@draft meter").value.tolist() == [-1.25, -1.2]


def test_a_job_file_is_kept_in_the_recording(here):
    Path("in.csv").write_text(GOOD)
    Path("job.toml").write_text('[site]\nname = "an invented house"\n')
    assert lightoff("import", "in.csv", "-o", "a.lightoff", "--job", "job.toml").exit_code == 0
    with Recording(here / "a.lightoff") as recording:
        assert recording.job() == '[site]\nname = "an invented house"\n'


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["import", "missing.csv", "-o", "a.lightoff"], 1, "there is no file missing.csv"),
        (["import", "head.csv", "-o", "a.lightoff"], 1, "nearest known: draft_collector"),
        (["import", "good.csv", "-o", "good.csv"], 1, "good.csv is there already"),
        (["import", "good.csv", "-o", "nowhere/a.lightoff"], 1, "there is no folder nowhere"),
        (["export", "missing.lightoff", "-o", "-"], 1, "there is no recording missing.lightoff"),
        (["export", "good.csv", "-o", "-"], 1, "not a recording"),
        (["export", "a.lightoff", "-o", "good.csv"], 1, "good.csv is there already"),
        (["replay", "missing.csv", "--no-browser"], 1, "there is no file missing.csv"),
        (["replay", "a.lightoff", "--record", "a.lightoff", "--no-browser"], 1, "cannot be recorded onto itself"),
        (["import", "a.lightoff", "-o", "b.lightoff"], 1, "is a recording already"),
        (["check-job", "share.toml"], 1, "a recording of its own, by its time; say lightoff watch URL"),
        (["record", "--job", "missing.toml", "--no-browser"], 1, "missing.toml"),
        (
            ["record", "--job", "share.toml", "--no-browser"],
            1,
            "a recording of its own, by its time; say lightoff watch URL",
        ),
        (["check-job", "missing.toml"], 1, "missing.toml"),
    ],
)
def test_errors_are_one_sentence_with_status_one(here, arguments, status, says):
    Path("good.csv").write_text(GOOD)
    Path("head.csv").write_text("time,draft_colector [inH2O]\n0,1\n")
    Path("share.toml").write_text('[[instrument]]\nname = "m"\ndriver = "share"\n')
    Store(Path("a.lightoff").absolute()).close() if "a.lightoff" in arguments[:2] else None
    result = lightoff(*arguments)
    assert result.exit_code == status
    assert says in one_sentence(result)
    assert Path("good.csv").read_text() == GOOD
    if arguments[0] == "import":
        assert not Path(arguments[-1]).exists() or arguments[-1] == "good.csv"
    assert not list(here.glob("*.part*"))
    assert not list(here.glob("recordings/*")), "what is refused leaves no empty recording"


def test_two_instruments_at_one_port_are_refused(here):
    instrument = (
        '[[instrument]]\nname = "{}"\ndriver = "serial"\naddress = "/dev/ttyUSB0"\nline = "(?P<p>.+)"\n'
        'channels = {{ p = "draft_vent" }}\nunits = {{ p = "Pa" }}\n'
    )
    Path("job.toml").write_text(instrument.format("one") + instrument.format("two"))
    for command in (["check-job", "job.toml"], ["record", "--job", "job.toml", "--no-browser"]):
        result = lightoff(*command)
        assert result.exit_code == 1
        assert "instruments 'one' and 'two' are both at /dev/ttyUSB0" in one_sentence(result)


@pytest.mark.parametrize(
    "arguments",
    [
        ["unknown"],
        ["import", "x.csv"],
        ["export", "a.lightoff", "-o", "a.xlsx"],
        ["replay", "x.csv", "--speed", "fast"],
        ["replay", "x.csv", "--speed", "1000"],
        ["demo", "--speed", "nan"],
        ["demo", "--for", "nan"],
        ["demo", "--for", "inf"],
        ["demo", "--port", "99999"],
        ["import", "x.csv", "-o", "y", "--start", "yesterday"],
        ["demo", "--for", "0"],
    ],
)
def test_wrong_usage_has_status_two(here, arguments):
    Path("x.csv").write_text(GOOD)
    assert lightoff(*arguments).exit_code == 2


def test_check_job_lists_every_mistake_with_its_line(here):
    Path("job.toml").write_text(
        '[furnace]\nfuel = "wood"\nrize = ["35 degF", "65 degF"]\n[[limit]]\npoint = "room_c"\n'
    )
    result = lightoff("check-job", "job.toml")
    assert result.exit_code == 1
    lines = result.stderr.splitlines()
    assert lines[0].startswith("job.toml: line 2, furnace.fuel: ")
    assert any(line.startswith("job.toml: line 3, furnace.rize: ") and "rise" in line for line in lines)
    assert any("line 5, " in line and "room_co" in line for line in lines)
    Path("job.toml").write_text("")
    assert lightoff("check-job", "job.toml").stdout == "job.toml: nothing to correct\n"


def environment(**more: str) -> dict[str, str]:
    return {**os.environ, **more}


def started(*arguments: str, folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "collector", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=folder,
    )


def test_a_typed_command_starts_quickly():
    """No heavy import before a command needs it; the time itself is in the benchmarks."""
    heavy = ("pint", "dash", "pydantic", "sqlite3", "serial", "tsdownsample")
    code = f"import sys; import collector.cli; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_two_recorders_on_one_file(tmp_path):
    """The second is refused in one sentence, the first goes on undisturbed."""
    with started("record", "-o", "a.lightoff", "--no-browser", "--for", "60", folder=tmp_path) as first:
        assert first.stdout is not None
        while "page:" not in (line := first.stdout.readline()):
            assert line, first.communicate()[1]
        second = started("record", "-o", "a.lightoff", "--no-browser", folder=tmp_path)
        _, said = second.communicate(timeout=30)
        assert second.returncode == 1
        assert "is being recorded by another program" in said
        assert first.poll() is None
        first.terminate()
        output, said = first.communicate(timeout=30)
        assert first.returncode == 0, said
        assert "0 lost" in output
    with Recording(tmp_path / "a.lightoff") as recording:
        assert [event.text for event in recording.events({EventKind.RECORDER})] == [
            "recording started",
            "recording stopped",
        ]


def test_a_port_in_use_is_said_and_another_taken(tmp_path):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with started(
            "demo", "--for", "30", "--no-browser", "--port", str(port), "-o", "a.lightoff", folder=tmp_path
        ) as demo:
            assert demo.stdout is not None
            while not (line := demo.stdout.readline()).startswith("page:"):
                assert line
            demo.terminate()
            demo.communicate(timeout=30)
    assert f"port {port} is taken, this one was free" in line
    assert f":{port}/" not in line


def test_a_replay_of_a_recording_brings_its_job_its_notes_and_its_zeroing(tmp_path):
    channel = Channel("draft_collector", "draft meter", "inH2O")
    from analysis.model import Event
    from collector.normalize import series, zeroing

    with Store(tmp_path / "a.lightoff") as store:
        store.append(
            [
                channel,
                Event(1, EventKind.JOB, "job", None, {"text": "[humidifier]\nsetting = 0.38\n"}),
                Reading(channel.key, 10**9, 0.03),
                zeroing(channel, 0.03, 10**9 + 1),
                Event(2 * 10**9, EventKind.NOTE, "trap cleared"),
                Reading(channel.key, 3 * 10**9, -1.22),
            ]
        )
    with started(
        "replay",
        "a.lightoff",
        "--speed",
        "max",
        "--record",
        "b.lightoff",
        "--no-browser",
        "--for",
        "3",
        folder=tmp_path,
    ) as replay:
        output, said = replay.communicate(timeout=60)
    assert replay.returncode == 0, said
    assert "stopped: 2 readings, 0 lost" in output
    with Recording(tmp_path / "b.lightoff") as recording:
        (played,) = recording.channels
        assert played.instrument == "replay: draft meter"
        assert recording.job() == "[humidifier]\nsetting = 0.38\n"
        assert [event.text for event in recording.events({EventKind.NOTE})] == ["trap cleared"]
        assert series(recording, played).value == pytest.approx([0.03 * 249.08891, -1.25 * 249.08891])


def test_kill_9_of_the_whole_program_leaves_a_recording_that_opens(tmp_path):
    with started("demo", "--no-browser", "--speed", "20", "-o", "a.lightoff", folder=tmp_path) as demo:
        deadline = time.monotonic() + 30
        count = 0
        while count < 2000 and time.monotonic() < deadline:
            time.sleep(0.05)  # polls a file of another process
            if (tmp_path / "a.lightoff").exists():
                with suppress(RecordingError), Recording(tmp_path / "a.lightoff") as recording:
                    count = sum(recording.read(channel.key).time.size for channel in recording.channels)
        demo.kill()
        demo.communicate()
    with Recording(tmp_path / "a.lightoff") as recording:
        after = sum(recording.read(channel.key).time.size for channel in recording.channels)
        assert after >= count >= 2000
        assert json.dumps(recording.events({EventKind.JOB})[0].data["name"])
    again = ("replay", "a.lightoff", "--no-browser", "--for", "1", "--port", "0")
    with started(*again, folder=tmp_path) as replay:
        output, said = replay.communicate(timeout=60)
    assert replay.returncode == 0, said
    assert " 0 lost" in output
    with started("record", "-o", "a.lightoff", "--no-browser", "--for", "1", folder=tmp_path) as record:
        _, said = record.communicate(timeout=60)
    assert record.returncode == 0, said


def test_a_second_interrupt_cuts_nothing_short(tmp_path):
    """Impatient hands: the stop under way goes on, and everything taken in is recorded."""
    with started("demo", "--no-browser", "--speed", "100", "-o", "a.lightoff", "--port", "0", folder=tmp_path) as demo:
        assert demo.stdout is not None
        while not demo.stdout.readline().startswith("page:"):
            pass
        for _ in range(5):
            demo.send_signal(signal.SIGINT)
            time.sleep(0.05)  # a hand's pace
        output, said = demo.communicate(timeout=60)
    assert demo.returncode == 0, said
    taken = int(re.search(r"stopped: (\d+) readings, 0 lost", output)[1])  # type: ignore[index]
    with Recording(tmp_path / "a.lightoff") as recording:
        assert sum(recording.read(channel.key).time.size for channel in recording.channels) == taken
    assert [file.name for file in tmp_path.iterdir()] == ["a.lightoff"]


def test_what_is_still_open_at_the_end_is_named_in_one_sentence(tmp_path):
    """A recording that is continued has it open from before."""
    from analysis.model import Event

    facts = {"list": "open", "item": "burner_box", "state": "open", "id": "open-1"}
    with Store(tmp_path / "a.lightoff") as store:
        store.append([Event(1, EventKind.CHECK, "opened: burner-box cover off", None, facts)])
    arguments = ("record", "-o", "a.lightoff", "--no-browser", "--for", "0.5", "--port", "0")
    with started(*arguments, folder=tmp_path) as record:
        _, said = record.communicate(timeout=60)
    assert record.returncode == 0, said
    assert said.splitlines() == [
        "lightoff: still open: burner-box cover off; put it back, or leave gas and power off, tagged, and tell the"
        " customer in writing"
    ]
    again = ("replay", "a.lightoff", "--no-browser", "--for", "0.5", "--port", "0")
    with started(*again, folder=tmp_path) as replay:
        _, said = replay.communicate(timeout=60)
    assert (replay.returncode, said) == (0, ""), "what was open then is not open now"


def test_an_import_that_is_asked_to_stop_leaves_nothing(tmp_path):
    (tmp_path / "in.csv").write_text("time,draft_collector [inH2O]\n" + "".join(f"{n},1\n" for n in range(1_000_000)))
    with started("import", "in.csv", "-o", "a.lightoff", folder=tmp_path) as importing:
        deadline = time.monotonic() + 20
        while not list(tmp_path.glob("a.lightoff.part*")) and time.monotonic() < deadline:
            time.sleep(0.01)  # looks at another process's files
        importing.terminate()
        _, said = importing.communicate(timeout=30)
    assert importing.returncode == 130
    assert said.strip() == "lightoff import: interrupted"
    assert [file.name for file in tmp_path.iterdir()] == ["in.csv"]


def test_standard_output_that_takes_no_more_is_said(tmp_path):
    (tmp_path / "in.csv").write_text(GOOD)
    assert lightoff("import", str(tmp_path / "in.csv"), "-o", str(tmp_path / "a.lightoff")).exit_code == 0
    command = [sys.executable, "-m", "collector", "export", str(tmp_path / "a.lightoff"), "-o", "-"]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 1
    assert "cannot write to standard output" in done.stderr
    assert "Traceback" not in done.stderr
