"""Looking for serial ports: what their plugs say, what is heard on them, and nothing is ever sent."""

import asyncio
import os
import threading
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from serial.tools import list_ports

from drivers import port_scan
from drivers.base import ConnectionLostError
from drivers.endings import ended
from drivers.found import Found
from drivers.port import Ear, plugs
from drivers.port_names import Plug
from drivers.port_scan import scan
from tests.drivers.ptys import PtyPort
from tests.drivers.session import nothing_left
from tests.support import until


def plug(port: PtyPort, serial_number: str | None = "A1") -> Plug:
    return Plug(
        device=str(port.path),
        serial_number=serial_number,
        vendor=7,
        product=1,
        location="1-1:1.0",
        description="adapter",
    )


def talking(port: PtyPort, data: bytes) -> Callable[[], None]:
    """Says it again and again until the returned is called."""
    stop = threading.Event()

    def talk() -> None:
        while not stop.wait(0.02):
            port.offer(data, within=0.05)

    thread = threading.Thread(target=talk, name="talker")
    thread.start()

    def end() -> None:
        stop.set()
        thread.join()

    return end


async def scanned(*there: Plug, seconds: float = 0.5) -> list[Found]:
    found: list[Found] = []
    with nothing_left():
        await scan(seconds, found.append, lister=lambda: there)
    return found


@pytest.mark.parametrize(
    ("data", "note", "heard"),
    [
        (b"P=-1.250 inH2O\r\n", "says at 9600 baud: P=-1.250 inH2O", "P=-1.250 inH2O"),
        (b"\xfe\x80\x00\x0a\x80\x0a\xff\x0a", "no text", None),
        (b"", "says nothing by itself", None),
    ],
)
async def test_a_port_is_told_at_once_and_then_what_was_heard(
    tmp_path: Path, data: bytes, note: str, heard: str | None
) -> None:
    with closing(PtyPort(tmp_path)) as port:
        end = talking(port, data) if data else lambda: None
        try:
            first, second = await scanned(plug(port))
        finally:
            end()
        with pytest.raises(BlockingIOError):
            os.read(port.master, 1)  # nothing was sent
    assert first.key == second.key == ("serial", "usb:A1", None, "")
    assert (first.name, first.facts["port"], first.facts["serial number"]) == ("adapter", str(port.path), "A1")
    assert note in second.note
    assert second.facts.get("heard") == heard


async def test_a_port_that_is_held_says_so(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port, port.held():
        (_, second) = await scanned(plug(port))
    assert "another program holds" in second.note
    assert "\n" not in second.note


async def test_a_port_that_is_gone_says_so(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port:
        there = plug(port)
        port.unplug()
        (_, second) = await scanned(there)
    assert "could not be listened to" in second.note


async def test_ports_without_a_number_of_their_own_go_by_their_name(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
    with closing(PtyPort(tmp_path / "a")) as first, closing(PtyPort(tmp_path / "b")) as second:
        twins = await scanned(plug(first), plug(second), seconds=0.0)
        (without, *_) = await scanned(plug(first, None), seconds=0.0)
        (own, *_) = await scanned(Plug(device=str(first.path)), seconds=0.0)
    assert {one.address for one in twins} == {str(first.path), str(second.path)}
    assert without.address == str(first.path)
    assert "no serial number" in without.note
    assert "this machine itself" in own.note


async def test_handshake_lines_rest_while_listening() -> None:
    class Port:
        dtr = rts = True
        sent = b""
        port: str | None = None
        opened: tuple[bool, bool] | None = None

        def __init__(self, **settings: Any) -> None:
            assert settings["port"] is None, "it would be opened with its handshake lines on"

        def open(self) -> None:
            Port.opened = (self.dtr, self.rts)

        def close(self) -> None: ...

        in_waiting = 0

        def read(self, size: int) -> bytes:
            raise OSError("gone")

    with pytest.raises(ConnectionLostError), Ear("port", opener=Port) as ear:
        ear.hear()
    assert Port.opened == (False, False)


async def test_a_search_that_is_given_up_leaves_nothing(tmp_path: Path) -> None:
    import asyncio

    with closing(PtyPort(tmp_path)) as port:
        task = asyncio.create_task(scan(port_scan.LISTEN, lambda _: None, lister=lambda: [plug(port)]))
        await asyncio.sleep(0)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task


async def test_ports_that_the_system_does_not_open_hold_nobody_up_and_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(port_scan, "GRACE", 0.4)
    release = threading.Event()
    pauses: list[float] = []
    found: list[Found] = []

    def hang(**settings: object) -> Any:
        assert release.wait(10)
        raise OSError("gone")

    async def tick() -> None:
        while True:
            before = time.monotonic()
            await asyncio.sleep(0.005)
            pauses.append(time.monotonic() - before)

    ticking = asyncio.create_task(tick(), name="tick")
    there = [Plug(device=f"/dev/none{number}") for number in range(3)]
    await scan(0.05, found.append, lister=lambda: there, opener=hang)
    count = len(pauses)
    await until(lambda: len(pauses) > count + 1, what="a pause that the end would be in")
    release.set()
    await ended(ticking, within=1)
    assert max(pauses) < 0.15, "the loop was held up"
    assert ["does not come back" in one.note for one in found] == [False] * 3 + [True] * 3
    await until(lambda: not any(one.name.startswith("listening") for one in threading.enumerate()), what="their end")


def test_the_systems_list_is_taken_over(monkeypatch: pytest.MonkeyPatch) -> None:
    class Info:
        device, serial_number, vid, pid, location = "/dev/ttyUSB0", "", 7, 1, "1-1:1.0"
        product, description = None, "n/a"

    monkeypatch.setattr(list_ports, "comports", lambda: [Info()])
    assert plugs() == [Plug(device="/dev/ttyUSB0", vendor=7, product=1, location="1-1:1.0")]

    def broken() -> list[Info]:
        raise OSError("no list")

    monkeypatch.setattr(list_ports, "comports", broken)
    assert plugs() == []


def test_the_real_list_can_be_read() -> None:
    assert all(one.device for one in plugs())
