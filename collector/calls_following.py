"""Follows the calls at a broker: connects, hands every status on, and connects again whenever that ends."""

import asyncio
import time

from collector.calls import Calls
from collector.supervisor import Backoff
from drivers.base import DriverError
from drivers.broker import Wanted, hang_up, listen
from drivers.broker_address import BrokerAddress
from drivers.inbox import Inbox
from drivers.share_messages import read_status
from drivers.share_topics import every_call

NAME = "calls"
"""Whom errors of the broker are about."""
LONGEST = 64_000
"""Of a status. [bytes]"""
LOOK = 1.0
"""Between two looks whether the connection stands. [s]"""


class Following:
    """What is known of the calls of a company, and how the connection to its broker stands."""

    def __init__(self, broker: BrokerAddress, company: str, secret: str | None = None) -> None:
        self.calls = Calls(read_status, time.monotonic)
        self.trouble = ""
        """Why nothing comes, in one sentence; empty while the broker is listened to."""
        self._broker = broker
        self._wanted = Wanted(
            instrument=NAME,
            broker=broker,
            topics=(every_call(company),),
            now=time.time_ns,
            secret=secret,
            longest=LONGEST,
        )

    async def run(self) -> None:
        """Follow until cancelled; an error that stays one is told and tried again slowly."""
        backoff = Backoff(0.25, 10.0)
        while True:
            try:
                await self._session(backoff)
            except DriverError as error:
                self.trouble = str(error)
            await asyncio.sleep(backoff.failed())

    async def _session(self, backoff: Backoff) -> None:
        inbox = Inbox()
        thread = listen(self._wanted, inbox)
        try:
            while True:
                failure, taken = inbox.failure, inbox.take()
                if inbox.opened:
                    self.trouble = ""
                    backoff.succeeded()
                if taken:
                    message = taken[1]
                    self.calls.take(message.source, message.data, retained=message.retained)
                elif failure:
                    raise failure
                else:
                    await inbox.arrival(within=LOOK)
        finally:
            await hang_up(thread, inbox)
