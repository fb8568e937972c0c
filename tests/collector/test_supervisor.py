"""The supervisor: who is tried again, who is not, and that one bad instrument never stops another."""

import asyncio
from collections.abc import Callable

import pytest

from analysis.model import Channel, Event, EventKind, Reading
from collector.supervisor import LONGEST_WAIT, IngestError, State, Supervisor
from drivers.base import BusyError, ConnectionLostError, Emission, Emit, NotPermittedError
from tests.support import StillClock

CHANNEL = Channel("draft_collector", "draft meter", "inH2O")


class Scripted:
    """A driver whose sessions are given."""

    name = "draft meter"
    channels = (CHANNEL,)

    def __init__(self, *sessions: Callable[[Emit], None]) -> None:
        self.sessions = list(sessions)

    async def run(self, emit: Emit) -> None:
        self.sessions.pop(0)(emit)


def reads(emit: Emit) -> None:
    emit(Reading(CHANNEL.key, 1, 1.0))


def fails(error: Exception, *, after_reading: bool = False) -> Callable[[Emit], None]:
    def session(emit: Emit) -> None:
        if after_reading:
            reads(emit)
        raise error

    return session


def supervised(driver: Scripted) -> tuple[Supervisor, list[Emission], list[float]]:
    taken: list[Emission] = []
    waits: list[float] = []

    async def sleep(seconds: float) -> None:
        waits.append(seconds)

    supervisor = Supervisor(driver, taken.append, now=StillClock(), sleep=sleep, jitter=lambda low, high: high)
    return supervisor, taken, waits


def states(taken: list[Emission]) -> list[str]:
    return [str(item.data["state"]) for item in taken if isinstance(item, Event) and item.kind is EventKind.INSTRUMENT]


async def test_a_session_that_ends_is_ended():
    supervisor, taken, waits = supervised(Scripted(reads))
    await supervisor.run()
    assert supervisor.status.state is State.ENDED
    assert states(taken) == ["reading", "ended"]
    assert waits == []


async def test_a_lost_connection_is_tried_again_with_growing_waits_up_to_the_longest():
    lost = fails(ConnectionLostError("draft meter", "unplugged"))
    supervisor, taken, waits = supervised(Scripted(lost, lost, lost, lost, lost, lost, reads))
    await supervisor.run()
    assert waits == [0.25, 0.5, 1.0, 2.0, LONGEST_WAIT, LONGEST_WAIT]
    assert states(taken) == ["trying again", "reading", "ended"], "a repeated failure is one event"
    assert supervisor.status.sessions == 7


async def test_the_wait_is_short_again_after_a_reading():
    lost = fails(BusyError("draft meter", "held"))
    lost_later = fails(ConnectionLostError("draft meter", "unplugged"), after_reading=True)
    supervisor, _, waits = supervised(Scripted(lost, lost, lost, lost_later, reads))
    await supervisor.run()
    assert waits == [0.25, 0.5, 1.0, 0.25]


async def test_the_last_error_stays_known_after_the_meter_reads_again_and_losses_are_counted():
    clock = StillClock()
    unplugged = fails(ConnectionLostError("draft meter", "unplugged"), after_reading=True)
    missing = fails(BusyError("draft meter", "held by another program"))

    async def sleep(seconds: float) -> None:
        clock.advance(seconds)

    driver = Scripted(unplugged, missing, missing, unplugged, reads)
    supervisor = Supervisor(driver, lambda _: None, now=clock, sleep=sleep, jitter=lambda low, high: high)
    began = clock()
    await supervisor.run()
    status = supervisor.status
    assert (status.state, status.lost, status.errors, status.lost_since) == (State.ENDED, 2, 4, None)
    assert status.away == pytest.approx(0.25 + 0.5 + 1.0 + 0.25), "from each loss until it read again"
    assert status.last_error is not None
    assert status.last_error.text == "draft meter: unplugged"
    assert status.last_error.time == began + round(1.75e9)


