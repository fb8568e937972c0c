"""Profiles: every mistake with its line and sentence, where they are found, and what the shipped ones say."""

import math
import re
from functools import partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.job_lines import JobError
from collector.profiles import available, examined, load, named, own_folder, parse, secret_from, shipped
from drivers.base import InputError
from drivers.profile import Condition, Example, Profile, Role
from drivers.registry import KINDS

LINE = """\
driver = "serial"
serial.pattern = '(?P<pressure>\\S+) (?P<unit>\\S+)'
[[value]]
name = "pressure"
unit = "inH2O"
"""

MISTAKES = r"""driver = "gpib"                # driver; not one of serial, ble, modbus, mqtt
colour = 3                                     # colour; unknown key 'colour'
silence = "10"                                 # silence; has no unit
warm_up = "-1 s"                               # warm_up; outside 0 s to 1 h
[serial]
baud = 12345                                   # serial.baud; not one of
decimal = ";"                                  # serial.decimal; not one of
parity = "mark"                                # serial.parity; not one of none, even, odd
pattern = "(?P<a>"                             # serial.pattern; not a regular expression
start = "AA 5"                                 # serial.start; pairs of hexadecimal digits
[ble]
service = "180"                                # ble.service; not a UUID
[modbus]
gap = 1000                                     # modbus.gap; whole number from 0 to 120
[mqtt]
old_after = "10"                               # mqtt.old_after; has no unit
time_path = "$..at"                            # mqtt.time_path; may lead to several places
[[value]]                                      # value[1].name; needed and missing
unit = "inch"
[[value]]
name = "Pressure 1"                            # value[2].name; not a name; use small letters
role = "gauge"                                 # value[2].role; not one of measure, battery
unit = "inH20"                                 # value[2].unit; not a unit
scale = 0                                      # value[2].scale; would make every value 0
low = "1"                                      # value[2].low; not a number
words = { OL = "overload" }                    # value[2].words; nearest known: over_range
states = { ON = "1" }                          # value[2].states; '1' is not a number
bits = { 70 = "hold" }                         # value[2].bits; 70
about = "T 1"                                  # value[2].about; 'T 1' is not a name
counter_bits = 3                               # value[2].counter_bits; whole number from 4 to 64
at = -1                                        # value[2].at; whole number
type = "int12"                                 # value[2].type; not one of
columns = [9, 3]                               # value[2].columns; first and the last column
characteristic = "xyz"                         # value[2].characteristic; not a UUID
register = 70000                               # value[2].register; whole number from 0 to 65535
topic = "a/+/b"                                # value[2].topic; not one topic
path = "$.a[*]"                                # value[2].path; may lead to several places
accuracy = "1 inH20"                           # value[2].accuracy; inH20
[[value]]
name = "p"
unit = "Pa"
units = { PA = "Pa" }                          # value[3].units; 'unit' is given too
[[example]]
text = 3                                       # example[1].text; text in quotes
hex = "5"                                      # example[1].hex; pairs of hexadecimal digits
values = { p = "high" }                        # example[1].values; not a number
conditions = "broken"                          # example[1].conditions; not one of
refused = "yes"                                # example[1].refused; true or false
"""

FURTHER = r"""driver = "mqtt"
[serial]                                       # serial; 'driver' is 'mqtt', so this section is never read
baud = 9600
[mqtt]
old_after = "60 s"                             # mqtt.old_after; says nothing without 'time_path'
[[value]]                                      # value[1]; 'unit' is missing
name = "a"
[[value]]
name = "a"                                     # value[2].name; already the name of value 1
unit = "1"
register = 3                                   # value[2].register; says nothing in a mqtt profile
low = 3
high = 2                                       # value[2].high; is not above 'low'
[[value]]                                      # value[3]; a status needs 'bits' or 'words'
name = "state"
role = "status"
[[value]]
name = "b"
units = { PA = "Pa" }                          # value[4].units; 'unit_from' is missing
[[value]]
name = "c"
unit = "Pa"
unit_from = "unit"                             # value[5].unit_from; needs a 'path' # value[5].unit_from; 'units' is
[[value]]
name = "d"
units = { PA = "Pa" }
path = "$.d"
unit_from = "unit"                             # value[6].unit_from; 'unit' is not a JSON path
[[value]]                                      # value[7]; a battery is a charge in per cent
name = "battery"
role = "battery"
about = ["a"]                                  # value[7].about; only a status is about other values
[[value]]
name = "cell"
role = "battery"
unit = "V"                                     # value[8].unit; a battery is a charge in per cent
[[value]]
name = "alarms"
role = "status"
bits = { 0 = "over_range" }
about = ["a", "e"]                             # value[9].about; no value 'e' that is measured
[[example]]                                    # example[1]; exactly one of 'text' and 'hex'
values = { e = 1 }                             # example[1].values.e; there is no value 'e'
[[example]]
text = "1"
refused = true                                 # example[2].refused; says nothing
values = { battery = 80 }
"""

