"""What the documents say is what the program does."""

import errno
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from analysis.model import Channel
from analysis.points import DERIVED, MEASURES, POINTS
from collector import job
from collector.cli import main
from collector.instruments import build
from collector.rows import Rows
from collector.sinks.lines import Writer
from drivers.codecs.recording_csv import CsvReader, parse_head
from drivers.port_errors import opening_error
from drivers.registry import KINDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
PATH = re.compile(r"`((?:analysis|drivers|collector|dashboard|tests)/[\w/.]+)`")


def on_screen(measure: str) -> str:
    known = MEASURES[measure]
    if measure == "contact":
        return "0 / 1"
    same = known.trade_label == known.metric_label
    return known.trade_label if same else f"{known.trade_label} or {known.metric_label}"


def test_the_table_of_points_the_code_and_the_csv_reader_agree():
    rows = re.findall(r"^\| `(\w+)` \| (.+?) \| `\[(.+?)\]` \| (.+?) \|$", README, re.MULTILINE)
    assert rows == [
        (name, point.text, MEASURES[point.measure].trade, on_screen(point.measure)) for name, point in POINTS.items()
    ]
    channels = parse_head(["time", *(f"{name} [{unit}]" for name, _, unit, _ in rows)], "call")
    assert [channel.point for channel in channels] == list(POINTS)


def test_the_table_of_derived_quantities_agrees():
    table = README.partition("| derived | what | on screen |")[2].partition("\n\n")[0]
    rows = re.findall(r"^\| `(\w+)` \| ([^|`]+?) \| ([^|`]+?) \|$", table, re.MULTILINE)
    assert rows == [(name, point.text, on_screen(point.measure)) for name, point in DERIVED.items()]


def test_every_command_is_in_the_readme_and_no_other():
    assert set(re.findall(r"^\| `lightoff ([\w-]+)", README, re.MULTILINE)) == set(main.commands)


def block(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def test_the_example_of_a_csv_file_is_read():
    (example,) = [text for text in block("") if text.startswith("time,")]
    reader = CsvReader(example.splitlines(keepends=True), "call")
    assert len(list(reader)) == 3
    assert reader.problem_count == 0


def test_the_examples_of_a_job_file_have_no_mistake_and_their_instruments_can_be_made():
    made = [build(job.parse(example).instruments, now=lambda: 0) for example in block("toml")]
    keys = [[channel.key for driver in drivers for channel in driver.channels] for drivers in made]
    assert keys == [["draft_switch@switch manometer"], ["draft_collector@draft gauge"]]


def test_the_table_of_drivers_has_each_once():
    table = README.partition("| driver | address | what it reads |")[2].partition("\n\n")[0]
    assert sorted(re.findall(r"^\| `(\w+)`", table, re.MULTILINE)) == sorted(KINDS)


def test_the_examples_of_computation_are_computed():
    examples = re.findall(r"^\$ lightoff (compute .+)$", README, re.MULTILINE)
    assert examples
    for example in examples:
        result = CliRunner().invoke(main, shlex.split(example))
        assert (result.exit_code, "±" in result.stdout) == (0, True), result.stderr


def test_the_cautions_come_before_the_commands():
    assert README.index("**Cautions.**") < README.index("## Two commands")
    for danger in ("carbon monoxide", "mains voltage", "moving parts", "Local\n> codes", "maker's instructions"):
        assert danger in README


@pytest.mark.parametrize("name", sorted(set(PATH.findall(DEVELOPERS))))
def test_every_path_named_for_developers_exists(name):
    assert (ROOT / name).exists()


def test_every_make_target_named_exists():
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(), re.MULTILINE))
    assert set(re.findall(r"`make ([a-z]+)`", README + DEVELOPERS)) <= targets


@pytest.mark.parametrize(
    ("missing", "says"),
    [
        ("ensurepip", "run: sudo apt-get install -y python3-venv"),
        ("version_info", "lightoff needs Python 3.11 or newer"),
    ],
)
def test_what_the_machine_lacks_is_said_before_anything_is_made(tmp_path, missing, says):
    """`make demo` with a Python that fails where the part is asked for."""
    python = tmp_path / "python3"
    python.write_text(f'#!/bin/sh\ncase "$2" in *{missing}*) exit 1;; esac\nexec {sys.executable} "$@"\n')
    python.chmod(0o755)
    (tmp_path / "Makefile").write_text((ROOT / "Makefile").read_text())
    command = ["make", "-C", str(tmp_path), "demo", f"PYTHON={python}"]
    made = subprocess.run(command, capture_output=True, text=True, check=False)
    assert made.returncode != 0
    assert says in made.stderr
    assert not (tmp_path / ".venv").exists()


