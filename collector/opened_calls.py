"""Calls of the list opened in programs of their own, `lightoff watch`, each with its own page; a few at a time."""

import os
import sys
from collections.abc import Mapping, Sequence
from urllib.parse import quote

from collector.programs_apart import ProgramsApart
from drivers.broker_address import BrokerAddress
from drivers.share_topics import CallTopics

MOST = 4
"""Calls at a time; the one opened first ends when one more is opened. [1]"""
SECRET = "LIGHTOFF_WATCH_SECRET"
"""Variable by which an opened call gets the broker's password."""


def program() -> tuple[str, ...]:
    """The program of a call that is watched, which ends with its input; -P: as for the page."""
    return (sys.executable, "-P", "-m", "collector.tied", "watch")


class OpenedCalls(ProgramsApart):
    """Opens calls for as long as its block runs; on leaving, every one has ended."""

    def __init__(self, program: Sequence[str], broker: BrokerAddress, secret: str | None) -> None:
        environment = {**os.environ, SECRET: secret} if secret else None
        super().__init__(program, what="page of the call", command="watch", most=MOST, environment=environment)
        self._broker, self._secret = broker, secret

    def open(self, topics: CallTopics) -> None:
        """Open a call; one that is open stays."""
        if self.playing(str(topics)):
            return
        secret = ("--secret", f"env:{SECRET}") if self._secret else ()
        self._begin(str(topics), (self._url(topics), *secret, "--port", "0", "--no-browser"), {})

    def state(self) -> Mapping[str, Mapping[str, str | None]]:
        """Of each opened call, by its name `company/technician/call`: its address, and what there is to say."""
        return {name: {"address": entry.address, "text": entry.text} for name, entry in self._entries.items()}

    def _url(self, topics: CallTopics) -> str:
        broker = self._broker
        user = f"{quote(broker.user, safe='')}@" if broker.user else ""
        names = "/".join(quote(one, safe="") for one in (topics.company, topics.technician, topics.call))
        return f"{'mqtts' if broker.tls else 'mqtt'}://{user}{broker}/{names}"
