"""A short talk with a recorder of this machine: a few commands over its feed, each with its answer."""

import json
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager

from collector.at_work import AtWork
from drivers.base import InputError

PATIENCE = 10.0
"""For the whole of one answer. [s]"""
LONGEST_LINE = 16 * 1024 * 1024
"""A longer line from the recorder ends the talk. [bytes]"""


class NotThereError(InputError):
    """Nobody answers as this recorder would: it is over."""


class Talk:
    """A connection to a recorder that knows the token."""

    def __init__(self, connection: socket.socket, patience: float) -> None:
        self._connection = connection
        self._patience = patience
        self._rest = b""
        self._number = 0

    def command(self, name: str, /, **arguments: object) -> str:
        """Its answer in one sentence; InputError with its sentence where it refuses."""
        self._number += 1
        self.send({"type": "command", "id": self._number, "name": name, "arguments": arguments})
        answer = self.hear("reply")
        while answer.get("id") != self._number:
            answer = self.hear("reply")
        if not answer.get("ok"):
            raise InputError(str(answer.get("text", "the recorder refused")))
        return str(answer.get("text", ""))

    def send(self, message: dict[str, object]) -> None:
        """Send one line."""
        self._connection.settimeout(self._patience)
        self._connection.sendall(json.dumps(message).encode() + b"\n")

    def hear(self, kind: str) -> dict[str, object]:
        """The next message of a kind; what comes before is left out. OSError where it does not come."""
        deadline = time.monotonic() + self._patience
        while True:
            line, found, rest = self._rest.partition(b"\n")
            if found:
                self._rest = rest
                message = json.loads(line)
                if isinstance(message, dict) and message.get("type") == kind:
                    return message
                continue
            left = deadline - time.monotonic()
            if left <= 0 or len(self._rest) > LONGEST_LINE:
                raise TimeoutError(f"no {kind} came")
            self._connection.settimeout(left)
            more = self._connection.recv(65536)
            if not more:
                raise ConnectionError("the other side ended the talk")
            self._rest += more


@contextmanager
def talking(to: AtWork, *, patience: float = PATIENCE) -> Iterator[Talk]:
    """A talk while the block runs. NotThereError: the recorder is over; InputError: it does not answer."""
    try:
        connection = socket.create_connection((to.host, to.port), timeout=patience)
    except TimeoutError:
        raise _silent(to) from None
    except OSError:
        raise NotThereError(f"{to.recording} is not being recorded any more", "start `lightoff record`") from None
    with connection:
        talk = Talk(connection, patience)
        try:
            talk.send({"type": "auth", "token": to.token})
            talk.hear("hello")
        except TimeoutError:
            raise _silent(to) from None
        except (OSError, ValueError, RecursionError):  # another program has the port now
            raise NotThereError(f"{to.recording} is not being recorded any more", "start `lightoff record`") from None
        try:
            yield talk
        except TimeoutError:
            raise _silent(to) from None
        except (OSError, ValueError, RecursionError) as error:
            what = f"the recorder of {to.recording} went away before it answered ({error})"
            raise InputError(what, "look at the page before you try again") from error


def _silent(to: AtWork) -> InputError:
    return InputError(f"the recorder of {to.recording} does not answer", "look at its page and try again")