async def test_a_lost_meter_is_lost_since_then_however_often_it_is_tried_again():
    clock = StillClock()
    seen: list[tuple[State, int | None]] = []

    async def sleep(seconds: float) -> None:
        seen.append((supervisor.status.state, supervisor.status.lost_since))
        clock.advance(seconds)

    missing = fails(BusyError("draft meter", "held by another program"))
    driver = Scripted(
        missing, fails(ConnectionLostError("draft meter", "unplugged"), after_reading=True), missing, reads
    )
    supervisor = Supervisor(driver, lambda _: None, now=clock, sleep=sleep, jitter=lambda low, high: high)
    lost = clock() + round(0.25e9)
    await supervisor.run()
    assert seen == [(State.WAITING, None), (State.WAITING, lost), (State.WAITING, lost)], "never there is not lost"


async def test_a_permanent_error_stops_with_its_sentence():
    supervisor, taken, waits = supervised(Scripted(fails(NotPermittedError("draft meter", "no permission", "join"))))
    await supervisor.run()
    assert supervisor.status.state is State.STOPPED
    assert supervisor.status.text == "draft meter: no permission; join"
    assert waits == []
    assert states(taken) == ["stopped"]


async def test_a_defect_in_a_driver_stops_that_driver_only(caplog):
    supervisor, taken, _ = supervised(Scripted(fails(ZeroDivisionError("x"))))
    await supervisor.run()
    assert supervisor.status.state is State.STOPPED
    assert "a defect in its driver" in supervisor.status.text
    assert "ZeroDivisionError" in caplog.text
    event = taken[-1]
    assert isinstance(event, Event)
    assert event.kind is EventKind.INSTRUMENT


async def test_a_defect_in_ingest_is_heard():
    def broken(item: Emission) -> None:
        if isinstance(item, Reading):
            raise ZeroDivisionError("x")

    supervisor = Supervisor(Scripted(reads), broken, now=StillClock())
    with pytest.raises(IngestError, match="draft meter"):
        await supervisor.run()


@pytest.mark.parametrize("state", [State.READING, State.WAITING, State.STOPPED])
async def test_a_defect_in_what_takes_the_events_of_an_instrument_is_no_defect_of_its_driver(state: State):
    def broken(item: Emission) -> None:
        if isinstance(item, Event) and item.data.get("state") == state:
            raise ZeroDivisionError("x")

    sessions = {
        State.READING: reads,
        State.WAITING: fails(BusyError("draft meter", "held")),
        State.STOPPED: fails(NotPermittedError("draft meter", "no permission")),
    }
    supervisor = Supervisor(Scripted(sessions[state]), broken, now=StillClock())
    with pytest.raises(IngestError, match="draft meter"):
        await supervisor.run()
    assert "defect" not in supervisor.status.text


async def test_a_session_that_a_library_breaks_off_by_cancelling_itself_is_begun_anew_and_told():
    class Broken(Scripted):
        async def run(self, emit: Emit) -> None:
            if len(self.sessions) == 1:
                self.sessions.pop()(emit)
                return
            self.sessions.pop(0)(emit)
            future = asyncio.get_running_loop().create_future()
            asyncio.get_running_loop().call_soon(future.cancel)
            await future

    supervisor, taken, waits = supervised(Broken(reads, reads, reads))
    await supervisor.run()
    assert supervisor.status.state is State.ENDED
    assert (supervisor.status.sessions, supervisor.status.lost, len(waits)) == (3, 2, 2)
    assert states(taken).count("trying again") == 2
    assert supervisor.status.last_error is not None
    assert "broken off" in supervisor.status.last_error.text


async def test_a_supervisor_that_is_cancelled_while_a_library_cancels_itself_ends():
    future = asyncio.get_running_loop().create_future()

    class Broken(Scripted):
        async def run(self, emit: Emit) -> None:
            await future

    supervisor, _, waits = supervised(Broken())
    task = asyncio.create_task(supervisor.run())
    await asyncio.sleep(0)
    future.cancel()
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    assert waits == []


async def test_cancelling_ends_the_session():
    class Waiting(Scripted):
        async def run(self, emit: Emit) -> None:
            await asyncio.Event().wait()

    supervisor, _, _ = supervised(Waiting())
    task = asyncio.create_task(supervisor.run())
    await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
