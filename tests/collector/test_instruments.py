"""What a job says of its instruments: what drivers are made from and what is missing, which have to be isolated."""

from dataclasses import replace

import pytest

from analysis.points import POINTS
from collector.instruments import Around, build, cautions, instrument_facts, setup_of
from collector.job import parse
from collector.job_values import native_unit
from collector.profiles import named, shipped
from drivers.base import InputError
from drivers.meter import Meter
from drivers.profile import Profile, Role, SerialSection, Value
from drivers.setup import Setup, Shared

METER = """
[[instrument]]
name = "{name}"
driver = "{driver}"
line = '(?P<value>\\S+)'
channels = {{ value = "{point}" }}
units = {{ value = "{unit}" }}
{more}
"""


def meter(name: str, point: str, unit: str, more: str = "", driver: str = "serial") -> str:
    address = f'address = "/dev/{name}"\n'
    return METER.format(name=name, point=point, unit=unit, driver=driver, more=address + more)


def test_a_meter_on_a_live_circuit_has_to_be_isolated_and_says_whether_it_is():
    job = parse(
        meter("rod", "flame_current", "uA")
        + meter("igniter", "amps_igniter", "A", "isolated = true")
        + meter("line", "volts_line", "V", "isolated = false")
        + meter("draft", "draft_vent", "Pa", "isolated = false")
        + '[[instrument]]\nname = "hand"\ndriver = "manual"\n'
    )
    facts = {
        name: (fact["isolated"], fact["needs_isolation"]) for name, fact in instrument_facts(job.instruments).items()
    }
    assert facts == {"rod": (None, True), "igniter": (True, True), "line": (False, True), "draft": (False, False)}
    assert [text.split(":")[0] for text in cautions(job.instruments)] == ["rod", "line"]


def test_contacts_that_are_often_on_the_line_circuit_need_it_too_on_a_wire_only():
    job = parse(
        meter("door", "door_closed", "1")
        + meter("blower", "blower_on", "1", "isolated = true")
        + meter("switch", "switch_closed", "1")
        + meter("radio", "door_closed", "1", driver="ble")
        + meter("simulated", "blower_on", "1", driver="simulate")
    )
    assert [text.split(":")[0] for text in cautions(job.instruments)] == ["door"]


PRESSURE = Profile(
    name="probe",
    driver="serial",
    values=(
        Value(name="pressure", unit="inH2O", accuracy="1 % + 0.01 inH2O"),
        Value(name="temperature", units={"C": "degC", "F": "degF"}, unit_from="unit"),
        Value(name="battery", role=Role.BATTERY, unit="%"),
    ),
    serial=SerialSection(pattern=r"(?P<pressure>\S+) (?P<temperature>\S+) (?P<unit>\S+) (?P<battery>\S+)"),
)


def profiles(name: str) -> Profile:
    if name == "json":
        return replace(PRESSURE, name="json", driver="mqtt", serial=SerialSection())
    return {"probe": PRESSURE, "odd": replace(PRESSURE, values=(Value(name="p", unit="Pa", accuracy="1 degF"),))}[name]


def setups(text: str) -> list[Setup]:
    around = Around(now=lambda: 0, profiles=profiles, secrets=lambda place, name: f"{name}: {place}", shared=Shared())
    return [setup_of(one, around) for one in parse(text).instruments]


GOOD = """
[[instrument]]
name = "probe 1"
driver = "serial"
profile = "probe"
address = "/dev/probe"
channels = { pressure = "draft_vent", temperature = "temp_flue" }
accuracy = "2 %"
response_time = "3 s"
isolated = true
"""


