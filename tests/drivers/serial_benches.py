"""Benches of meters on a pseudo-terminal that talk in other ways: separated lines, binary frames, when asked."""

import os
import select
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, ClassVar

from drivers.base import BusyError, Driver, Emission, NotFoundError
from drivers.codecs.checksums import CHECKSUMS
from drivers.profile import Role, Value
from drivers.serial_query import SerialQuery
from tests.drivers.bench import Failure
from tests.drivers.ptys import PtyPort, SerialBench, listening, setup_of


class SeparatedBench(SerialBench):
    """Lines with semicolons."""

    settings: ClassVar = {
        "format": "separated",
        "separator": ";",
        "pattern": None,
        "values": (Value(name="pressure", unit="inH2O", field=2),),
    }

    def message(self, number: float) -> bytes:
        """Time, pressure and something else."""
        return f"12:00:00;{number:.3f};x\r\n".encode()


class FrameBench(SerialBench):
    """Frames with a start that stands nowhere else in them."""

    settings: ClassVar = {
        "format": "frame",
        "start": b"\xfe",
        "length": 6,
        "checksum": "xor8",
        "checksum_from": 1,
        "pattern": None,
        "values": (Value(name="pressure", unit="inH2O", at=1, type="uint32", order="big", scale=0.001),),
    }
    before = b""

    def message(self, number: float) -> bytes:
        """In thousandths; seven bits of each byte, so that no other byte is a start."""
        thousandths = round(number * 1000)
        body = b"\xfe" + bytes((0, 0, thousandths >> 8 & 0x7F, thousandths & 0x7F))
        return body + CHECKSUMS["xor8"].sent(body[1:])

    def lost(self) -> int:
        """Frames dropped for either reason, or cut by dropping."""
        statistics = self.driver.statistics()
        return sum(statistics[key] for key in ("dropped_lines", "flood_lines", "cut_frames"))

    def nonsense(self) -> None:
        """Noise, and a frame with a wrong checksum."""
        self.port.say(b"noise" * 9 + self.message(0.5)[:-1] + b"\x00" + b"noise")


class Answerer:
    """An instrument that answers what it is asked: numbers while there are any, else only its battery."""

    def __init__(self, port: PtyPort) -> None:
        self.numbers: list[str] = []
        self.mute = False
        self.answered = 0
        self._port = port
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="instrument")
        self._thread.start()

    def unplug(self) -> None:
        """No thread of ours is at the port while it goes."""
        with self._lock:
            self._port.unplug()

    def plug_in(self) -> None:
        """There again."""
        with self._lock:
            self._port.plug_in()

    def close(self) -> None:
        """Gone for good."""
        self._stop.set()
        self._thread.join()
        self._port.close()

    def _work(self) -> None:
        while not self._stop.is_set():
            with self._lock, suppress(OSError, AssertionError):  # unplugged
                self._answer()
            self._stop.wait(0.001)

    def _answer(self) -> None:
        if not select.select([self._port.master], [], [], 0.002)[0]:
            return
        for _ in range(os.read(self._port.master, 1024).count(b"\n")):
            if not self.mute:
                said = f"P={self.numbers.pop(0)}" if self.numbers else "B=80"
                self._port.say(f"{said}\r\n".encode())
                self.answered += 1


class QueryBench:
    """A meter that is asked, on a pseudo-terminal; what it is given to say it says when it is asked next."""

    def __init__(self, folder: Path) -> None:
        self.port = PtyPort(folder)
        self.instrument = Answerer(self.port)
        self.driver = self._made(30.0)
        self._session: Sequence[Emission] = ()
        self._before = 0

    def _made(self, patience: float, **settings: Any) -> SerialQuery:
        facts: dict[str, Any] = {
            "format": "query",
            "pattern": r"(?:P=(?P<pressure>\S+))?(?:B=(?P<battery>\d+))?(?:N=(?P<nothing>\d+))?",
            "values": (
                Value(name="pressure", unit="inH2O", query="READ?"),
                Value(name="battery", unit="%", role=Role.BATTERY, query="READ?"),
            ),
            "every": 0.004,
            "within": 0.5,
            "silence": patience,
            **settings,
        }
        return SerialQuery(setup_of(self.port.path, **facts))

    def make(self, *, patience: float = 30.0) -> Driver:
        """A driver that is to wait but briefly has a mute instrument."""
        self.instrument.mute = patience < 5
        self.driver = self._made(patience)
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Once an answer was read."""
        messages = self.driver.statistics()["messages"]
        if emitted is not self._session:
            self._session, self._before = emitted, messages
        return listening(emitted) and messages > self._before

    def say(self, count: int) -> None:
        """Numbers for the next questions."""
        self.instrument.numbers += [f"{number / 1000:.3f}" for number in range(count)]

    def failures(self) -> Sequence[Failure]:
        """Away or held."""
        return (Failure("port held", self.port.held, BusyError), Failure("port away", self._away, NotFoundError))

    def lose(self) -> None:
        """Unplugged."""
        self.instrument.unplug()

    def bring_back(self) -> None:
        """Plugged in."""
        self.instrument.plug_in()

    def flood(self) -> int:
        """It speaks only when it is asked."""
        raise AssertionError("cannot flood")

    def flooding(self) -> Any:
        """It speaks only when it is asked."""
        raise AssertionError("cannot flood")

    def lost(self) -> int:
        """Nothing."""
        return 0

    def nonsense(self) -> None:
        """An answer that cannot be read."""
        self.instrument.numbers.append("\x80nothing\xff")

    def unreadable(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["unreadable"]

    def close(self) -> None:
        """Gone for good."""
        self.instrument.close()

    def _away(self) -> Any:
        return _Away(self.instrument)


class _Away:
    def __init__(self, instrument: Answerer) -> None:
        self._instrument = instrument

    def __enter__(self) -> None:
        self._instrument.unplug()

    def __exit__(self, *_: object) -> None:
        self._instrument.plug_in()
