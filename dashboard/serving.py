"""What the processes of pages have in common: a port of their own, the word that they listen, their end."""

import os
import socket
import threading
from collections.abc import Callable

import uvicorn

HOST = "127.0.0.1"


class AnnouncingServer(uvicorn.Server):
    """A server that says when it listens."""

    def __init__(self, config: uvicorn.Config, announce: Callable[[], None]) -> None:
        super().__init__(config)
        self._announce = announce

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen, then announce."""
        await super().startup(sockets=sockets)
        self._announce()


def listening_socket(port: int) -> socket.socket:
    """Socket bound to the port on loopback, or to another free one."""
    for wanted in (port, 0):
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name == "posix":  # elsewhere this would take a port that is in use
                bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            bound.bind((HOST, wanted))
        except OSError:
            bound.close()
            if wanted == 0:
                raise
        else:
            return bound
    raise AssertionError("not reached")


def when_input_ends(call: Callable[[], object]) -> None:
    """Call from a thread of its own when standard input ends."""

    def wait() -> None:
        while os.read(0, 4096):
            pass
        call()

    threading.Thread(target=wait, name="standard input", daemon=True).start()
