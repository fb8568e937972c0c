"""`lightoff scan` as it is typed: what it shows, how it goes on, how it stops."""

import asyncio
import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from contextlib import suppress

import click
import pytest
from click.testing import CliRunner, Result

from collector import scan_command
from collector.cli import main
from collector.cli_instruments import search_for_instruments
from collector.command_line import Command
from collector.scan import Search
from collector.scan_text import answer, found_plain, line, ordered, plain, table
from drivers import registry
from drivers.base import NotPermittedError
from drivers.found import Found, Measured
from drivers.registry import Kind, Tell
from tests.collector.test_scan import for_ever, kind, raising, telling

METER = Found(
    driver="serial",
    address="/dev/ttyUSB0",
    name="draft meter",
    profile="line-pressure",
    measures=(Measured(name="pressure", unit="inH2O", value=-1.25),),
    note="its first line was cut",
)
STRANGER = Found(driver="ble", address="00:00:5E:00:53:01", name="\x1b[2Jtelephone", signal=-80)
CLOSE = Found(driver="ble", address="00:00:5E:00:53:02", name="", signal=-40)
OFF = NotPermittedError("Bluetooth", "its adapter is off", "switch it on")


def run(kinds: dict[str, Kind], *, seconds: float = 0.2, watching: bool = False, as_json: bool = False) -> Result:
    @click.command(cls=Command)
    def command() -> None:
        search_for_instruments(kinds, {}, seconds, watching=watching, as_json=as_json)

    return CliRunner().invoke(command, [], catch_exceptions=False)


def test_what_is_found_is_a_table_and_lines_for_the_job_file():
    result = run({"serial": kind(telling(METER)), "ble": kind(telling(STRANGER, CLOSE))})
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    assert lines[:5] == [
        "transport  address            name           signal   profile        shows",
        "serial     /dev/ttyUSB0       draft meter    -        line-pressure  pressure -1.25 inH2O",
        "    its first line was cut",
        "ble        00:00:5E:00:53:02  -              -40 dBm  -              -",
        "ble        00:00:5E:00:53:01  ?[2Jtelephone  -80 dBm  -              -",
    ]
    assert '# pressure = "..."   # remove the # and choose: draft_burner_box' in result.stdout
    assert result.stdout.count("[[instrument]]") == 1, "not one for each telephone in the street"
    assert "2 Bluetooth transmitters in reach say nothing" in result.stdout


def test_a_transport_that_cannot_look_is_told_beside_what_the_others_found():
    result = run({"ble": kind(raising(OFF)), "serial": kind(telling(METER))})
    assert result.exit_code == 0
    assert "Bluetooth: its adapter is off; switch it on" in result.stdout.splitlines()
    assert "/dev/ttyUSB0" in result.stdout


def test_where_nothing_could_be_looked_at_the_status_is_one():
    result = run({"ble": kind(raising(OFF))})
    assert result.exit_code == 1
    assert "Bluetooth: its adapter is off; switch it on" in result.stdout
    assert "Nothing could be looked at." in result.stdout


def test_nothing_found_says_what_was_looked_at_and_what_to_try():
    async def probe(address: str, seconds: float, tell: Tell) -> None:
        return

    result = run({"serial": kind(telling()), "ble": kind(raising(OFF)), "modbus": kind(None, probe)})
    assert result.exit_code == 0
    assert re.search(r"^Nothing was found\. Looked for [\d.]+ s at: serial ports\.$", result.stdout, re.MULTILINE)
    assert "plug the instrument in" in result.stdout
    assert "--modbus an address" in result.stdout
    assert "within a few steps" not in result.stdout, "no advice on what could not be looked at"
    assert "docs/connecting.md" in result.stdout


def test_as_json():
    result = run({"serial": kind(telling(METER)), "ble": kind(raising(OFF))}, as_json=True)
    assert result.exit_code == 0
    content = json.loads(result.stdout)
    (one,) = content["found"]
    assert one["measures"] == [{"name": "pressure", "unit": "inH2O", "value": -1.25}]
    assert one["entry"].startswith("[[instrument]]\n")
    assert content["troubles"] == {"ble": "Bluetooth: its adapter is off; switch it on"}
    assert content["looked"] == ["serial", "ble"]


def test_what_cannot_be_asked_in_this_version_is_one_sentence(monkeypatch):
    monkeypatch.setattr("drivers.registry.KINDS", {"serial": kind(telling())})
    result = CliRunner().invoke(main, ["scan", "--modbus", "/dev/ttyUSB0"], catch_exceptions=False)
    assert result.exit_code == 1
    assert result.stderr == (
        "lightoff scan: modbus instruments cannot be asked in this version; leave that option out\n"
    )


