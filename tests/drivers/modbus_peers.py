"""Modbus peers: a real server of pymodbus in a thread, on loopback or on a pseudo-terminal, with a tap on the way."""

import asyncio
import os
import termios
import threading
import tty
from collections import deque
from collections.abc import Callable, Coroutine, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pymodbus.constants import ExcCodes
from pymodbus.pdu.device import ModbusDeviceIdentification
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from tests.drivers.ptys import PtyPort

Thing = TypeVar("Thing")


class LoopThread:
    """An event loop in a thread of its own, so that a peer is as foreign as another machine."""

    def __init__(self) -> None:
        self.loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self.loop.run_forever, name="peer")
        self._thread.start()

    def run(self, coroutine: Coroutine[Any, Any, Thing]) -> Thing:
        """What it returns; from another thread."""
        return asyncio.run_coroutine_threadsafe(coroutine, self.loop).result(10)

    def do(self, act: Callable[[], Thing]) -> Thing:
        """Do something in the loop."""

        async def acted() -> Thing:
            return act()

        return self.run(acted())

    async def disconnect(self) -> None:
        """In the loop: end all connections, also those that were just accepted."""
        known = self.loop._transports.values()  # type: ignore[attr-defined]
        while open_ones := [transport for transport in known if transport._sock is not None]:
            for transport in open_ones:
                transport.abort()
            await asyncio.sleep(0)

    def close(self) -> None:
        """End it, and the tasks that are left in it."""

        async def end() -> None:
            left = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
            for task in left:
                task.cancel()
            await asyncio.gather(*left, return_exceptions=True)
            await self.disconnect()

        self.run(end())
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join(10)
        self.loop.close()


class Unit:
    """A unit of a server: its registers as they are, and with which exception it refuses."""

    def __init__(self, number: int, registers: Sequence[int] = (), *, rising: bool = False) -> None:
        self.number = number
        self.registers = list(registers)
        self.refuses: int | None = None
        self.absent: frozenset[int] = frozenset()
        """Addresses that it does not have: illegal data address (2)."""
        self.asked: list[tuple[int, int, int]] = []
        """Function, address and count of each question."""
        self._rising = rising

    def device(self) -> SimDevice:
        """For a server."""
        data = SimData(0, values=self.registers, datatype=DataType.REGISTERS)
        return SimDevice(self.number, simdata=data, action=self._act)

    async def _act(  # noqa: PLR0917 - as the library calls it
        self, function: int, start: int, address: int, count: int, current: list[int], new: object
    ) -> ExcCodes | None:
        self.asked.append((function, address, count))
        if self.refuses is not None:
            return ExcCodes(self.refuses)
        if not self.absent.isdisjoint(range(address, address + count)):
            return ExcCodes.ILLEGAL_ADDRESS
        if self._rising:
            self.registers[0] += 1
        current[: len(self.registers)] = self.registers
        return None


class Tap:
    """Between a driver and its peer, in the peer's loop: lets answers through, late, changed, or on demand."""

    def __init__(self) -> None:
        self.on_demand: int | None = None
        """Bytes of registers in the answers that wait until they are let go; None: nothing waits."""
        self.change: Callable[[bytes], bytes] = lambda answer: answer
        self.late: Callable[[bytes], float] = lambda _: 0.0
        """How late an answer to this question is. [s]"""
        self.question = b""
        self.questions = 0
        """How many passed. [1]"""
        self.answers: list[bytes] = []
        """Those that were let through."""
        self._size_at = 2
        self._let = 0
        self._free_at = 0.0
        self._held: deque[tuple[bytes, Callable[[bytes], object]]] = deque(maxlen=100)

    def network(self) -> None:
        """Questions are those of TCP."""
        self._size_at = 8

    def asked(self, question: bytes) -> None:
        """A question passes; a unit that is asked anew gives up what it had not said."""
        self.question = question
        self.questions += 1
        self._held.clear()

    def answered(self, answer: bytes, send: Callable[[bytes], object]) -> None:
        """An answer comes from the peer."""
        if self.on_demand is not None and answer[self._size_at] == self.on_demand:
            self._held.append((answer, send))
            self._go()
            return
        loop = asyncio.get_running_loop()
        at = max(loop.time() + self.late(self.question), self._free_at)  # a unit answers in the order it was asked in
        if at <= loop.time():
            self._pass(answer, send)
        else:
            self._free_at = at
            loop.call_at(at, self._pass, answer, send)

    def let(self, count: int) -> None:
        """Let so many waiting answers go, also of those that wait later."""
        self._let += count
        self._go()

    def _go(self) -> None:
        while self._held and self._let > 0:
            self._let -= 1
            self._pass(*self._held.popleft())

    def _pass(self, answer: bytes, send: Callable[[bytes], object]) -> None:
        answer = self.change(answer)
        self.answers.append(answer)
        if answer:
            send(answer)