SHORT = r"""driver = 'serial' # value; expected a [[value]] # serial; 'pattern' is needed
serial.format = 'separated' # driver; needed and missing
value = 3 # value; expected [[value]] with two brackets # driver; needed and missing
driver = 'mqtt' # value; expected a [[value]]
[[value # ; this is not TOML
"""


def expectations(text: str) -> list[tuple[int, str, str]]:
    """Line, key and words of each mistake that a text says of itself, behind '#'."""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        for note in re.split(r"\s# ", line)[1:]:
            key, _, words = note.partition("; ")
            found.append((number, key.strip(), words.strip()))
    return found


def assert_told(text: str) -> None:
    profile, mistakes = examined(text, "mine")
    assert profile is None
    wanted = expectations(text)
    left = list(mistakes)
    for line, key, words in wanted:
        fitting = [one for one in left if one.key == key and words in one.text and one.line in (line, 0)]
        assert fitting, f"line {line}, {key}: {words}\n" + "\n".join(map(str, left))
        left.remove(fitting[0])
    assert not left, "\n".join(map(str, left))
    assert all("\n" not in one.text for one in mistakes)


@pytest.mark.parametrize("text", [MISTAKES, FURTHER])
def test_each_mistake_is_told_with_its_line_and_a_sentence(text: str) -> None:
    assert_told(text)


@pytest.mark.parametrize("text", SHORT.splitlines())
def test_what_is_missing_altogether_is_told(text: str) -> None:
    assert_told(text)


@pytest.mark.parametrize(
    ("head", "value", "key", "words"),
    [
        ("driver = 'serial'\nserial.format = 'separated'", "", "value[1]", "'field' is needed in a serial separated"),
        ("driver = 'serial'\nserial.format = 'columns'", "", "value[1]", "'columns' is needed"),
        ("driver = 'serial'\nserial.format = 'query'", "", "value[1]", "'query' is needed"),
        ("driver = 'modbus'", "", "value[1]", "'register' is needed in a modbus profile"),
        ("driver = 'ble'", "at = 0", "value[1]", "'characteristic' is needed in a ble characteristics profile"),
        ("driver = 'serial'\nserial.pattern = '(?P<p>.)'", "field = 1", "value[1].field", "given there by: group"),
        ("driver = 'mqtt'\nmqtt.time_path = '$.at'", "", "mqtt.time_path", "says nothing without 'old_after'"),
        ("driver = 'serial'\nserial.pattern = '(?P<q>.)'", "", "serial", "has no group (?P<p>...)"),
        ("driver = 'serial'\nserial.pattern = '(?P<p>(.*)*)'", "", "serial", "may take for ever"),
        (
            "driver = 'serial'\nserial.pattern = '(?P<p>.+)*'",
            "",
            "serial",
            r"write \* or \+ where the message itself has",
        ),
        (
            "driver = 'serial'\nserial.pattern = '(?P<p>.)'",
            "counter_bits = 8\ncounter_last = 999",
            "value[1].counter_last",
            "'counter_bits' is given too",
        ),
    ],
)
def test_what_a_transport_needs_is_told(head: str, value: str, key: str, words: str) -> None:
    _, mistakes = examined(f"{head}\n[[value]]\nname = 'p'\nunit = 'Pa'\n{value}\n", "mine")
    assert any(one.key == key and words in one.text for one in mistakes), mistakes


