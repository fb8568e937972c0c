"""A serial instrument of which nothing can be read is lost, and questions without an answer are told now and then."""

import os
import random
from contextlib import closing
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Event
from drivers.base import ConnectionLostError, SilentError
from drivers.handover import Chunk
from drivers.profile import Value
from drivers.serial_query import UNANSWERED, SerialQuery
from tests.drivers.ptys import NAME, PtyPort, ScriptedPort, line, listening, make, setup_of
from tests.drivers.serial_benches import FrameBench, QueryBench
from tests.drivers.session import Session, nothing_left
from tests.support import until


class Noise(ScriptedPort):
    """Something else all the time, after what the script says."""

    def __init__(self, *script: bytes | None) -> None:
        super().__init__(*script)
        self._chance = random.Random(3)

    def _advance(self) -> None:
        if self._script:
            super()._advance()
        elif not self.closed.wait(0.01):
            self._buffer = self._chance.randbytes(30).replace(b"\xfe", b"") + b"\r\n"


@pytest.mark.parametrize("settings", [{}, FrameBench.settings], ids=["lines", "frames"])
async def test_what_cannot_be_read_does_not_keep_an_instrument(settings: dict[str, object]) -> None:
    driver = make("scripted", opener=Noise(None, line(1)), silence=0.4, **settings)
    session = Session(driver)
    with nothing_left():
        error = await session.failure()
    assert isinstance(error, SilentError)
    assert f"{NAME}: what came on scripted for 0.4 s could not be read; check its baud rate (now 9600)" in str(error)
    assert [reading.value for reading in session.readings] == ([] if settings else [1.0])
    assert driver.statistics()["unreadable"] >= 1


async def test_answers_that_cannot_be_read_do_not_keep_an_instrument(tmp_path: Path) -> None:
    with closing(QueryBench(tmp_path)) as bench:
        bench.instrument.numbers += ["nothing"] * 1000
        error = await Session(bench._made(0.4)).failure()
    assert isinstance(error, SilentError)
    assert "could not be read; check its baud rate" in str(error)


async def test_silence_after_noise_that_was_followed_by_a_reading_is_silence() -> None:
    session = Session(make("scripted", opener=ScriptedPort(None, b"noise\r\n", line(1)), silence=0.2))
    error = await session.failure()
    assert len(session.readings) == 1
    assert "nothing came on scripted for 0.2 s" in str(error)


def test_every_second_question_without_an_answer_is_told_once_and_summed_up_every_ten_seconds() -> None:
    now = [0]
    setup = setup_of(
        "scripted", format="query", pattern=None, values=(Value(name="pressure", unit="Pa", query="P?"),),
        now=lambda: now[0],
    )  # fmt: skip
    driver, told = SerialQuery(setup), list[Event]()

    def emit(emission: object) -> None:
        if isinstance(emission, Event):
            told.append(emission)

    def ask(*, answered: bool) -> None:
        now[0] += NANOSECONDS
        chunk = Chunk(now[0], b"1.0" if answered else b"", source="P?", reason="" if answered else UNANSWERED)
        assert driver.take((), chunk, emit) == answered
        driver.sum_up(emit, now=False)

    for second in range(60):
        ask(answered=second % 2 == 1)
    texts = [event.text for event in told]
    assert texts[0] == f"{NAME}: no answer to 'P?' within 1 s; further ones are counted"
    assert len(texts) == 1 + 5
    assert set(texts[1:]) == {f"{NAME}: further questions without an answer: 5 to 'P?'"}
    for _ in range(11):
        ask(answered=True)
    ask(answered=False)
    assert told[-1].text == texts[0], "it was well for ten seconds"
    driver.sum_up(emit, now=True)
    named = [sum(event.data["counts"].values()) for event in told if "counts" in event.data]  # type: ignore[attr-defined]
    assert sum(named) + 2 == driver.statistics()["unanswered"]


async def test_a_port_that_goes_while_an_answer_is_waited_for_is_told_at_once(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port:
        values = (Value(name="pressure", unit="Pa", query="P?"),)
        driver = SerialQuery(
            setup_of(port.path, format="query", pattern=None, values=values, within=20.0, silence=60.0)
        )
        session = Session(driver)
        await session.until(lambda: listening(session.emitted), "open port")
        asked = b""

        def heard() -> bool:
            nonlocal asked
            try:
                asked += os.read(port.master, 100)
            except BlockingIOError:
                return False
            return asked.endswith(b"P?\n")

        await until(heard, what="a question")
        with nothing_left():
            port.unplug()
            assert isinstance(await session.failure(), ConnectionLostError)
        port.plug_in()
        asked = b""
        again = Session(driver)
        await until(heard, what="a question after it came back")
        port.say(b"5.0\n")
        await again.until(lambda: again.readings, "its answer, none being owed")
        await again.cancel()
