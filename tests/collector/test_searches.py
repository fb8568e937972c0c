"""The search as the page asks for it, with kinds of instruments of the test; and what may be offered of a new meter."""

import asyncio
from typing import Any

from analysis.points import POINTS, measure_of
from collector.job import parse
from collector.offers import offers, points_for
from collector.profiles import shipped
from collector.searches import Searches
from drivers.base import NotPermittedError
from drivers.found import Found, Measured
from drivers.profile import Value
from drivers.registry import KINDS, Kind, Tell
from tests.drivers.session import nothing_left
from tests.support import until

HERE = Found(
    driver="ble",
    address="00:00:5E:00:53:01",
    name="Example draft",
    signal=-60,
    profile="line-pressure",
    measures=(Measured(name="pressure", unit="Pa", value=-3.5),),
)


def kind(scan: Any) -> Kind:
    serial = KINDS["serial"]
    return Kind(serial.make, serial.decoder, scan, "00:00:5E:00:53:01")


async def radio(seconds: float, tell: Tell) -> None:
    tell(HERE)
    await asyncio.sleep(seconds)


async def forbidden(_seconds: float, _tell: Tell) -> None:
    raise NotPermittedError("modbus", "may not be looked for", "ask who may")


def searches(**more: Any) -> Searches:
    job = parse(
        '[[instrument]]\nname = "mine"\ndriver = "serial"\naddress = "/dev/x"\nprofile = "line-pressure"\n'
        'channels = { pressure = "draft_switch" }\n'
    )
    kinds = {"serial": kind(None), "ble": kind(radio), "modbus": kind(forbidden)}
    return Searches(running=lambda: job.instruments, kinds=kinds, **more)


def state(one: Searches) -> Any:
    return one.state({}).data


async def test_what_is_found_and_why_one_way_cannot_look():
    with nothing_left():
        one = searches(seconds=5.0)
        async with one.work:
            one.commands["scan_start"]({})
            await until(lambda: state(one)["found"] and len(state(one)["troubles"]) == 2, what="found")
            (found,) = state(one)["found"]
            assert (found["address"], found["signal"], found["taken"]) == ("00:00:5E:00:53:01", -60, "")
            assert found["measures"] == ({"name": "pressure", "unit": "Pa", "value": -3.5},)
            texts = {trouble["title"]: trouble["text"] for trouble in state(one)["troubles"]}
            assert texts["Modbus, on a line or the network"] == "may not be looked for; ask who may", "named once"
            assert "give its address below" in texts["USB or serial port"]
            assert state(one)["running"] is True
            one.commands["scan_stop"]({})
            await until(lambda: not state(one)["running"], what="over")
            assert len(state(one)["found"]) == 1, "what it found stays"


async def test_it_ends_with_the_page_and_with_the_call():
    with nothing_left():
        one = searches(seconds=60.0, unasked=0.1)
        async with one.work:
            one.commands["scan_start"]({})
            await until(lambda: not one.work.running, within=3, what="nobody looks on")
            one.commands["scan_start"]({})
            assert one.work.running


async def test_what_the_call_reads_already_is_told_with_its_name():
    async def port(seconds: float, tell: Tell) -> None:
        tell(Found(driver="serial", address="/dev/x", name="plug"))

    job = parse('[[instrument]]\nname = "mine"\ndriver = "serial"\naddress = "/dev/x"\n')
    one = Searches(running=lambda: job.instruments, kinds={"serial": kind(port)}, seconds=0.1)
    async with one.work:
        one.commands["scan_start"]({})
        await until(lambda: state(one)["found"], what="found")
        assert state(one)["found"][0]["taken"] == "mine"


AIR_AROUND = {("bthome", "pressure"), ("environmental-sensing", "pressure")}
"""Pressures of the air around, which are at no point."""


def test_every_shipped_profile_is_offered_with_points_that_fit():
    told: Any = offers().data
    assert told["troubles"] == []
    assert {one["name"] for one in told["profiles"]} == set(shipped())
    for profile in told["profiles"]:
        for value in profile["values"]:
            around = (profile["name"], value["name"]) in AIR_AROUND
            assert bool(value["points"]) != around, f"{profile['name']}: {value['name']} fits {value['points']}"
    assert {one["name"] for one in told["ways"]} == set(KINDS)


def test_profiles_beside_the_job_are_offered_as_files_and_what_is_none_is_left_out(tmp_path):
    (tmp_path / "mine.toml").write_text((shipped()["line-pressure"]).read_text())
    (tmp_path / "job.toml").write_text("[furnace]\nfuel = 'propane'\n")
    told: Any = offers(beside=tmp_path).data
    assert told["troubles"] == []
    (mine,) = (one for one in told["profiles"] if one["name"] not in shipped())
    assert (mine["name"], mine["driver"]) == ("mine.toml", "serial")
    assert mine["title"].endswith("(mine.toml)")


def test_the_baud_of_a_serial_meter_can_be_chosen_and_its_kind_says_its_own():
    told: Any = offers().data
    assert {way["name"] for way in told["ways"] if way["bauds"]} == {"serial"}
    assert all(bool(one["baud"]) == (one["driver"] == "serial") for one in told["profiles"])


def test_points_fit_by_the_unit():
    pressures = {name for name in POINTS if measure_of(name).name == "pressure"}
    assert set(points_for(Value(name="p", unit="hPa"))) == pressures
    assert set(points_for(Value(name="p", units={"a": "inH2O", "b": "Pa"}))) == pressures
    assert points_for(Value(name="c", unit="uA"))[0] == "flame_current"
    assert points_for(Value(name="x", unit="furlong")) == []


def test_a_profile_with_a_mistake_is_a_sentence_and_hides_no_other(tmp_path, monkeypatch):
    own = tmp_path / "lightoff" / "profiles"
    own.mkdir(parents=True)
    (own / "broken.toml").write_text("driver = 3\n")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    told: Any = offers().data
    assert "broken" in told["troubles"][0]
    assert {one["name"] for one in told["profiles"]} == set(shipped())
