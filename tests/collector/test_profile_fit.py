"""A line that a port said, and the profile that reads it."""

import pytest

from collector.profile_fit import Fitting, readable
from collector.profiles import parse
from collector.scan import Search
from drivers.found import Found, Measured
from tests.collector.test_scan import kind, telling

LINE = "driver = 'serial'\n[serial]\npattern = '{}'\n[[value]]\nname = 'pressure'\nunit = 'Pa'\n"
STRICT = parse(
    LINE.format(r"P=(?P<pressure>\S+) B=(?P<battery>\d+)") + "words = { 'OL' = 'over_range' }\n"
    "[[value]]\nname = 'battery'\nrole = 'battery'\nunit = '%'\n",
    "strict",
)
LOOSE = parse(LINE.format(r"\w+=(?P<pressure>\S+).*"), "loose")
OTHER = parse(LINE.format(r"T=(?P<pressure>\S+)"), "other")


def heard(line: str, **more: object) -> Found:
    facts = {"driver": "serial", "address": "/dev/ttyUSB0", "name": "", "facts": {"heard": line}, **more}
    return Found(**facts)  # type: ignore[arg-type]


def test_the_one_profile_that_reads_all_of_it_is_proposed_with_its_values():
    found = Fitting(lambda: [STRICT, OTHER])(heard("P=52 B=80"))
    assert (found.profile, found.measures) == ("strict", (Measured(name="pressure", unit="Pa", value=52.0),))


def test_where_several_fit_none_is_chosen_and_all_are_named():
    found = Fitting(lambda: [STRICT, LOOSE, OTHER])(heard("P=52 B=80", note="says at 9600 baud: P=52 B=80"))
    assert found.profile is None
    assert found.note == "says at 9600 baud: P=52 B=80; the profiles strict, loose fit"


@pytest.mark.parametrize("line", ["P=abc B=80", "P=52", "", "\x00"])
def test_what_is_not_read_in_full_fits_nothing(line):
    found = heard(line)
    assert Fitting(lambda: [STRICT])(found) == found


def test_what_is_known_already_is_left():
    for found in (heard("P=52 B=80", profile="mine"), heard("P=52 B=80", driver="ble"), heard("P=52 B=80", facts={})):
        assert Fitting(lambda: [STRICT])(found) == found


def test_a_value_beyond_the_range_is_no_number():
    found = Fitting(lambda: [STRICT])(heard("P=OL B=80"))
    assert found.measures == (Measured(name="pressure", unit="Pa"),)


async def test_a_search_tries_the_profiles_that_there_are(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.delenv("APPDATA", raising=False)
    folder = tmp_path / "lightoff" / "profiles"
    folder.mkdir(parents=True)
    (folder / "mine.toml").write_text(LINE.format(r"Q-(?P<pressure>[-\d]+)-Q"))
    (folder / "wrong.toml").write_text("driver = 'serial'\n")
    names = {profile.name for profile in readable()}
    assert {"mine", "line-pressure"} <= names
    assert "wrong" not in names
    search = Search({"serial": kind(telling(heard("Q--312-Q"), heard("P=-1.250 inH2O", address="/dev/ttyUSB1")))})
    await search.run(0.1)
    first, second = search.found.values()
    assert (first.profile, first.measures[0].value) == ("mine", -312.0)
    assert (second.profile, second.measures[0].unit) == ("line-pressure", "inH2O")