@pytest.mark.parametrize(
    ("head", "unit"), [("driver = 'mqtt'", "degF"), ("driver = 'serial'\nserial.pattern = '(?P<p>.)'", "Pa")]
)
def test_a_clock_needs_a_unit_of_time(head: str, unit: str) -> None:
    _, mistakes = examined(f"{head}\n[[value]]\nname = 'p'\nrole = 'clock'\nunit = '{unit}'\n", "mine")
    assert [unit in one.text for one in mistakes] == [True]


def test_the_first_mistake_and_their_number_stand_in_the_error() -> None:
    with pytest.raises(JobError, match=r"profile mine has 1 mistake: line 5, value\[1\].unit: ") as one:
        parse(LINE.replace("inH2O", "inH20"), "mine")
    assert one.value.where == "mine.toml"
    with pytest.raises(JobError, match="profile mine has 2 mistakes, the first: line 1, driver: "):
        parse(LINE.replace("inH2O", "inH20").replace('"serial"', '"cereal"'), "mine")


@settings(max_examples=100, deadline=None)
@given(st.lists(st.sampled_from(LINE.splitlines() + MISTAKES.splitlines() + FURTHER.splitlines()), max_size=12))
def test_any_lines_are_a_profile_or_mistakes(lines: list[str]) -> None:
    profile, mistakes = examined("\n".join(lines), "mine")
    assert (profile is None) == bool(mistakes)


def test_what_stands_in_the_file_is_in_the_profile() -> None:
    profile = parse(
        """
title = "all of it"
driver = "mqtt"
silence = "2 min"
mqtt = { old_after = "1 min", time_path = "$.at" }
[[value]]
name = "p"
units = { PA = "Pa" }
unit_from = "$.unit"
path = "$.p"
topic = "air"
scale = 0.1
missing = -999
states = { off = 0 }
[[value]]
name = "state"
role = "status"
path = "$.s"
bits = { 3 = "hold" }
words = { " bad " = "fault" }
[[example]]
of = "air"
text = '{"p": 10, "unit": "PA"}'
values = { p = 1.0 }
units = { p = "Pa" }
conditions = "hold"
""",
        "mine",
    )
    pressure, state = profile.values
    assert (profile.title, profile.silence, profile.mqtt.old_after, profile.mqtt.time_path) == (
        "all of it", 120.0, 60.0, "$.at",
    )  # fmt: skip
    assert (pressure.scale, pressure.missing, pressure.topic, pressure.states) == (0.1, (-999.0,), "air", {"off": 0.0})
    assert (state.role, state.bits, state.words) == (Role.STATUS, {3: Condition.HOLD}, {"bad": Condition.FAULT})
    assert profile.examples == (
        Example(
            of="air",
            data=b'{"p": 10, "unit": "PA"}',
            values={"p": 1.0},
            units={"p": "Pa"},
            conditions=(Condition.HOLD,),
        ),
    )


def test_there_are_shipped_profiles_for_every_kind_that_needs_one() -> None:
    drivers = {load(path).driver for path in shipped().values()}
    assert {"serial", "mqtt"} <= drivers <= set(KINDS)


def test_every_shipped_profile_loads_and_has_examples() -> None:
    for name, path in shipped().items():
        profile = load(path)
        assert profile.name == name
        assert profile.title, name
        assert profile.examples, name
        assert any(example.values for example in profile.examples), name


@pytest.mark.parametrize("name", sorted(shipped()))
def test_every_example_of_a_shipped_profile_holds(name: str) -> None:
    profile = named(name)
    for number, example in enumerate(profile.examples, start=1):
        assert_holds(profile, example, f"{name}, example {number}")