def test_what_a_job_says_of_an_instrument_is_what_its_driver_is_made_from():
    (setup,) = setups(GOOD)
    assert (setup.name, setup.profile, setup.address, setup.accuracy, setup.response_time) == (
        "probe 1", PRESSURE, "/dev/probe", "2 %", 3.0,
    )  # fmt: skip
    assert dict(setup.channels) == {"pressure": "draft_vent", "temperature": "temp_flue"}
    assert (setup.topic, setup.secret, setup.device) == ("", None, None)
    (gateway,) = setups(
        '[[instrument]]\nname = "g"\ndriver = "mqtt"\nprofile = "json"\naddress = "mqtt://reader@192.0.2.10"\n'
        'topic = "bench"\nsecret = "env:GATEWAY"\nchannels = { pressure = "draft_vent" }\n'
    )
    assert (gateway.topic, gateway.secret) == ("bench", "g: env:GATEWAY")


@pytest.mark.parametrize(
    ("old", "new", "what", "hint"),
    [
        ('address = "/dev/probe"', "", "instrument 'probe 1' has no 'address'", 'address = "/dev/ttyUSB0"'),
        ('profile = "probe"', "", "instrument 'probe 1' has no 'profile' and no 'line'", "needs one of them"),
        ('"serial"\nprofile = "probe"', '"mqtt"', "instrument 'probe 1' has no 'profile'", "`lightoff scan`"),
        ("channels = ", "# channels = ", "instrument 'probe 1' has no channels", "channels = { pressure ="),
        ('"probe"', '"json"', "driver 'serial', and its profile 'json' is for 'mqtt'", "correct one of the two"),
        ("isolated", "line = '(?P<pressure>.)(?P<temperature>.)'\nisolated", "says 'line' or 'units' too", "keep the"),
        ("isolated", 'units = { pressure = "Pa" }\nisolated', "says 'line' or 'units' too", "keep the profile"),
        ('"draft_vent"', '"temp_room"', "has 'pressure' in inH2O, and 'temp_room' is a temperature", "another point"),
        ('"temp_flue"', '"flue_o2"', "has 'temperature' in degC or degF, and 'flue_o2' is a", "choose another point"),
        (
            "pressure =",
            "presure =",
            "instrument 'probe 1': its profile has no value 'presure'",
            "pressure, temperature",
        ),
        ("temperature =", "battery =", "its profile has no value 'battery'", "it has pressure, temperature"),
        (
            'profile = "probe"',
            "line = '(?P<pressure>.)(?P<temperature>.)'",
            "does not say the unit of 'pressure'",
            "add",
        ),
        ('"serial"', '"manual"\nprofile = "none"', "", ""),
    ],
)
def test_each_thing_that_an_instrument_lacks_is_said(old: str, new: str, what: str, hint: str):
    assert old in GOOD
    job = parse(GOOD.replace(old, new, 1).replace('profile = "none"\nprofile', "profile", 1))
    if not what:
        assert build(job.instruments, lambda: 0, profiles=profiles) == []
        return
    with pytest.raises(InputError) as caught:
        build(job.instruments, lambda: 0, profiles=profiles)
    assert what in caught.value.what
    assert hint in caught.value.hint
    assert "probe 1" in caught.value.what


def test_an_accuracy_of_a_profile_that_does_not_fit_the_point_is_said_and_that_of_the_job_stands_in():
    odd = GOOD.replace('"probe"', '"odd"').replace(', temperature = "temp_flue"', "").replace("pressure =", "p =")
    assert setups(odd)[0].accuracy == "2 %"
    with pytest.raises(InputError, match="the accuracy of 'p' does not fit 'draft_vent'"):
        setups(odd.replace('accuracy = "2 %"', ""))


def test_a_driver_that_refuses_its_settings_is_a_mistake_of_the_job():
    text = (
        '[[instrument]]\nname = "g"\ndriver = "mqtt"\nprofile = "mqtt-json"\naddress = "192.0.2.10"\n'
        'topic = "bench"\nchannels = { pressure = "draft_vent" }\n'
    )
    with pytest.raises(InputError, match="instrument 'g': its address is not that of a broker"):
        build(parse(text).instruments, lambda: 0)


