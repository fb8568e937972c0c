"""Opening the port or connection of a Modbus line: how it is set, what takes long, who waits, what is left."""

import asyncio
import errno
import termios
import threading
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from drivers import modbus_line
from drivers.base import (
    ConnectionLostError,
    NotFoundError,
)
from drivers.modbus_frames import open_port
from drivers.modbus_line import Line, Place
from tests.drivers.modbus_bench import make
from tests.drivers.modbus_peers import RtuPeer, Unit
from tests.drivers.session import Session, nothing_left
from tests.support import until


async def test_a_port_that_has_to_be_polled_works_and_its_loss_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where no loop can wait for a port, as on Windows, it is polled."""
    monkeypatch.setattr("pymodbus.transport.serialtransport.SerialTransport.force_poll", True)
    with closing(RtuPeer(tmp_path, Unit(7, [1] * 9))) as peer:
        driver = make(peer.address)
        session = Session(driver)
        await session.until(lambda: len(session.readings) >= 3, "readings")
        peer.lose()
        assert isinstance(await session.failure(), ConnectionLostError)


async def test_a_system_that_does_not_come_back_from_opening_holds_nobody_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(modbus_line, "OPENS_WITHIN", 0.1)
    monkeypatch.setattr("drivers.modbus_wire.END", 0.1)
    release, closed = threading.Event(), threading.Event()

    def hang(*place: Any, **settings: Any) -> Any:
        assert release.wait(30)
        port = open_port(*place, **settings)
        close = port.sync_serial.close

        def closing_it() -> None:
            close()
            closed.set()

        port.sync_serial.close = closing_it
        return port

    with closing(RtuPeer(tmp_path, Unit(7, [1] * 9))) as peer:
        line = Line(Place(port=peer.address), opener=hang)
        with line.visit("meter") as visit:
            with pytest.raises(NotFoundError, match="did not open within"):
                await visit.open()
            threads = threading.active_count()
            for _ in range(5):
                with pytest.raises(NotFoundError, match="still busy opening"):
                    await visit.open()
            assert threading.active_count() == threads, "a thread for each try"
            release.set()
            assert await asyncio.to_thread(closed.wait, 10), "the late port is left open"
            await until(lambda: not any(one.name.startswith("opening") for one in threading.enumerate()), what="end")
            await visit.open()


async def test_who_waited_while_the_line_could_not_be_opened_does_not_try_anew() -> None:
    opened: list[str] = []

    def refuse(*place: Any, **settings: Any) -> Any:
        opened.append("once")
        raise OSError(errno.ENOENT, "away")

    line = Line(Place(port="/dev/none"), opener=refuse)
    with line.visit("first") as first, line.visit("second") as second:
        errors = await asyncio.gather(first.open(), second.open(), return_exceptions=True)
        assert [type(error) for error in errors] == [NotFoundError, NotFoundError]
        assert str(errors[1]).startswith("second: ")
        assert len(opened) == 1
        with pytest.raises(NotFoundError):
            await second.open()
        assert len(opened) == 2


async def test_the_port_is_set_as_the_profile_says(tmp_path: Path) -> None:
    with closing(RtuPeer(tmp_path, Unit(7, [1] * 9))) as peer:
        session = Session(make(peer.address, baud=19200))
        await session.until(lambda: session.readings, "reading")
        assert peer.port.speed == termios.B19200
        await session.cancel()


async def test_a_session_cancelled_while_its_port_opens_leaves_nothing(tmp_path: Path) -> None:
    release = threading.Event()

    def slow(*place: Any, **settings: Any) -> Any:
        assert release.wait(10)
        return open_port(*place, **settings)

    with closing(RtuPeer(tmp_path, Unit(7, [1] * 9))) as peer:
        line = Line(Place(port=peer.address), opener=slow)
        with nothing_left(), line.visit("meter") as visit:
            opening = asyncio.create_task(visit.open(), name="opening")
            await asyncio.sleep(0)
            opening.cancel()
            await asyncio.sleep(0)
            asyncio.get_running_loop().call_later(0.1, release.set)
            with pytest.raises(asyncio.CancelledError):
                await opening
