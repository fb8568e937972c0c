"""One look at what a broker keeps of a shared call."""

import asyncio
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from drivers.broker import ANSWER, LARGEST, Wanted, hang_up, listen
from drivers.inbox import Inbox
from drivers.share_messages import read_channels, read_status
from drivers.share_topics import SharedCall

PATIENCE = 2.0
"""How long what is kept is waited for, once the broker has agreed. [s]"""


@dataclass(frozen=True, slots=True)
class Look:
    """What there is; None and empty where nobody has shared the call yet."""

    status: Mapping[str, Any] | None = None
    job: str = ""


async def look(call: SharedCall, *, secret: str | None, certificate: str | None, patience: float = PATIENCE) -> Look:
    """Status and job of a call; DriverError where the broker cannot be reached or does not permit it."""
    inbox = Inbox()
    wanted = Wanted(
        instrument="watch", broker=call.broker, topics=(call.topics.status, call.topics.channels), now=time.time_ns,
        secret=secret, longest=LARGEST, certificate=certificate,
    )  # fmt: skip
    thread = listen(wanted, inbox)
    clock = asyncio.get_running_loop().time
    deadline = clock() + 4 * ANSWER
    status: Mapping[str, Any] | None = None
    job: str | None = None
    opened = False
    try:
        while clock() < deadline and (status is None or job is None):
            failure, taken = inbox.failure, inbox.take()
            if taken and taken[1].source == call.topics.status:
                status = read_status(taken[1].data)
            elif taken:
                _, job = read_channels(taken[1].data)
            elif failure:
                raise failure
            else:
                if inbox.opened and not opened:
                    opened, deadline = True, clock() + patience
                await inbox.arrival(within=0.1)
    finally:
        await hang_up(thread, inbox)
    return Look(status, job or "")
