"""docs/profiles.md: no key is forgotten, every profile in it works, and its worked example can be followed."""

import re
import signal
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from analysis.model import EventKind
from collector.cli import main
from collector.job_lines import read_tables
from collector.profile_checks import further
from collector.profile_report import differences, said_of
from collector.profile_sections import (
    BleTable,
    ExampleTable,
    ModbusTable,
    MqttTable,
    ProfileFile,
    SerialTable,
    ValueTable,
)
from collector.profiles import examined
from collector.recording import Recording
from collector.sections import Section, validated
from drivers.registry import KINDS
from tests.system.programs import lightoff

DOCUMENT = (Path(__file__).parents[1] / "docs" / "profiles.md").read_text()
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```", DOCUMENT, re.MULTILINE | re.DOTALL)
"""Language and text, in their order."""

PROFILES = [text for language, text in BLOCKS if language == "toml" and "[[instrument]]" not in text]
SECTIONS: dict[str, type[Section]] = {
    "The file": ProfileFile,
    "`[[value]]`: what it is": ValueTable,
    "`[[value]]`: where it stands": ValueTable,
    "`[serial]`": SerialTable,
    "`[ble]`": BleTable,
    "`[modbus]`": ModbusTable,
    "`[mqtt]`": MqttTable,
    "`[[example]]`": ExampleTable,
}
"""Heading of each table of keys, and the model that reads them."""


def block(language: str, holding: str) -> str:
    found: list[str] = [text for kind, text in BLOCKS if kind == language and holding in text]
    assert len(found) == 1
    return found[0]


def rows(heading: str) -> Iterator[tuple[str, str]]:
    """Keys under a heading, each with its default as it is written there."""
    text = DOCUMENT.split(f"\n### {heading}\n", 1)[1].split("\n#", 1)[0]
    for line in re.findall(r"^\| `.+\|$", text, re.MULTILINE):
        cells = line.strip("|").split("|")
        keys, defaults = re.findall(r"`([^`]+)`", cells[0]), re.findall(r"`([^`]+)`", cells[-1])
        for index, key in enumerate(keys):
            yield key, (defaults[index] if len(defaults) == len(keys) else "")


def keys_of(model: type[Section]) -> dict[str, str]:
    """Names of a model's fields by the key in the file."""
    return {field.alias or name: name for name, field in model.model_fields.items()}


def documented() -> dict[type[Section], dict[str, str]]:
    found: dict[type[Section], dict[str, str]] = {}
    for heading, model in SECTIONS.items():
        found.setdefault(model, {}).update(rows(heading))
    return found


@pytest.mark.parametrize("model", list(dict.fromkeys(SECTIONS.values())))
def test_no_key_is_forgotten(model):
    assert set(keys_of(model)) <= set(documented()[model])


@pytest.mark.parametrize("model", list(dict.fromkeys(SECTIONS.values())))
def test_no_key_is_explained_that_there_is_not(model):
    assert set(documented()[model]) <= set(keys_of(model))


@pytest.mark.parametrize(
    ("model", "key", "default"),
    [
        (model, key, default)
        for model, found in documented().items()
        for key, default in found.items()
        if key in keys_of(model)
    ],
)
def test_the_default_is_the_one_that_is_written(model, key, default):
    field = model.model_fields[keys_of(model)[key]]
    if not default:
        assert (
            field.is_required()
            or field.get_default(call_default_factory=True) in (None, ())
            or issubclass(type(field.default), Section)
        ), "it has a default, and the document does not say which"
        return
    given: dict[str, Any] = {"name": "x"} if model is ValueTable else {}
    given = {"driver": "serial"} if model is ProfileFile else given
    read, refusals = validated(model, {**given, key: tomllib.loads(f"x = {default}")["x"]})
    assert not refusals
    assert getattr(read, keys_of(model)[key]) == field.get_default(call_default_factory=True)


def decodable(text: str) -> bool:
    """Whether this version has the codec."""
    driver, form = (
        re.search(r'^driver = "(\w+)"', text, re.MULTILINE),
        re.search(r'^format = "(\w+)"', text, re.MULTILINE),
    )
    assert driver
    if driver[1] not in KINDS:
        return False
    if driver[1] == "serial" and form and form[1] != "line":
        return (Path(__file__).parents[1] / "drivers" / "codecs" / "frames.py").exists()
    return True


