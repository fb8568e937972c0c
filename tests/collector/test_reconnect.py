"""An instrument that was away and returns is read again within five seconds, without anybody doing anything."""

import asyncio
import time
from collections.abc import Callable
from contextlib import ExitStack, closing, suppress
from pathlib import Path

from analysis.model import Reading
from collector.supervisor import LONGEST_WAIT, State, Supervisor
from drivers.base import Emission
from tests.drivers.ptys import PtyPort, line, make
from tests.support import until

RETURNS = 20
WITHIN = 5.0
"""From the return to the first reading. [s]"""
AWAY = 4.2
"""After so long every supervisor waits its longest: 0.25 + 0.5 + 1 + 2 s came before. [s]"""
SPREAD = 1.5
"""Over so long they return one after another, so that they meet every part of the wait. [s]"""


async def test_twenty_returns_after_the_longest_wait_are_each_read_within_five_seconds(tmp_path: Path) -> None:
    """Real ports, real back-off with its jitter; each instrument speaks ten times a second once it is back."""
    with ExitStack() as stack:
        ports = [stack.enter_context(closing(PtyPort(folder(tmp_path, number)))) for number in range(RETURNS)]
        heard = [0.0] * RETURNS
        supervisors = [
            Supervisor(make(port.path, now=time.time_ns), hearing(heard, number), now=time.time_ns)
            for number, port in enumerate(ports)
        ]
        tasks = [asyncio.create_task(one.run(), name=f"supervisor {number}") for number, one in enumerate(supervisors)]
        talking: set[PtyPort] = set(ports)
        voice = asyncio.create_task(talk(talking), name="the instruments")
        try:
            await until(lambda: all(heard), what="all read")
            talking.clear()
            for port in ports:
                port.unplug()
            lost = time.monotonic()
            await until(lambda: all(one.status.state is State.WAITING for one in supervisors), what="all lost")
            await until(lambda: time.monotonic() - lost >= AWAY, what="the longest wait")
            back, heard[:] = [0.0] * RETURNS, [0.0] * RETURNS
            for number, port in enumerate(ports):
                due = lost + AWAY + SPREAD * number / RETURNS
                await until(lambda: time.monotonic() >= due, what="the next return")  # noqa: B023
                port.plug_in()
                back[number] = time.monotonic()
                talking.add(port)
            await until(lambda: all(heard), what="all read again", within=3 * WITHIN)
        finally:
            for task in (voice, *tasks):
                task.cancel()
            for task in (voice, *tasks):
                with suppress(asyncio.CancelledError):
                    await task
    took = [first - returned for first, returned in zip(heard, back, strict=True)]
    assert max(took) <= WITHIN, f"{max(took):.2f} s"
    assert max(took) > LONGEST_WAIT / 3, f"{max(took):.2f} s: the longest wait was not met, so nothing is measured"
    assert {one.status.sessions for one in supervisors} != {1}
    assert all(one.status.lost == 1 for one in supervisors)


async def test_silence_is_told_with_its_time_and_what_to_try_and_ends_by_itself(tmp_path: Path) -> None:
    """The instrument is there and says nothing for as long as its profile allows."""
    with closing(PtyPort(tmp_path)) as port:
        heard = [0.0]
        driver = make(port.path, now=time.time_ns, silence=0.3)
        supervisor = Supervisor(driver, hearing(heard, 0), now=time.time_ns)
        task = asyncio.create_task(supervisor.run(), name="supervisor")
        voice = asyncio.create_task(talk({port}), name="the instrument")
        try:
            await until(lambda: heard[0], what="reading")
            voice.cancel()
            await until(lambda: supervisor.status.state is State.WAITING, what="silence")
            assert "nothing came on" in supervisor.status.text
            assert "check that the instrument is on" in supervisor.status.text
            assert supervisor.status.next_try is not None
            assert supervisor.status.lost == 1
            voice = asyncio.create_task(talk({port}), name="the instrument")
            await until(lambda: supervisor.status.state is State.READING, what="reading again")
        finally:
            for one in (voice, task):
                one.cancel()
            await asyncio.wait({voice, task})


def folder(parent: Path, number: int) -> Path:
    made = parent / str(number)
    made.mkdir()
    return made


def hearing(heard: list[float], number: int) -> Callable[[Emission], None]:
    """Keeps when an instrument was heard first."""

    def take(emission: Emission) -> None:
        if isinstance(emission, Reading) and not heard[number]:
            heard[number] = time.monotonic()

    return take


async def talk(ports: set[PtyPort]) -> None:
    """Ten times a second; an instrument drops what nobody reads."""
    while True:
        for port in list(ports):
            port.offer(b"\n" + line(0.5), within=0.0)
        await asyncio.sleep(0.1)
