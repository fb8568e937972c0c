"""What a search found as lines for the job file: they load as they are, and every choice that is offered works."""

import re
from pathlib import Path

import pytest

from analysis.points import POINTS
from collector.instruments import build
from collector.job import JobError, parse
from collector.profiles import named
from collector.profiles import parse as profile_of
from collector.scan_entries import CHOOSE, clean, entries, points_for
from drivers.base import InputError
from drivers.found import Found, Measured

RIG = """driver = "serial"
[serial]
pattern = 'F=(?P<flame>\\S+) R=(?P<speed>\\S+) T=(?P<temp>\\S+) P=(?P<pressure>\\S+) H=(?P<humidity>\\S+)'
[[value]]
name = "flame"
unit = "uA"
[[value]]
name = "speed"
unit = "rpm"
[[value]]
name = "temp"
unit = "degC"
[[value]]
name = "pressure"
unit = "Pa"
[[value]]
name = "humidity"
unit = "%"
"""


def profiles(name: str):
    return profile_of(RIG, "rig") if name == "rig" else named(name)


def found(**more: object) -> Found:
    facts = {"driver": "serial", "address": "/dev/ttyUSB0", "name": "draft meter", "profile": "rig", **more}
    return Found(**facts)  # type: ignore[arg-type]


def choices(entry: str) -> dict[str, list[str]]:
    """Points offered for each value that is left open."""
    lines = re.findall(rf'^# (\w+) = "{re.escape(CHOOSE)}"   # remove the # and choose: (.+)$', entry, re.MULTILINE)
    return {value: points.split(", ") for value, points in lines}


def chosen(entry: str, value: str, point: str) -> str:
    """The lines as somebody makes them who chooses."""
    return re.sub(rf'^# {value} = "[^"]*"', f'{value} = "{point}"', entry, flags=re.MULTILINE)


@pytest.mark.parametrize(
    ("unit", "points"),
    [
        ("uA", {"flame_current"}),
        ("A", {"amps_inducer", "amps_blower", "amps_igniter"}),
        ("rpm", {"speed_inducer"}),
        ("ppm", {"flue_co", "room_co"}),
        ("mV", {name for name in POINTS if name.startswith("volts_")}),
        ("degC", {name for name in POINTS if name.startswith("temp_")}),
        ("hPa", {name for name in POINTS if POINTS[name].measure == "pressure"}),
        ("%", {name for name in POINTS if POINTS[name].measure in ("humidity", "fraction")}),
        ("1", {name for name in POINTS if POINTS[name].measure == "contact"}),
        ("", {name for name in POINTS if POINTS[name].measure == "contact"}),
        ("lux", set()),
        ("no unit at all", set()),
        ("kg", set()),
    ],
)
def test_the_points_of_a_unit(unit, points):
    assert set(points_for(unit)) == points


def test_where_one_point_alone_fits_it_stands_there_and_the_lines_work_as_pasted():
    (entry,) = entries([found()], profiles=profiles)
    job = parse(entry)
    (driver,) = build(job.instruments, now=lambda: 0, profiles=profiles)
    assert [channel.key for channel in driver.channels] == ["flame_current@draft meter", "speed_inducer@draft meter"]
    assert "# isolated = true" in entry
    assert "mains voltage" in entry


def test_every_choice_that_is_offered_works():
    (entry,) = entries([found()], profiles=profiles)
    offered = choices(entry)
    assert set(offered) == {"temp", "pressure", "humidity"}
    for value, points in offered.items():
        for point in points:
            job = parse(chosen(entry, value, point))
            (driver,) = build(job.instruments, now=lambda: 0, profiles=profiles)
            assert f"{point}@draft meter" in {channel.key for channel in driver.channels}


def test_nothing_is_guessed_and_what_is_left_open_is_refused_with_what_to_do():
    """Uncommented without a choice it is no point; left as it is there is no channel."""
    (entry,) = entries([found(profile="line-pressure")])
    job = parse(entry)
    with pytest.raises(InputError, match="'draft meter' has no channels; add channels"):
        build(job.instruments, now=lambda: 0)
    with pytest.raises(JobError, match="is not a point"):
        parse(chosen(entry, "pressure", CHOOSE))
    parse(chosen(entry, "pressure", "draft_collector"))


def test_what_an_instrument_said_goes_before_its_profile():
    (entry,) = entries([found(measures=(Measured(name="flame", unit="uA", value=2.1),))], profiles=profiles)
    assert "pressure" not in entry
    assert 'flame = "flame_current"' in entry


def test_two_values_that_fit_one_point_alone_do_not_both_take_it():
    twins = profile_of(RIG.replace("speed", "rod").replace('"rpm"', '"uA"'), "twins")
    (entry,) = entries([found(profile="twins")], profiles=lambda _: twins)
    parse(entry)
    assert 'flame = "flame_current"' in entry
    assert choices(entry)["rod"] == ["flame_current"]


def test_the_pressure_of_the_air_around_is_offered_nowhere():
    for name in ("environmental-sensing", "bthome"):
        (entry,) = entries([found(driver="ble", profile=name, measures=())])
        assert "# pressure: no point measures this" in entry


def test_what_a_gateway_says_without_a_profile_is_no_channel_yet():
    measures = (Measured(name="$.temperature", unit="", value=41.2),)
    (entry,) = entries([found(driver="mqtt", profile=None, topic="bench/duct", measures=measures)])
    assert "temperature" not in entry
    assert f'# value = "{CHOOSE}"' in entry


def test_units_of_a_line_and_topics_of_a_broker_are_told_apart():
    pasted = entries(
        [
            found(driver="modbus", name="", device=7),
            found(driver="modbus", name="", device=8),
            found(driver="mqtt", name="", address="mqtt://192.0.2.1", topic="house/duct"),
            found(driver="ble", name="", address="00:00:5E:00:53:01"),
        ],
        profiles=profiles,
    )
    job = parse("".join(pasted))
    assert [(one.name, one.driver, one.device, one.topic) for one in job.instruments] == [
        ("Modbus meter", "modbus", 7, None),
        ("Modbus meter 2", "modbus", 8, None),
        ("gateway", "mqtt", None, "house/duct"),
        ("Bluetooth meter", "ble", None, None),
    ]


def test_without_a_profile_the_lines_say_what_is_missing():
    (entry,) = entries([found(profile=None)])
    (instrument,) = parse(entry).instruments
    assert (instrument.profile, instrument.address) == (None, "/dev/ttyUSB0")
    assert "docs/profiles.md" in entry


@pytest.mark.parametrize(
    "name",
    [
        'quote " and \\ and \x7f',
        "replay: a trick",
        "line\nbreak\r[[instrument]]",
        "\x1b[2J\x1b]0;t\x07",
        "",
        "x" * 300,
        "\ud800",
    ],
)
def test_whatever_a_transmitter_calls_itself_the_lines_load(name):
    job = parse("".join(entries([found(name=name), found(name=name)], profiles=profiles)))
    assert len({one.name for one in job.instruments}) == 2
    assert all(one.name.isprintable() for one in job.instruments)


def test_what_a_terminal_would_obey_is_taken_out():
    assert clean("a\x1b[2J\x9bm\nb") == "a?[2J?m?b"


def test_the_document_that_is_named_is_there():
    assert (Path(__file__).parents[2] / "docs" / "profiles.md").exists()