@pytest.mark.parametrize(
    "asked", [["--modbus", "/dev/ttyNOPE"], ["--modbus", "bogus:1:2"], ["--mqtt", "mqtt://127.0.0.1:1"]]
)
def test_an_address_that_was_asked_for_and_could_not_be_looked_at_has_status_one(monkeypatch, asked):
    monkeypatch.setattr("drivers.registry.KINDS", {**registry.KINDS, "ble": kind(None), "serial": kind(telling(METER))})
    result = CliRunner().invoke(main, ["scan", "--for", "0.5", *asked], catch_exceptions=False)
    assert result.exit_code == 1
    assert "/dev/ttyUSB0" in result.stdout, "what the others found is shown"


def test_the_password_of_a_broker_comes_from_where_it_is_kept(monkeypatch, tmp_path):
    asked: list[str | None] = []

    async def probe(_address: str, _seconds: float, _tell: Tell, *, secret: str | None = None) -> None:
        asked.append(secret)

    monkeypatch.setattr("drivers.mqtt_probe.probe", probe)
    monkeypatch.setattr("drivers.registry.KINDS", {"mqtt": registry.KINDS["mqtt"]})
    monkeypatch.setenv("LIGHTOFF_BROKER", "from the environment")
    (tmp_path / "key").write_text("from a file\n")
    for place in (["--secret", "env:LIGHTOFF_BROKER"], ["--secret", f"file:{tmp_path / 'key'}"], []):
        arguments = ["scan", "--for", "0.1", "--mqtt", "mqtt://reader@192.0.2.10", *place]
        assert CliRunner().invoke(main, arguments, catch_exceptions=False).exit_code == 0
    assert asked == ["from the environment", "from a file", None]


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["--mqtt", "mqtt://u@127.0.0.1:1", "--secret", "env:LIGHTOFF_NOT_THERE"], 1, "has no LIGHTOFF_NOT_THERE"),
        (["--mqtt", "mqtt://u@127.0.0.1:1", "--secret", "hunter2"], 2, "'env:NAME' for the environment"),
        (["--secret", "env:LIGHTOFF_NOT_THERE"], 2, "--secret is for the broker of --mqtt"),
    ],
)
def test_a_password_that_is_not_there_is_told_before_anything_is_looked_at(arguments, status, says):
    result = CliRunner().invoke(main, ["scan", *arguments], catch_exceptions=False)
    assert result.exit_code == status
    assert says in result.stderr
    assert "hunter2" not in result.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="the system's radio is asked otherwise elsewhere")
def test_a_library_that_guesses_says_nothing(tmp_path):
    command = [sys.executable, "-m", "collector", "scan", "--for", "0.1"]
    environment = {**os.environ, "PATH": str(tmp_path)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60, check=False)
    assert done.stderr == ""
    assert "Errno" not in done.stdout


@pytest.mark.parametrize("arguments", [["--for", "0"], ["--for", "nan"], ["extra"]])
def test_wrong_usage_has_status_two(arguments):
    assert CliRunner().invoke(main, ["scan", *arguments]).exit_code == 2


async def test_live_values_are_shown_as_they_change(monkeypatch):
    monkeypatch.setattr(scan_command, "PACE", 0.01)
    said: list[str] = []
    go_on = asyncio.Event()

    async def look(seconds: float, tell: Tell) -> None:
        tell(METER)
        await go_on.wait()
        tell(
            Found(
                driver="serial",
                address="/dev/ttyUSB0",
                name="",
                measures=(Measured(name="pressure", unit="inH2O", value=-1.2),),
            )
        )
        await asyncio.Event().wait()

    def heard(text: str) -> None:
        said.append(text)
        go_on.set()

    search = Search({"serial": kind(look)})
    await scan_command.watch(search, 0.3, scan_command.news(heard, said.append, as_json=False))
    assert said == [
        "serial /dev/ttyUSB0 draft meter: pressure -1.25 inH2O\n",
        "serial /dev/ttyUSB0 draft meter: pressure -1.2 inH2O\n",
    ]


async def test_a_trouble_is_told_once_however_often_it_comes_back(monkeypatch):
    monkeypatch.setattr(scan_command, "PACE", 0.01)
    monkeypatch.setattr("collector.scan.REST", 0.01)
    complaints: list[str] = []
    search = Search({"ble": kind(raising(OFF))})
    await scan_command.watch(search, 0.2, scan_command.news(print, complaints.append, as_json=True))
    assert complaints == ["Bluetooth: its adapter is off; switch it on\n"]