@pytest.mark.parametrize("text", PROFILES, ids=[str(number) for number in range(len(PROFILES))])
def test_every_profile_in_it_is_right_and_reads_its_examples(text):
    tables = read_tables(text)
    assert isinstance(tables, tuple)
    file, refusals = validated(ProfileFile, tables[0])
    assert [(refusal["loc"], refusal["msg"]) for refusal in refusals] == []
    assert file
    assert further(file, tables[0]) == []
    assert file.examples
    if not decodable(text):
        return
    profile, mistakes = examined(text, "documented")
    assert mistakes == []
    assert profile
    decoder = KINDS[profile.driver].decoder(profile)
    for example in profile.examples:
        assert differences(example, said_of(profile, decoder, example.data, example.of)) == []


def test_every_way_to_talk_has_a_block():
    from collector.profile_checks import _PLACES

    ways = set()
    for text in PROFILES:
        file, _ = validated(ProfileFile, tomllib.loads(text))
        assert file
        ways.add((file.driver, getattr(getattr(file, file.driver), "format", "")))
    assert ways == set(_PLACES)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_worked_example_says_what_the_program_says(here):
    """Each command is typed with the files as they stand in the document before it."""
    typed = 0
    for language, text in BLOCKS:
        first = text.splitlines()[0]
        if language == "toml" and first.startswith("# example-"):
            Path(first.removeprefix("# ")).write_text(text)
        if language == "console":
            command, _, output = text.partition("\n")
            arguments = re.findall(r'"([^"]*)"|(\S+)', command.removeprefix("$ lightoff "))
            result = CliRunner().invoke(main, [quoted or plain for quoted, plain in arguments], catch_exceptions=False)
            assert (result.exit_code, result.stdout) == (0, output), command
            typed += 1
    assert typed == 4


@contextmanager
def stand_in(port: Path) -> Iterator[None]:
    """The made-up meter, as its script makes it."""
    script = block("python", "openpty")
    with subprocess.Popen([sys.executable, "-c", script, str(port)], stdout=subprocess.PIPE, text=True) as meter:
        try:
            assert meter.stdout is not None
            assert meter.stdout.readline() == f"the meter is at {port}\n"
            yield
        finally:
            meter.send_signal(signal.SIGTERM)


def test_the_worked_example_is_recorded_from_the_stand_in(here):
    profiles = [text for text in PROFILES if text.startswith("# example-draft.toml")]
    Path("example-draft.toml").write_text(profiles[-1])
    job = block("toml", "# example-job.toml").replace("/tmp/example-meter", str(here / "meter"))
    Path("example-job.toml").write_text(job)
    with stand_in(here / "meter"):
        with lightoff(
            "record", "--job", "example-job.toml", "-o", "a.lightoff", "--for", "1.5", "--port", "0", folder=here
        ) as program:
            assert program.process.wait(30) == 0
    with Recording(here / "a.lightoff") as recording:
        draft = recording.read("draft_collector@draft meter")
        assert len(draft.value) >= 3
        assert set(draft.value.tolist()) <= {-1.25, -1.24, -1.23, -1.22, -1.21}
        assert set(recording.read("temp_room@draft meter").value.tolist()) == {70.3}
        (channel,) = [one for one in recording.channels if one.point == "draft_collector"]
        assert (channel.unit, channel.accuracy, channel.response_time) == ("inH2O", "0.5 % + 0.01 inH2O", 0.3)
        problems = recording.events({EventKind.PROBLEM})
        assert [event.data.get("condition") for event in problems] == ["warming_up"]


def test_what_is_shown_as_captured_is_what_the_stand_in_sends(here):
    captured = block("text", "miniterm").splitlines()[1:]
    with stand_in(here / "meter"), (here / "meter").open("rb") as port:
        sent = [port.readline().decode().strip() for _ in captured]
    assert sent == captured


def test_what_comes_with_the_program_to_look_at_a_port_is_there():
    for module in ("miniterm", "list_ports"):
        assert f"serial.tools.{module}" in DOCUMENT
        done = subprocess.run(
            [sys.executable, "-m", f"serial.tools.{module}", "--help"], capture_output=True, text=True, check=True
        )
        assert module == "list_ports" or ("--raw" in done.stdout and "--encoding" in done.stdout)
