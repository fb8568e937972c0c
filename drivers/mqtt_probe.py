"""What a broker that the user names has to say: its topics and the numbers in their messages."""

import asyncio
import time
from collections.abc import Callable

from drivers.base import SilentError
from drivers.broker import ANSWER, Wanted, hang_up, listen
from drivers.broker_address import broker_address
from drivers.codecs.json_values import LONGEST_MESSAGE, numbers_in
from drivers.found import Found, Measured
from drivers.inbox import Inbox, Message

MOST_TOPICS = 500
"""Topics that are told of; further ones are left out. [1]"""
MOST_NUMBERS = 40
"""Numbers of one message that are told; further ones are left out. [1]"""
NOBODY = "broker"
"""Whom its errors are about, since no instrument is known yet."""


async def probe(
    address: str, seconds: float, tell: Callable[[Found], None], *, secret: str | None = None, answer: float = ANSWER
) -> None:
    """Listen to all topics of a broker for so long [s] and tell each with its last numbers, as they change.

    A number is named by its JSON path, or '' where the message is nothing else. DriverError where it cannot be asked.
    """
    broker = broker_address(address, NOBODY)
    wanted = Wanted(
        instrument=NOBODY,
        broker=broker,
        topics=("#",),
        now=time.time_ns,
        secret=secret,
        longest=LONGEST_MESSAGE,
        answer=answer,
    )
    clock = asyncio.get_running_loop().time
    until = clock() + seconds
    inbox = Inbox()
    known: dict[str, Found] = {}
    thread = listen(wanted, inbox)
    try:
        while (left := until - clock()) > 0:
            failure, taken = inbox.failure, inbox.take()
            if taken:
                _tell(address, taken[1], known, tell)
                await asyncio.sleep(0)
            elif failure:
                raise failure
            else:
                await inbox.arrival(within=left)
        if not inbox.opened:
            raise SilentError(
                NOBODY, f"{broker} did not answer within {seconds:g} s", "check its address, or wait longer"
            )
    finally:
        await hang_up(thread, inbox)


def _tell(address: str, message: Message, known: dict[str, Found], tell: Callable[[Found], None]) -> None:
    """Tell of a topic where it is new or its numbers changed."""
    if message.source not in known and len(known) >= MOST_TOPICS:
        return
    numbers = [number for number, _ in zip(numbers_in(message.data), range(MOST_NUMBERS), strict=False)]
    note = "" if numbers else "its last message has no number"
    if message.retained:
        note = "the broker kept this from before; nothing has come since"
    found = Found(
        driver="mqtt",
        address=address,
        name="",
        topic=message.source,
        measures=tuple(Measured(name=path, unit="", value=value) for path, value in numbers),
        note=note,
    )
    if known.get(message.source) != found:
        known[message.source] = found
        tell(found)