async def test_a_table_is_written_over_the_one_before_and_fits_the_terminal(monkeypatch):
    monkeypatch.setattr(scan_command, "get_terminal_size", lambda: os.terminal_size((40, 12)))
    written: list[str] = []
    search = Search({"serial": kind(telling(*(_numbered(number) for number in range(30)))), "ble": kind(raising(OFF))})
    show = scan_command.screen(written.append)
    show(search)
    await search.run(0.1)
    show(search)
    show(search)
    assert written[0] == "nothing yet\nstop with Ctrl+C\n"
    assert written[1].startswith("\x1b[2A\x1b[J")
    height = written[1].count("\n")
    assert height <= 11, "one line is left for the cursor"
    assert written[2].startswith(f"\x1b[{height}A\x1b[J")
    assert max(len(row) for row in written[1].removeprefix("\x1b[2A\x1b[J").splitlines()) < 40
    assert "more lines" in written[1]
    assert "Bluetooth: its adapter is off" in written[1]


def _numbered(number: int) -> Found:
    return Found(driver="serial", address=f"/dev/ttyUSB{number}", name="a long name that fills the line")


def test_the_likeliest_come_first():
    assert ordered([STRANGER, CLOSE, METER]) == [METER, CLOSE, STRANGER]
    units = [Found(driver="modbus", address="/dev/ttyUSB1", name="", device=number) for number in (10, 9)]
    assert [one.device for one in ordered(units)] == [9, 10]
    assert "unit 9" in table(units)


def test_words_and_plain_values_hold_the_same():
    assert line(CLOSE) == "ble 00:00:5E:00:53:02: no value yet"
    assert found_plain(METER)["note"] == "its first line was cut"
    search = Search({})
    assert plain(search)["found"] == []
    assert "Nothing could be looked at." in answer(search, 1.0, kinds={})


async def test_the_search_ends_when_showing_it_fails():
    def broken(search: Search) -> None:
        raise BrokenPipeError

    with pytest.raises(BrokenPipeError):
        await scan_command.look(Search({"ble": kind(for_ever)}), 60, broken)


PROGRAM = """
import asyncio, signal
from collector.cli_instruments import search_for_instruments
from drivers.found import Found, Measured
from drivers.registry import KINDS, Kind
async def look(seconds, tell):
    facts = {"address": "/dev/ttyUSB0", "name": "draft meter", "profile": "line-pressure"}
    tell(Found(driver="serial", measures=(Measured(name="pressure", unit="inH2O", value=-1.25),), **facts))
    await asyncio.Event().wait()
def stop(*_):
    raise KeyboardInterrupt  # as the command line does
signal.signal(signal.SIGTERM, stop)
kind = Kind(KINDS["serial"].make, KINDS["serial"].decoder, look, "")
search_for_instruments({"serial": kind}, {}, None, watching=True, as_json=False)
"""


def test_a_stop_ends_watching_with_the_lines_to_paste():
    command = [sys.executable, "-c", PROGRAM]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "serial /dev/ttyUSB0 draft meter: pressure -1.25 inH2O\n"
        program.send_signal(signal.SIGTERM)
        output, said = program.communicate(timeout=20)
    assert (program.returncode, said) == (0, "")
    assert "[[instrument]]" in output


def test_on_a_terminal_the_table_is_rewritten_until_ctrl_c():
    ours, theirs = pty.openpty()
    environment = {**os.environ, "COLUMNS": "100", "LINES": "20"}
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM], stdout=theirs, stderr=theirs, stdin=theirs, env=environment, close_fds=True
    )
    os.close(theirs)
    shown, stopped, deadline = b"", False, time.monotonic() + 20
    try:
        with suppress(OSError):  # its end, on Linux
            while time.monotonic() < deadline:
                if select.select([ours], [], [], 0.1)[0]:
                    piece = os.read(ours, 4096)
                    if not piece:
                        break
                    shown += piece
                if shown.count(b"\x1b[J") >= 1 and not stopped:
                    stopped = True
                    program.send_signal(signal.SIGINT)
        assert program.wait(10) == 0, shown
    finally:
        program.kill()
        program.wait()
        os.close(ours)
    assert b"\x1b[3A\x1b[J" in shown, "head, meter and the line on how to stop"
    assert b"[[instrument]]" in shown
