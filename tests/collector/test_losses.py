"""Losses in words: every count of every driver has its words, and only what was lost is told."""

import inspect
from collections.abc import Mapping
from typing import Any

import drivers.ble
import drivers.ble_advertised
import drivers.manual
import drivers.modbus
import drivers.mqtt
import drivers.replay
import drivers.serial_line
import drivers.serial_query
import drivers.simulate.live
from collector.losses import NO_LOSS, WORDS, losses
from collector.profiles import named
from collector.supervisor import Status
from drivers.ble_advertised import Advertised
from drivers.manual import Manual
from drivers.profile import Value
from drivers.serial_query import SerialQuery
from drivers.setup import Setup
from tests.drivers.bluetooth_bench import make as make_ble
from tests.drivers.bluetooth_bench import own_peer
from tests.drivers.brokers import make as at_broker
from tests.drivers.modbus_bench import make as make_modbus
from tests.drivers.ptys import make, setup_of


def counted() -> dict[str, Mapping[str, int]]:
    """Statistics of every driver that has any, by its class."""
    gauge = make_ble(named("characteristic-pressure"), own_peer(), {"pressure": "draft_collector"})
    facts: dict[str, Any] = {"address": "00:00:5E:00:53:01", "channels": {"temperature": "temp_room"}, "now": lambda: 0}
    thermometer = Advertised(Setup(name="thermometer", profile=named("bthome"), **facts))
    value = Value(name="pressure", unit="Pa", query="?", at=1, type="int8")
    serial = (
        make("/dev/none"),
        SerialQuery(setup_of("/dev/none", format="query", values=(value,), pattern=None)),
        make("/dev/none", format="frame", start=b"\xaa", length=4, values=(value,)),
    )
    made = (
        *serial[:2],
        Manual(now=lambda: 0),
        at_broker("mqtt://192.0.2.10"),
        gauge,
        thermometer,
        make_modbus("/dev/none"),
    )
    frames = {"SerialLine (frames)": serial[2].statistics()}
    return {**{type(driver).__name__: driver.statistics() for driver in made}, **frames}


def test_the_words_are_those_of_the_drivers_counts():
    keys = {key for statistics in counted().values() for key in statistics}
    assert set(WORDS) | NO_LOSS == keys
    assert not set(WORDS) & NO_LOSS


def test_no_driver_that_counts_is_forgotten_here():
    modules = (
        drivers.ble,
        drivers.ble_advertised,
        drivers.manual,
        drivers.modbus,
        drivers.mqtt,
        drivers.replay,
        drivers.serial_line,
        drivers.serial_query,
        drivers.simulate.live,
    )
    own = [
        kind.__name__
        for module in modules
        for kind in vars(module).values()
        if inspect.isclass(kind) and kind.__module__ == module.__name__ and hasattr(kind, "statistics")
    ]
    assert sorted(own) == sorted({name.partition(" ")[0] for name in counted()})


def test_nothing_lost_is_nothing_told():
    assert losses(Status("draft meter"), {"messages": 90, "readings": 90, "unreadable": 0, "dropped_bytes": 0}) == []


def test_losses_are_told_in_plain_words_one_and_several():
    status = Status("draft meter", lost=1, away=12.4)
    told = losses(status, {"messages": 90, "unreadable": 1, "cut_lines": 2, "discarded_bytes": 31, "new_count": 4})
    assert told == [
        "lost once, without readings for 12 s",
        "1 message could not be read",
        "2 lines came in half",
        "31 bytes of broken messages thrown away",
        "new count 4",
    ]
    assert losses(Status("draft meter", lost=3, away=600.0), {}) == ["lost 3 times, without readings for 10 min"]
    assert losses(Status("draft meter", lost=2), {}) == ["lost 2 times"]
