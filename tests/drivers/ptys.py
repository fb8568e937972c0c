"""Serial ports whose far end is in our hands: a pseudo-terminal, a script; and the bench of a meter on the first."""

import fcntl
import os
import select
import threading
import time
import tty
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, ClassVar

from analysis.model import Channel
from drivers.base import BusyError, Driver, Emission, NotFoundError, SettingsError
from drivers.profile import Profile, SerialSection, Value
from drivers.serial_line import SerialLine
from drivers.setup import Setup
from tests.drivers.bench import Failure
from tests.support import StillClock

NAME = "draft meter"
PATTERN = r"P=(?P<pressure>[-+]?\d+\.\d+) inH2O"


def line(number: float) -> bytes:
    """What the meter says of a number."""
    return f"P={number:.3f} inH2O\r\n".encode()


def setup_of(port: object, **settings: Any) -> Setup:
    """The meter's set-up; `settings` beside the usual ones or in place of them."""
    facts: dict[str, Any] = {key: settings.pop(key) for key in ("now", "channels", "shared", "name") if key in settings}
    profile = Profile(
        name="line",
        driver="serial",
        values=settings.pop("values", (Value(name="pressure", unit="inH2O"),)),
        silence=settings.pop("silence", 30.0),
        serial=SerialSection(**{"pattern": PATTERN, **settings}),
    )
    usual: dict[str, Any] = {"name": NAME, "channels": {"pressure": "draft_collector"}, "now": StillClock()}
    return Setup(profile=profile, address=str(port), **{**usual, **facts})


def make(port: object, **settings: Any) -> SerialLine:
    """The meter's driver; `settings` beside the usual ones or in place of them."""
    driver = {key: settings.pop(key) for key in ("backlog", "opener", "lister") if key in settings}
    return SerialLine(setup_of(port, **settings), **driver)


def listening(emitted: Sequence[Emission]) -> bool:
    """Whether the port is open."""
    return any(isinstance(emission, Channel) for emission in emitted)


class PtyPort:
    """A port at one path; it stays the same path when it is unplugged and plugged in again."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "port"
        self._ends: tuple[int, int] | None = None
        self.plug_in()

    @property
    def device(self) -> str:
        """The device behind the path."""
        return os.ttyname(self._slave)

    def plug_in(self) -> None:
        """A new device appears at the path; our hold on its near end keeps it alive without a reader."""
        master, slave = os.openpty()
        tty.setraw(slave)
        os.set_blocking(master, False)
        self._ends = master, slave
        self.path.symlink_to(os.ttyname(slave))

    def unplug(self) -> None:
        """The device and its path vanish."""
        if self._ends:
            self.path.unlink()
            for end in self._ends:
                os.close(end)
            self._ends = None

    def close(self) -> None:
        """The port goes for good."""
        self.unplug()

    def say(self, data: bytes, *, within: float = 20.0) -> None:
        """Send all of it while the reader makes room; AssertionError when it does not within `within` [s]."""
        deadline = time.monotonic() + within
        while data:
            sent = self.offer(data, within=deadline - time.monotonic())
            if not sent:
                raise AssertionError(f"nobody read the port within {within} s, {len(data)} bytes are left")
            data = data[sent:]

    def offer(self, data: bytes, *, within: float) -> int:
        """Send what the device takes at once, waiting up to `within` [s] for room; how many bytes. [1]"""
        if not select.select([], [self.master], [], max(within, 0.0))[1]:
            return 0
        return os.write(self.master, data[:4096])

    @contextmanager
    def held(self) -> Iterator[None]:
        """Another program holds the port."""
        other = os.open(self.path, os.O_RDWR | os.O_NOCTTY)
        try:
            fcntl.flock(other, fcntl.LOCK_EX)
            yield
        finally:
            os.close(other)

    @contextmanager
    def unplugged(self) -> Iterator[None]:
        """The port is away."""
        self.unplug()
        try:
            yield
        finally:
            self.plug_in()

    @property
    def master(self) -> int:
        """The end that is the instrument's."""
        assert self._ends, "the port is unplugged"
        return self._ends[0]

    @property
    def _slave(self) -> int:
        assert self._ends, "the port is unplugged"
        return self._ends[1]


Script = bytes | BaseException | threading.Event | None