def test_pins_name_no_index_and_cover_what_is_needed():
    pins = (ROOT / "constraints.txt").read_text()
    assert all(re.fullmatch(r"[A-Za-z0-9_.-]+==[\w.]+", line) for line in pins.splitlines())
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    pinned = {line.split("==")[0].lower().replace("_", "-") for line in pins.splitlines()}
    wanted = [
        *project["dependencies"],
        *(name for extra in project["optional-dependencies"].values() for name in extra),
    ]
    assert {re.split(r"[\[>=<]", name)[0].lower() for name in wanted} <= pinned


def test_no_module_is_longer_than_four_hundred_lines():
    known = ["git", "ls-files", "-co", "--exclude-standard", "*.py", "*.js"]
    files = subprocess.run(known, cwd=ROOT, capture_output=True, text=True, check=True).stdout.split()
    lengths = {name: len((ROOT / name).read_text().splitlines()) for name in files if (ROOT / name).exists()}
    assert {name: length for name, length in lengths.items() if length > 400} == {}


DOCUMENTS = sorted((ROOT / "docs").glob("*.md"))


@pytest.mark.parametrize("document", DOCUMENTS, ids=[path.name for path in DOCUMENTS])
def test_every_link_in_a_document_leads_somewhere(document):
    links = re.findall(r"\]\(([^)#]+)\)", document.read_text())
    assert [link for link in links if not (document.parent / link).exists()] == []


@pytest.mark.parametrize("document", DOCUMENTS, ids=[path.name for path in DOCUMENTS])
def test_every_command_and_option_in_a_document_exists(document):
    text = document.read_text()
    for name, rest in re.findall(r"lightoff (?!\()([a-z][\w-]*)([^`\n]*)", text):
        if not re.search(rf"`(?:\$ )?lightoff {name}|^\$ lightoff {name}", text, re.MULTILINE):
            continue  # prose
        command = main.commands[name]
        known = {option for parameter in command.params for option in parameter.opts}
        assert set(re.findall(r"(?<!\S)--[\w-]+", rest)) <= known, f"lightoff {name}{rest}"


def test_what_to_know_before_a_live_circuit_comes_first():
    """Practice of the trade: a meter that is not isolated puts the computer at mains voltage."""
    text = (ROOT / "docs" / "connecting.md").read_text()
    caution = text.index("mains voltage")
    assert caution < text.index("\n## ")
    for words in ("isolated", "flame rod", "igniter", "power off", "maker's instructions"):
        assert words in text[: text.index("\n## ")]
    assert "before" in (ROOT / "docs" / "profiles.md").read_text().split("## A worked example")[0]


def test_the_example_of_a_broker_is_a_job_without_a_password():
    text = (ROOT / "docs" / "connecting.md").read_text()
    (example,) = re.findall(r"^```toml\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    (instrument,) = job.parse(example).instruments
    assert (instrument.driver, instrument.secret) == ("mqtt", "env:BROKER_PASSWORD")


def test_the_sentences_that_are_explained_are_those_of_the_program(tmp_path):
    text = (ROOT / "docs" / "connecting.md").read_text()
    port = "/dev/ttyUSB0"
    for number in (errno.ENOENT, errno.EBUSY, errno.ENOTTY):
        said = str(opening_error("meter", port, "", OSError(number, "")))
        assert f"| `{said.removeprefix('meter: ')}` |" in text
    denied = str(opening_error("meter", port, "", OSError(errno.EACCES, "")))
    assert denied.startswith("meter: this user may not open /dev/ttyUSB0; ")
    (tmp_path / "port").touch()
    (tmp_path / "port").chmod(0o660)
    ours = str(opening_error("meter", str(tmp_path / "port"), "", OSError(errno.EACCES, "")))
    group = (tmp_path / "port").group()
    assert ours.removeprefix("meter: ").replace(str(tmp_path / "port"), port).replace(f"'{group}'", "'dialout'") in text


def test_the_table_of_what_arrives_on_a_server_has_every_tag():
    """`call`, `technician`, `company` and `equipment` are of the call, the others of `collector.sinks.lines`."""
    text = (ROOT / "docs" / "fleet.md").read_text()
    rows = re.findall(
        r"^\| `(\w+)` \| ", text.partition("| tag | what | example |")[2].partition("\n\n")[0], re.MULTILINE
    )
    time = np.array([0, 1])
    about = dict.fromkeys(("call", "technician", "company", "equipment"), "x")
    writer = Writer(Channel("draft_switch", "meter", "inH2O"), about)
    lines = writer.lines(Rows(time, np.array([1.0, 2.0]), np.zeros(2, np.int8))).text
    assert sorted(rows) == re.findall(r",(\w+)=", lines[1].partition(" ")[0])
    (example,) = re.findall(r"^```toml\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    archive = job.parse(example).archive
    assert (archive.bucket, archive.secret, archive.technician) == ("lightoff", "env:ARCHIVE_TOKEN", "van 7")