class TcpPeer:
    """A server on loopback, with a tap on it."""

    def __init__(self, *units: Unit) -> None:
        self.units, self.tap = units, Tap()
        self.tap.network()
        self.thread = LoopThread()
        self.connections = 0
        """How often somebody connected. [1]"""
        self.port = 0
        self.bring_back()

    @property
    def address(self) -> str:
        """For a job."""
        return f"tcp://127.0.0.1:{self.port}"

    def lose(self) -> None:
        """Connections are closed and nobody listens."""
        self.thread.run(self._stop())

    def bring_back(self) -> None:
        """Listens again, where it did."""
        self._server = self.thread.run(self._serve())
        self.port = self._server.transport.sockets[0].getsockname()[1]  # type: ignore[attr-defined]

    def close(self) -> None:
        """Everything ends."""
        self.lose()
        self.thread.close()

    async def _serve(self) -> ModbusTcpServer:
        server = ModbusTcpServer(
            [unit.device() for unit in self.units],
            address=("127.0.0.1", self.port),
            identity=ModbusDeviceIdentification(info_name={"VendorName": "Example", "ProductCode": "P1"}),
            ignore_missing_devices=True,
            trace_packet=self._trace,
            trace_connect=self._count,
        )
        await server.serve_forever(background=True)
        return server

    async def _stop(self) -> None:
        for _ in range(3):  # asyncio leaves a connection open that it accepts in the turn in which the server closes
            await asyncio.sleep(0)
        await self._server.shutdown()
        await self.thread.disconnect()

    def _count(self, connected: bool) -> None:
        self.connections += connected

    def _trace(self, sending: bool, data: bytes) -> bytes:
        if not sending:
            self.tap.asked(data)
            return data
        self.tap.answered(data, self._send)
        return b""

    def _send(self, data: bytes) -> None:
        for handler in self._server.active_connections.values():
            if handler.transport:
                handler.transport.write(data)  # type: ignore[attr-defined]


class RtuPeer:
    """A server on a pseudo-terminal that a pump joins to the driver's, as a cable would; a tap is on it."""

    def __init__(self, folder: Path, *units: Unit) -> None:
        self.units, self.tap = units, Tap()
        self.thread = LoopThread()
        self.port = _OpenPort(folder)
        self._far = os.openpty()
        tty.setraw(self._far[1])
        os.set_blocking(self._far[0], False)
        self._server = self.thread.run(self._serve())
        self._join()

    @property
    def address(self) -> str:
        """For a job."""
        return str(self.port.path)

    def noise(self, data: bytes) -> None:
        """In the peer's loop: bytes on the driver's line that nobody asked for."""
        self._write(data)

    def lose(self) -> None:
        """The driver's adapter is unplugged."""
        if self.port.plugged:
            self.thread.do(lambda: self.thread.loop.remove_reader(self.port.near))
            self.port.unplug()

    def bring_back(self) -> None:
        """Plugged in again, under the same name."""
        self.port.plug_in()
        self._join()

    def close(self) -> None:
        """Everything ends."""
        self.lose()
        self.thread.do(lambda: self.thread.loop.remove_reader(self._far[0]))
        self.thread.run(self._server.shutdown())
        self.thread.close()
        for end in self._far:
            os.close(end)

    async def _serve(self) -> ModbusSerialServer:
        devices = [unit.device() for unit in self.units]
        server = ModbusSerialServer(devices, port=os.ttyname(self._far[1]), baudrate=115200)
        await server.serve_forever(background=True)
        return server

    def _join(self) -> None:
        def join() -> None:
            self.thread.loop.add_reader(self.port.near, self._to_server)
            self.thread.loop.add_reader(self._far[0], self._to_driver)

        self.thread.do(join)

    def _to_server(self) -> None:
        if data := os.read(self.port.near, 4096):
            self.tap.asked(data)
            os.write(self._far[0], data)

    def _to_driver(self) -> None:
        if data := os.read(self._far[0], 4096):
            self.tap.answered(data, self._write)

    def _write(self, data: bytes) -> None:
        if self.port.plugged:
            os.write(self.port.near, data)


class _OpenPort(PtyPort):
    """A port whose near end others may read and write."""

    @property
    def near(self) -> int:
        """The descriptor of its near end."""
        return self.master

    @property
    def plugged(self) -> bool:
        """Whether it is there."""
        return self._ends is not None

    @property
    def speed(self) -> int:
        """How the far end is set, as a constant of termios."""
        return int(termios.tcgetattr(self._slave)[4])
