"""Profiles of serial instruments: the shipped ones say what their examples promise; each mistake is one sentence."""

import math

import pytest

from collector.instruments import Around, setup_of
from collector.job import parse
from collector.profile_fit import Fitting
from collector.profiles import examined, load, shipped
from drivers.found import Found
from drivers.profile import Profile
from drivers.registry import KINDS
from drivers.setup import Shared

SERIAL = sorted(name for name, path in shipped().items() if 'driver = "serial"' in path.read_text(encoding="utf-8"))


def test_each_way_to_talk_has_a_profile_to_copy_but_columns() -> None:
    assert {load(shipped()[name]).serial.format for name in SERIAL} == {"line", "separated", "query", "frame"}


@pytest.mark.parametrize("name", SERIAL)
def test_examples_of_shipped_profiles_hold(name: str) -> None:
    profile = load(shipped()[name])
    decoder = KINDS["serial"].decoder(profile)
    assert len(profile.examples) >= 2
    for example in profile.examples:
        sample, reason = decoder.decode(example.data, example.of)
        if example.refused:
            assert sample is None
            continue
        assert not reason
        assert sample is not None
        assert sample.values == pytest.approx(example.values, nan_ok=True)
        assert sample.units.items() >= example.units.items()
        assert sample.conditions == set(example.conditions)


VALUE = '[[value]]\nname = "pressure"\nunit = "Pa"\n'
FRAME = 'format = "frame"\nstart = "AA 55"\nlength = 7\nchecksum = "crc-16/modbus"\n'
PLACE = 'at = 2\ntype = "int16"\n'


@pytest.mark.parametrize(
    ("section", "value", "where", "word"),
    [
        ("", "", 2, "'pattern' is needed"),
        ('format = "separated"\n', "", 4, "'field' is needed"),
        ('format = "columns"\n', "", 4, "'columns' is needed"),
        ('format = "columns"\nseparator = ";"\n', "columns = [1, 4]\n", 4, "says nothing in the format 'columns'"),
        ('format = "query"\n', "", 4, "'query' is needed"),
        ('format = "query"\nevery = "20 s"\n', 'query = "?"\n', 4, "no longer than 'every' and 'within'"),
        ('format = "query"\n', 'query = "?"\ngroup = "x"\n', 8, "needs the 'pattern'"),
        ('format = "query"\n', 'query = "?"\nfield = "P"\n', 8, "no headings"),
        ('format = "query"\npattern = "(?P<x>.+)"\n', 'query = "?"\ngroup = "x"\nfield = 1\n', 9, "keep one"),
        ('format = "frame"\nlength = 7\n', PLACE, 2, "'start' is missing"),
        ('format = "frame"\nstart = "AA"\n', PLACE, 2, "either 'length'"),
        (FRAME + "length_at = 2\n", PLACE, 2, "either 'length'"),
        (FRAME.replace("length = 7", "length_at = 1"), PLACE, 5, "within the bytes of 'start'"),
        (FRAME.replace("crc-16/modbus", "crc-99"), PLACE, 6, "crc-16/modbus"),
        (FRAME.replace("crc-16/modbus", "none") + "checksum_from = 2\n", PLACE, 7, "without a 'checksum'"),
        (FRAME, "at = 4\ntype = 'int16'\n", 10, "ends behind the 5 bytes"),
        (FRAME, "at = 2\n", 7, "'type' is needed"),
        ('format = "line"\npattern = "(?P<pressure>.+)"\nlength = 4\n', "", 5, "says nothing in the format 'line'"),
    ],
)
def test_each_mistake_is_one_sentence_with_its_line(section: str, value: str, where: int, word: str) -> None:
    profile, mistakes = examined(f'driver = "serial"\n[serial]\n{section}{VALUE}{value}', "mine")
    assert profile is None
    (mistake,) = mistakes
    assert word in str(mistake), str(mistake)
    assert "\n" not in str(mistake)
    assert mistake.line == where


def test_a_status_that_only_says_a_unit_needs_no_words() -> None:
    text = (
        'driver = "serial"\n[serial]\nformat = "columns"\n[[value]]\nname = "p"\nunits = { "Pa" = "Pa" }\n'
        'unit_from = "shown"\ncolumns = [1, 6]\n[[value]]\nname = "shown"\nrole = "status"\ncolumns = [8, 9]\n'
    )
    profile, mistakes = examined(text, "mine")
    assert not mistakes
    assert isinstance(profile, Profile)


@pytest.mark.parametrize(("baud", "expected"), [("", 38400), ("baud = 19200", 19200)])
def test_the_job_may_say_the_baud_rate_that_an_instrument_is_set_to(baud: str, expected: int) -> None:
    job = parse(
        '[[instrument]]\nname = "m"\ndriver = "serial"\nprofile = "binary-frame"\naddress = "usb:A1"\n'
        f'channels = {{ pressure = "draft_vent" }}\n{baud}\n'
    )
    around = Around(now=lambda: 0, shared=Shared())
    assert setup_of(job.instruments[0], around).profile.serial.baud == expected


@pytest.mark.parametrize(
    ("heard", "profile", "measures"),
    [
        ("P=-1.250 inH2O", "line-pressure", [("pressure", "inH2O", -1.25)]),
        ("12:00:01,112.4,F,45.2", "comma-separated", [("temp", "degF", 112.4), ("humidity", "%", 45.2)]),
        ("hello", None, []),
    ],
)
def test_a_line_that_was_heard_finds_its_profile(
    heard: str, profile: str | None, measures: list[tuple[str, str, float]]
) -> None:
    found = Found(driver="serial", address="usb:A1", name="adapter", note="says: x", facts={"heard": heard})
    fitted = Fitting(lambda: [one for one in map(load, shipped().values()) if one.driver == "serial"])(found)
    assert fitted.profile == profile
    assert [(one.name, one.unit, one.value) for one in fitted.measures] == measures
    assert not any(math.isnan(one.value or 0.0) for one in fitted.measures)
