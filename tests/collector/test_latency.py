"""How long readings take to be taken in: the last ten seconds, median and largest."""

import asyncio
import time
from pathlib import Path

from analysis.model import NANOSECONDS, Reading
from collector.instrument_rows import instrument_rows
from collector.latency import MOST, Latency
from tests.collector.calls import DRAFT, RETURN, SECOND, Told, call
from tests.support import until


def test_it_is_that_of_the_last_ten_seconds() -> None:
    latency, second = Latency(), NANOSECONDS
    latency.add(0, 3 * second)
    for number, took in enumerate((0.01, 0.02, 0.4)):
        taken = (20 + number) * second
        latency.add(taken - round(took * second), taken)
    told = latency.told(25 * second)
    assert told is not None
    assert (told.median, told.largest) == (0.02, 0.4)
    assert latency.told(40 * second) is None
    assert Latency().told(0) is None


def test_it_holds_no_more_than_it_says() -> None:
    latency = Latency()
    for number in range(3 * MOST):
        latency.add(number, number)
    assert len(latency._last) == MOST


async def test_a_reading_that_waited_in_the_driver_is_late_and_what_no_instrument_here_said_has_none(
    tmp_path: Path,
) -> None:
    draft, elsewhere = Told("draft meter", DRAFT), Told("replay: duct", RETURN)
    async with call(tmp_path / "a.lightoff", draft, elsewhere) as collector:
        draft.items.put_nowait(Reading(DRAFT.key, time.time_ns() - SECOND // 2, 0.5))
        elsewhere.items.put_nowait(Reading(RETURN.key, time.time_ns(), 70.0))
        await until(lambda: collector.readings == 2, what="both")
        await asyncio.sleep(0)
        rows = {str(row["name"]): row for row in instrument_rows(collector, {})}
    latency = rows["draft meter"]["latency"]
    assert isinstance(latency, dict)
    assert 0.5 <= latency["largest"] < 5.0
    assert rows["duct thermometer"]["latency"] is None
