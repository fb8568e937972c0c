"""`lightoff check-profile`: every mistake with its line, every example read, a message typed in."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from collector import profile_report
from collector.cli import main
from collector.profile_report import differences, messages, report, said_of
from collector.profiles import parse
from drivers.codecs.binary import BytesDecoder
from drivers.codecs.sample import Decoded, Sample
from drivers.profile import Condition, Example, Profile, Role, SerialSection, Value
from drivers.registry import KINDS, Kind

PROFILE = """title = "an invented meter"
driver = "serial"
[serial]
pattern = 'P=(?P<pressure>\\S+) B=(?P<battery>\\S+) N=(?P<number>\\d+) S=(?P<state>\\w+)'
[[value]]
name = "pressure"
unit = "inH2O"
scale = 0.01
words = { "OL" = "over_range", "--" = "fault" }
[[value]]
name = "battery"
role = "battery"
unit = "%"
[[value]]
name = "number"
role = "counter"
[[value]]
name = "state"
role = "status"
words = { "LOW" = "low_battery", "H" = "hold" }
"""
EXAMPLE = """
[[example]]
text = "P=52 B=80 N=7 S=OK\\r\\n"
values = { pressure = 0.52, battery = 80, number = 7 }
"""
REFUSED = EXAMPLE.partition("values")[0] + "refused = true"
RIGHT = PROFILE + EXAMPLE


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    monkeypatch.delenv("APPDATA", raising=False)
    return tmp_path


def check(text: str, *more: str) -> Result:
    Path("meter.toml").write_text(text)
    return CliRunner().invoke(main, ["check-profile", "meter.toml", *more], catch_exceptions=False)


def test_a_profile_without_a_mistake_says_what_each_example_says(here):
    result = check(RIGHT)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.splitlines() == [
        "meter.toml: an invented meter (serial line, 9600 baud)",
        "  pressure: inH2O",
        "  battery: battery, %",
        "  number: counter",
        "  state: status: 'LOW' low battery, 'H' hold",
        "example 1 (line 22), 'P=52 B=80 N=7 S=OK\\r\\n': pressure 0.52 inH2O, battery 80 %, number 7; as expected",
        "nothing to correct; its example is read as expected",
    ]


def test_every_mistake_is_told_with_its_line(here):
    result = check(RIGHT.replace('unit = "inH2O"', 'unit = "inH2Q"').replace("scale = 0.01", "scael = 0.01"))
    assert result.exit_code == 1
    lines = result.stderr.splitlines()
    assert [line.split(": ")[:2] for line in lines] == [
        ["meter.toml", "line 7, value[1].unit"],
        ["meter.toml", "line 8, value[1].scael"],
    ]
    assert "scale" in lines[1]


@pytest.mark.parametrize(
    ("example", "says"),
    [
        (EXAMPLE.replace("0.52", "0.53"), "pressure: read 0.52 inH2O, expected 0.53 inH2O"),
        (EXAMPLE.replace("battery = 80", "battery = 81"), "battery: read 80 %, expected 81 %"),
        (EXAMPLE.replace("number = 7", "number = 8"), "number: read 7, expected 8"),
        (EXAMPLE.replace("0.52", "inf"), "pressure: read 0.52 inH2O, expected above its range"),
        (EXAMPLE.replace("0.52", '"none"'), "pressure: read 0.52 inH2O, expected no value"),
        (EXAMPLE.replace("P=52", "P=OL"), "pressure: read above its range, expected 0.52 inH2O"),
        (EXAMPLE.replace("P=52", "P=--"), "pressure: read no value, expected 0.52 inH2O"),
        (EXAMPLE.replace("P=52", "P=abc"), "pressure: read nothing, expected 0.52 inH2O"),
        (EXAMPLE.replace("P=52", "P=abc"), "was not read in full: it has no number where 'pressure' belongs"),
        (EXAMPLE.replace("P=52", "Q=52"), "was not read: it does not fit the pattern"),
        (EXAMPLE.replace("S=OK", "S=LOW"), "says 'low battery', which was not expected"),
        (EXAMPLE + 'conditions = "hold"', "does not say 'hold', which was expected"),
        (EXAMPLE + 'units = { pressure = "Pa" }', "pressure: read in inH2O, expected in Pa"),
        (REFUSED, "had to be refused, and was read: pressure 0.52 inH2O, battery 80 %, number 7"),
        (EXAMPLE.replace("\\r\\n", "\\r\\nP=53 B=80 N=8 S=OK"), "was not read: it holds 2 lines, and a message is one"),
        (EXAMPLE.replace("P=52 B=80 N=7 S=OK", ""), "was not read: it is empty"),
    ],
)
def test_an_example_that_is_read_otherwise_shows_both(here, example, says):
    result = check(PROFILE + example)
    assert result.exit_code == 1
    assert f"  {says}" in result.stdout.splitlines()
    assert result.stdout.splitlines()[-1] == "examples read otherwise than expected: 1 of 1"


def test_a_line_that_does_not_fit_is_told_where(here):
    says = "  it fits as far as 'P=52 '; then the pattern goes on with B=(?P<battery>"
    assert any(
        line.startswith(says) and line.endswith("and the message with 'C=80 N=7 S=OK'")
        for line in check(PROFILE + EXAMPLE.replace("B=80", "C=80")).stdout.splitlines()
    )
    typed = check(RIGHT, "--text", "P=52 B=80").stdout.splitlines()
    assert typed[0] == "not read: the message does not fit the pattern"
    assert typed[1].startswith("it fits as far as 'P=52 B=80'; then the pattern goes on with ")
    assert typed[1].endswith(", and the message ends")
    longer = check(RIGHT, "--text", "P=52 B=80 N=7 S=OK !").stdout.splitlines()
    assert longer[1].endswith("; then the pattern ends, and the message goes on with ' !'")


def test_what_was_expected_to_be_refused_or_without_a_value_is_right(here):
    examples = (
        '[[example]]\ntext = "rubbish"\nrefused = true\n'
        '[[example]]\ntext = "P=-- B=80 N=7 S=H"\nvalues = { pressure = "none" }\nconditions = "hold"\n'
        '[[example]]\ntext = "P=OL B=80 N=7 S=OK"\nvalues = { pressure = inf }\n'
    )
    result = check(PROFILE + examples)
    assert result.exit_code == 0, result.stdout
    assert "refused, as expected: it does not fit the pattern" in result.stdout
    assert "all 3 examples are read as expected" in result.stdout


def test_a_profile_without_examples_is_told_so(here):
    result = check(PROFILE)
    assert result.exit_code == 0
    assert "it has no [[example]] yet" in result.stdout


def test_an_example_that_names_an_unknown_value_is_a_mistake_with_its_line(here):
    result = check(RIGHT + 'units = { presure = "inH2O" }\n')
    assert result.exit_code == 1
    assert "line 25" in result.stderr
    assert "there is no value 'presure'" in result.stderr


def test_as_json(here):
    result = check(PROFILE + EXAMPLE.replace("0.52", "inf"), "--json")
    assert result.exit_code == 1
    content = json.loads(result.stdout)
    assert content["right"] is False
    (one,) = content["examples"]
    assert (one["line"], one["expected"]["values"]["pressure"]) == (22, "above range")
    assert one["read"]["values"]["pressure"] == {"value": 0.52, "unit": "inH2O"}
    assert one["differences"] == ["pressure: read 0.52 inH2O, expected above its range"]
    wrong = check(PROFILE.replace("inH2O", "inH2Q"), "--json")
    assert wrong.exit_code == 1
    assert [mistake["line"] for mistake in json.loads(wrong.stdout)["mistakes"]] == [7]


def test_a_message_typed_in_is_read(here):
    result = check(RIGHT, "--text", "P=-125 B=15 N=8 S=LOW")
    assert (result.exit_code, result.stdout.splitlines()) == (
        0,
        ["pressure: -1.25 inH2O", "battery: 15 %", "number: 8", "the instrument says: low battery"],
    )
    digits = b"P=-125 B=15 N=8 S=LOW".hex(" ")
    assert check(RIGHT, "--hex", digits).stdout == result.stdout
    content = json.loads(check(RIGHT, "--text", "P=OL B=15 N=8 S=H", "--json").stdout)
    assert content["values"]["pressure"]["value"] == "above range"
    assert content["conditions"] == ["hold"]


@pytest.mark.parametrize(
    ("arguments", "status", "says"),
    [
        (["--text", "P=1"], 1, "not read: the message does not fit the pattern"),
        (["--text", "P=x B=1 N=2 S=OK"], 1, "pressure: not in this message"),
        (["--text", ""], 1, "not read: the message is empty"),
    ],
)
def test_a_message_that_is_not_read_says_why(here, arguments, status, says):
    result = check(RIGHT, *arguments)
    assert result.exit_code == status
    assert says in result.stdout.splitlines()


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["meter.toml", "--list"],
        ["meter.toml", "--text", "a", "--hex", "AA"],
        ["meter.toml", "--hex", "A"],
        ["meter.toml", "--hex", "XY"],
    ],
)
def test_wrong_usage_has_status_two(here, arguments):
    Path("meter.toml").write_text(RIGHT)
    assert CliRunner().invoke(main, ["check-profile", *arguments]).exit_code == 2


def test_a_profile_that_is_not_there_is_one_sentence(here):
    for name, says in (("line-presure", "nearest known: line-pressure"), ("missing.toml", "is not there")):
        result = CliRunner().invoke(main, ["check-profile", name])
        assert result.exit_code == 1
        assert says in result.stderr
        assert len(result.stderr.splitlines()) == 1


def test_the_list_has_shipped_and_own_profiles_and_tells_wrong_ones(here):
    folder = here / "settings" / "lightoff" / "profiles"
    folder.mkdir(parents=True)
    (folder / "mine.toml").write_text(RIGHT)
    (folder / "wrong.toml").write_text("driver = 'serial'\n")
    result = CliRunner().invoke(main, ["check-profile", "--list"], catch_exceptions=False)
    assert result.exit_code == 0
    lines = {line.split()[0]: line for line in result.stdout.splitlines()}
    assert "an invented meter" in lines["mine"]
    assert "(own: " in lines["mine"]
    assert "pressure meter that prints lines" in lines["line-pressure"]
    assert "own" not in lines["line-pressure"]
    assert "run: lightoff check-profile wrong" in lines["wrong"]
    as_json = CliRunner().invoke(main, ["check-profile", "--list", "--json"], catch_exceptions=False)
    assert {one["name"]: one["own"] for one in json.loads(as_json.stdout)}["mine"] is True


def test_every_shipped_profile_is_right_and_has_an_example(here):
    """The same as its own test by hand: what ships reads its own examples."""
    found = [report(one.name) for one in profile_report.listed()]
    assert found
    assert [(str(one.path), [mistake.text for mistake in one.mistakes]) for one in found if one.mistakes] == []
    assert [(str(one.path), wrong.differences) for one in found for wrong in one.checked if wrong.differences] == []
    assert [str(one.path) for one in found if not one.checked] == []


FRAME = Profile(
    name="frame",
    driver="serial",
    serial=SerialSection(format="frame"),
    values=(
        Value(name="pressure", unit="Pa", at=0, type="int16", order="big", missing=(-32768.0,), over_range=(32767.0,)),
        Value(name="age", role=Role.CLOCK, unit="ms", at=2, type="uint16", order="big"),
        Value(name="state", role=Role.STATUS, at=4, type="uint8", bits={0: Condition.HOLD}),
    ),
)


def test_a_frame_is_bytes_and_keeps_what_looks_like_a_line_end():
    decoder = BytesDecoder(FRAME.values)
    assert messages(FRAME, b"\r\n\r\n\x01") == [b"\r\n\r\n\x01"]
    said = said_of(FRAME, decoder, bytes.fromhex("0D 0A 05 DC 01"))
    assert dict(said.values) == {"pressure": 3338.0, "age": 1500.0}
    assert (said.units["age"], said.conditions) == ("ms", frozenset({Condition.HOLD}))
    assert said_of(FRAME, decoder, b"").refused


def test_a_line_of_headings_may_stand_before_the_values():
    """A decoder takes note of headings and says nothing of them; whatever says something is a message of its own."""

    class Headed:
        def decode(self, data: bytes, source: str = "") -> Decoded:
            return Decoded(Sample({} if data.startswith(b"t") else {"pressure": float(data)}))

    lines = replace(FRAME, serial=SerialSection(format="separated"))
    assert dict(said_of(lines, Headed(), b"time;pressure\r\n5\r\n").values) == {"pressure": 5.0}
    assert said_of(lines, Headed(), b"4\r\n5\r\n").reason == "holds 2 lines, and a message is one"


def test_a_number_of_32_bits_equals_what_is_typed_of_it():
    """IEEE 754 binary32 has 24 bits of significand: 0.523 becomes 0.523000001907."""
    values = (Value(name="pressure", unit="Pa", at=0, type="float32"),)
    said = said_of(replace(FRAME, values=values), BytesDecoder(values), bytes.fromhex("54 E3 05 3F"))
    assert differences(Example(data=b"", values={"pressure": 0.523}), said) == []
    assert differences(Example(data=b"", values={"pressure": 0.52301}), said) != []


def test_a_driver_that_this_version_has_not_is_a_mistake_and_no_crash(monkeypatch):
    monkeypatch.setattr("collector.profiles.KINDS", {})
    with pytest.raises(Exception, match="the driver 'serial' is not in this version"):
        parse(RIGHT, "meter")


def test_the_decoder_of_the_driver_is_asked_with_the_source(here, monkeypatch):
    asked: list[tuple[bytes, str]] = []

    class Asked(BytesDecoder):
        def decode(self, data, source=""):
            asked.append((data, source))
            return super().decode(data, source)

    kind = Kind(KINDS["serial"].make, lambda profile: Asked(profile.values), None, "")
    for module in ("collector.profiles", "collector.profile_report", "drivers.registry"):
        monkeypatch.setattr(f"{module}.KINDS", {"ble": kind})
    text = (
        'driver = "ble"\n[[value]]\nname = "pressure"\nunit = "Pa"\ncharacteristic = "2A6D"\ntype = "uint32"\n'
        'scale = 0.1\n[[example]]\nhex = "20 B2 0F 00"\nof = "2a6d"\nvalues = { pressure = 102864 }\n'
    )
    assert check(text).exit_code == 0, check(text).stdout
    assert check(text, "--hex", "0A 00 00 00", "--of", "2a6d").stdout == "pressure: 1 Pa\n"
    assert asked[-1] == (b"\x0a\x00\x00\x00", "2a6d")