class ScriptedPort:
    """A port that follows a script: bytes that arrive together, None for a pause, an event to wait for, an error.

    After it the port is silent. `waiting` is raised when asked how much there is to read, `closing` when closed.
    """

    def __init__(self, *script: Script, waiting: Exception | None = None, closing: Exception | None = None) -> None:
        self.exhausted = threading.Event()
        self.closed = threading.Event()
        self._script = list(script)
        self._buffer = b""
        self._waiting = waiting
        self._closing = closing

    def __call__(self, **settings: object) -> "ScriptedPort":
        return self

    @property
    def in_waiting(self) -> int:
        """Bytes of this step that are not yet read. [1]"""
        if self._waiting:
            raise self._waiting
        return len(self._buffer)

    def read(self, size: int = 1, /) -> bytes:
        """At most `size` bytes of this step."""
        if not self._buffer and size:
            self._advance()
        taken, self._buffer = self._buffer[:size], self._buffer[size:]
        return taken

    def _advance(self) -> None:
        if not self._script:
            self.exhausted.set()
            self.closed.wait(0.01)  # the time limit of a read
            return
        step = self._script.pop(0)
        if isinstance(step, bytes):
            self._buffer = step
        elif isinstance(step, BaseException):
            raise step
        elif step is not None:
            assert step.wait(10), "the script was not let go on"

    def __enter__(self) -> "ScriptedPort":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.closed.set()
        if self._closing:
            raise self._closing


class SerialBench:
    """A meter on a pseudo-terminal; a blank line before what it says, as the first line after opening may be cut."""

    settings: ClassVar[Mapping[str, Any]] = {}
    """Of its driver."""
    before = b"\n"
    """Said before anything else."""

    def __init__(self, folder: Path) -> None:
        self.port = PtyPort(folder)
        self.driver = make(self.port.path, **self.settings)

    def message(self, number: float) -> bytes:
        """What it says of a number."""
        return line(number)

    def make(self, *, patience: float = 30.0) -> Driver:
        """With so small a backlog that a flood fills it."""
        self.driver = make(self.port.path, silence=patience, backlog=8, **self.settings)
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        """Once the port is open."""
        return listening(emitted)

    def say(self, count: int) -> None:
        """Messages, behind what comes before anything."""
        self.port.say(self.before + b"".join(self.message(number / 1000) for number in range(count)))

    def failures(self) -> Sequence[Failure]:
        """Without rights is not among them: that is no matter of the port alone."""
        return (
            Failure("port away", self.port.unplugged, NotFoundError),
            Failure("port held", self.port.held, BusyError),
            Failure("another file", self._another_file, SettingsError),
        )

    def lose(self) -> None:
        """Unplugged."""
        self.port.unplug()

    def bring_back(self) -> None:
        """Plugged in."""
        self.port.plug_in()

    def flood(self) -> int:
        """Some 280 kB, of which the driver holds 8."""
        self.port.say(b"".join(self.message(number / 1000) for number in range(20_000)))
        return 20_000

    @contextmanager
    def flooding(self) -> Iterator[None]:
        """Fifty lines at a time."""
        stop = threading.Event()

        def talk() -> None:
            while not stop.is_set():
                self.port.offer(self.message(0.5) * 50, within=0.05)

        thread = threading.Thread(target=talk, name="flood")
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()

    def lost(self) -> int:
        """Lines dropped for either reason, or cut by dropping."""
        statistics = self.driver.statistics()
        return sum(statistics[key] for key in ("dropped_lines", "flood_lines", "cut_lines"))

    def nonsense(self) -> None:
        """Noise, an overload sign, and a line that does not end."""
        self.port.say(b"\n\xff\x00\xfe P=OL inH2O\r\n" + b"\x80" * 600 + b"\r\n")

    def unreadable(self) -> int:
        """As the driver counts."""
        return self.driver.statistics()["unreadable"]

    def close(self) -> None:
        """Unplugged for good."""
        self.port.unplug()

    @contextmanager
    def _another_file(self) -> Iterator[None]:
        device = self.port.path.readlink()
        self.port.path.unlink()
        self.port.path.write_text("P=0.5 inH2O\n")
        try:
            yield
        finally:
            self.port.path.unlink()
            self.port.path.symlink_to(device)
