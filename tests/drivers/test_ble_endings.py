"""How sessions of Bluetooth instruments end: what had come is kept, and who has read is tried again."""

import asyncio
import struct
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, closing
from pathlib import Path

import pytest

from analysis.model import Event, EventKind
from collector.profiles import named
from drivers.base import ConnectionLostError, SilentError
from drivers.ble_advertised import Advertised
from drivers.codecs import bthome
from drivers.radio import Hear, Heard, Radio
from drivers.setup import Setup, Shared
from tests.drivers.bluetooth_bench import NAME, OWN, PAIRING, NotifyBench, PolledBench
from tests.drivers.bluetooth_bus import needs_bus
from tests.drivers.bluetooth_peers import ADDRESS, PeerCharacteristic
from tests.drivers.session import Session
from tests.support import StillClock


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[NotifyBench]:
    with closing(NotifyBench(tmp_path)) as bench:
        yield bench


class Given(Radio):
    """A radio that hears what it is given."""

    hear: Hear

    @asynccontextmanager
    async def listen(self, instrument: str, hear: Hear) -> AsyncIterator[None]:
        self.hear = hear
        yield

    def say(self, number: int) -> None:
        """An advertisement of BTHome with its number and a temperature."""
        data = struct.pack("<BBBBh", 0x40, 0x00, number, 0x02, number)
        self.hear(Heard(ADDRESS, "", -50, (), {bthome.SERVICE: data}, None))  # type: ignore[arg-type]


def listener(radio: Given, **more: int) -> Advertised:
    shared = Shared()
    shared.get(Radio, "", lambda: radio)
    channels = {"temperature": "temp_room"}
    setup = Setup(
        name=NAME, profile=named("bthome"), address=ADDRESS, channels=channels, now=StillClock(), shared=shared
    )
    return Advertised(setup, **more)


@pytest.mark.parametrize(("rest", "backlog", "taken"), [(0.5, 99, 5), (0.5, 3, 3), (0.0, 99, 0), (0.0, 3, 0)])
async def test_what_was_heard_when_a_listening_session_is_cancelled_is_emitted_or_counted(
    monkeypatch: pytest.MonkeyPatch, rest: float, backlog: int, taken: int
) -> None:
    monkeypatch.setattr("drivers.ble_advertised.REST", rest)
    radio = Given()
    driver = listener(radio, backlog=backlog)
    session = Session(driver)
    await session.until(lambda: hasattr(radio, "hear"), "listening")
    await asyncio.sleep(0)
    for number in range(5):
        radio.say(number)
    await session.cancel()
    assert len(session.readings) == taken
    assert driver.statistics()["dropped_messages"] == 5 - taken
    gaps = [one for one in session.emitted if isinstance(one, Event) and one.kind is EventKind.GAP]
    assert sum(int(str(gap.data["messages"])) for gap in gaps) == 5 - taken


@needs_bus
async def test_what_could_not_be_read_is_told_when_the_connection_is_lost(bench: NotifyBench) -> None:
    driver = bench.make()
    session = await Session(driver).listen(bench)
    bench.service.say(bench.peer, OWN, [b"\xff"] * 3)
    await session.until(lambda: driver.statistics()["unreadable"] == 3, "nonsense")
    bench.lose()
    assert type(await session.failure()) is ConnectionLostError
    told = [one.text for one in session.emitted if isinstance(one, Event) and one.kind is EventKind.PROBLEM]
    assert len(told) == 2
    assert f"{NAME}: a message " in told[0]
    assert f"{NAME}: further messages could not be read: 2 x " in told[1]


@needs_bus
async def test_one_that_says_only_nonsense_is_silent_and_says_why(bench: NotifyBench) -> None:
    driver = bench.make(patience=0.3)
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    with bench.service.flooding(lambda: bench.service.saying(bench.peer, OWN, [b"\xff"])):
        error = await session.failure()
    assert type(error) is SilentError
    assert "none of what it said for 0.3 s could be read: it " in str(error)
    session = await Session(driver).listen(bench)
    assert "said nothing" in str(await session.failure())


@needs_bus
@pytest.mark.parametrize(
    "refuses",
    [
        ("org.bluez.Error.AuthenticationTimeout", "timeout"),
        ("org.bluez.Error.AuthenticationCanceled", "cancelled"),
        ("org.bluez.Error.NotAuthorized", "no"),
    ],
)
async def test_one_that_has_read_is_tried_again_when_pairing_fails(
    bench: NotifyBench, refuses: tuple[str, str]
) -> None:
    driver = bench.make()
    await _read_and_lost(bench)
    bench.peer.refuses = refuses
    error = await Session(driver).failure()
    assert type(error) is ConnectionLostError
    assert str(error).startswith(f"{NAME}: {ADDRESS} wants to be paired")
    bench.peer.refuses = None
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    await session.cancel()


@needs_bus
async def test_one_that_has_read_is_tried_again_when_it_refuses_or_lacks_what_it_had(bench: NotifyBench) -> None:
    driver = bench.make()
    await _read_and_lost(bench)
    bench.peer.characteristic(OWN).error = PAIRING
    assert "paired" in str(error := await Session(driver).failure())
    assert type(error) is ConnectionLostError
    services = bench.peer.services
    bench.peer.services = {"180f": [PeerCharacteristic("2a19")]}
    assert "no characteristic" in str(error := await Session(driver).failure())
    assert type(error) is ConnectionLostError
    bench.peer.services = services
    bench.peer.characteristic(OWN).error = None
    session = await Session(driver).listen(bench)
    await session.hear(bench, 1)
    await session.cancel()


@needs_bus
async def test_one_that_has_been_read_and_then_refuses_its_value_is_tried_again(tmp_path: Path) -> None:
    with closing(PolledBench(tmp_path)) as bench:
        session = await Session(bench.make()).listen(bench)
        await session.hear(bench, 2)
        bench.characteristic.error = PAIRING
        bench.say(1)
        error = await session.failure()
    assert type(error) is ConnectionLostError
    assert "paired" in str(error)


async def _read_and_lost(bench: NotifyBench) -> None:
    session = await Session(bench.driver).listen(bench)
    await session.hear(bench, 1)
    bench.service.disconnect(bench.peer)
    assert type(await session.failure()) is ConnectionLostError