def test_two_bluetooth_addresses_that_differ_in_capitals_only_are_one_place():
    one = '[[instrument]]\nname = "{}"\ndriver = "ble"\nprofile = "bthome"\naddress = "{}"\n'
    first = one.format("a", "00:00:5E:00:53:0A") + 'channels = { temperature = "temp_room" }\n'
    second = one.format("b", "00:00:5e:00:53:0a") + 'channels = { temperature = "temp_flue" }\n'
    with pytest.raises(InputError, match="instruments 'a' and 'b' are both at 00:00:5e:00:53:0a"):
        build(parse(first + second).instruments, lambda: 0)


def test_two_instruments_at_one_place_are_said_and_two_topics_are_two_places():
    one = '[[instrument]]\nname = "{}"\ndriver = "mqtt"\nprofile = "mqtt-json"\naddress = "mqtt://192.0.2.10"\n{}'
    channels = 'channels = {{ temperature = "{}" }}\n'
    first = one.format("a", 'topic = "a"\n' + channels.format("temp_room"))
    for topic, allowed in (("b", True), ("a", False)):
        second = one.format("b", f'topic = "{topic}"\n' + channels.format("temp_flue"))
        if allowed:
            assert len(build(parse(first + second).instruments, lambda: 0)) == 2
            continue
        with pytest.raises(InputError, match=r"instruments 'a' and 'b' are both at mqtt://192\.0\.2\.10") as caught:
            build(parse(first + second).instruments, lambda: 0)
        assert "its own topic" in caught.value.hint
    with pytest.raises(InputError, match="are both at /dev/probe") as caught:
        build(parse(GOOD + GOOD.replace("probe 1", "probe 2")).instruments, lambda: 0, profiles=profiles)
    assert "its own address" in caught.value.hint


def test_every_value_of_a_shipped_profile_has_a_point_that_takes_its_unit():
    for name in shipped():
        profile = named(name)
        for value in profile.measures():
            fitting = [point for point in POINTS if _fits(value, point)]
            assert fitting, f"{name}: no point takes '{value.name}'"


def _fits(value: Value, point: str) -> bool:
    try:
        return all(native_unit(unit, point) for unit in value.units.values() or (value.unit,))
    except ValueError:
        return False


DIAL = Value(name="dial", units={"V": "V", "OHM": "ohm", "MA": "mA", "UA": "uA"}, unit_from="unit", low=0.0, high=600.0)


def test_a_dial_begins_with_the_first_unit_that_fits_its_point_and_limits_of_another_are_none_of_it():
    multimeter = replace(PRESSURE, values=(DIAL,), serial=SerialSection(pattern=r"(?P<dial>\S+) (?P<unit>\S+)"))
    around = Around(now=lambda: 0, profiles=lambda name: multimeter, shared=Shared())
    text = GOOD.split("channels", maxsplit=1)[0] + 'channels = { dial = "%s" }\n'
    begun = {}
    for point in ("volts_control", "flame_current"):
        (settings,) = parse(text % point).instruments
        setup = setup_of(settings, around)
        (channel,) = Meter(setup).channels
        begun[point] = (channel.instrument, channel.unit, channel.low, channel.high)
        assert setup.profile.values[0].units == DIAL.units
    assert begun == {
        "volts_control": ("probe 1", "V", 0.0, 600.0),
        "flame_current": ("probe 1", "mA", None, None),
    }
    (settings,) = parse(text % "temp_room").instruments
    with pytest.raises(InputError, match="has 'dial' in V or ohm or mA or uA, and 'temp_room' is a temperature"):
        setup_of(settings, around)


def test_the_pressure_of_the_air_around_is_refused_as_a_draft():
    job = parse(
        '[[instrument]]\nname = "room"\ndriver = "ble"\nprofile = "environmental-sensing"\n'
        'address = "00:00:5E:00:53:01"\nchannels = { pressure = "draft_collector" }\n'
    )
    with pytest.raises(InputError, match="'pressure' is from 51000 Pa on and can never be at 'draft_collector'"):
        build(job.instruments, now=lambda: 0)