def assert_holds(profile: Profile, example: Example, where: str) -> None:
    sample, reason = KINDS[profile.driver].decoder(profile).decode(example.data, example.of)
    if example.refused:
        assert sample is None, where
        assert reason, where
        return
    assert sample is not None, f"{where}: {reason}"
    assert reason == "", f"{where}: {reason}"
    assert set(sample.values) == set(example.values), where
    for name, value in example.values.items():
        got = sample.values[name]
        assert math.isnan(got) if math.isnan(value) else got == pytest.approx(value), f"{where}: {name} is {got}"
    assert {name: sample.units.get(name) for name in example.units} == dict(example.units), where
    assert sample.conditions == set(example.conditions), where


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's own folder, empty."""
    monkeypatch.delenv("APPDATA", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    own_folder().mkdir(parents=True)
    return own_folder()


def test_a_profile_of_the_users_own_stands_in_for_a_shipped_one(own: Path) -> None:
    assert named("line-pressure").title == "pressure meter that prints lines"
    (own / "line-pressure.toml").write_text(f'title = "mine"\n{LINE}')
    (own / "other.toml").write_text(LINE)
    assert named("line-pressure").title == "mine"
    assert named("other").title == "other"
    assert set(available()) == {*shipped(), "other"}


def test_a_broken_profile_of_the_users_own_is_told_and_no_other_is_taken_for_it(own: Path) -> None:
    (own / "line-pressure.toml").write_text("driver = ")
    with pytest.raises(JobError, match="profile line-pressure has 1 mistake: line 1"):
        named("line-pressure")
    assert named("mqtt-json").driver == "mqtt"


def test_a_path_is_taken_from_the_folder_of_the_job(own: Path, tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "mine.toml").write_text(LINE)
    beside = partial(named, beside=tmp_path / "job")
    assert beside("mine.toml").name == "mine"
    assert beside(str(tmp_path / "job" / "mine.toml")).name == "mine"
    with pytest.raises(JobError, match=r"other.toml is not there"):
        beside("other.toml")


def test_a_name_that_nothing_has_is_told_with_the_nearest_and_where_one_would_be(own: Path) -> None:
    with pytest.raises(InputError, match="there is no profile 'mqtt-jsn'; nearest known: mqtt-json") as caught:
        named("mqtt-jsn")
    assert str(own) in caught.value.hint


def test_a_secret_comes_from_the_environment_or_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GATEWAY_PASSWORD", "correct horse")
    assert secret_from("env:GATEWAY_PASSWORD", "gateway") == "correct horse"
    kept = tmp_path / "secret"
    kept.write_text("battery staple\n")
    assert secret_from(f"file:{kept}", "gateway") == "battery staple"


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("env:GATEWAY_PASSWORD", "the environment has no GATEWAY_PASSWORD"),
        ("file:{folder}/none", "cannot be read from"),
        ("file:{folder}", "cannot be read from"),
        ("file:{folder}/binary", "it is not text"),
        ("file:{folder}/empty", "is empty"),
        ("file:~nobody-of-that-name/x", "cannot be read from"),
    ],
)
def test_a_secret_that_is_not_there_is_told_with_its_instrument(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str, words: str
) -> None:
    monkeypatch.setenv("GATEWAY_PASSWORD", " ")
    (tmp_path / "binary").write_bytes(b"\xff\xfe")
    (tmp_path / "empty").write_text("\n")
    with pytest.raises(InputError, match=words) as caught:
        secret_from(place.replace("{folder}", str(tmp_path)), "gateway")
    assert caught.value.what.startswith("instrument 'gateway': ")
    assert caught.value.hint


def test_blanks_around_the_name_of_a_unit_are_those_of_the_message() -> None:
    text = LINE.replace('unit = "inH2O"', 'units = { \' Pa\' = "Pa" }\nunit_from = "unit"')
    profile, mistakes = examined(text, "mine")
    assert profile, mistakes
    decoder = KINDS["serial"].decoder
    sample, reason = decoder(profile).decode(b"1.5 Pa")
    assert sample is not None
    assert (dict(sample.units), reason) == ({"pressure": "Pa"}, "")


def test_the_decimal_sign_of_a_profile_is_that_of_its_numbers() -> None:
    decoder = KINDS["serial"].decoder
    for decimal, expected in (("", None), (",", 1.234), (".", None)):
        said = f'serial.decimal = "{decimal}"\n' if decimal else ""
        profile, mistakes = examined(LINE.replace("[[value]]", f"{said}[[value]]"), "mine")
        assert profile, mistakes
        sample, reason = decoder(profile).decode(b"1,234 Pa")
        assert (sample.values["pressure"] if sample else None) == expected
        assert ("may be a decimal sign or not" in reason) == (not decimal)
