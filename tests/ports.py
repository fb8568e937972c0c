"""Loopback ports for what the tests start, kill and start again at the same place."""

import itertools
import os
import random
import socket
from collections.abc import Iterator
from pathlib import Path

FIRST = 15_000
_worker = os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")
_WORKERS = 16  # each worker has ports of its own, so that none takes one whose server was killed by another's test


def _below() -> int:
    """The least port that the system gives to outgoing connections: one of these could take a killed server's place."""
    try:
        return int(Path("/proc/sys/net/ipv4/ip_local_port_range").read_text().split()[0])
    except OSError:
        return 32_768


def _ports() -> Iterator[int]:
    """Those of this worker, round and round, from anywhere: two runs on one machine meet seldom."""
    own = range(FIRST + int(_worker) % _WORKERS, max(_below(), FIRST + 1_000), _WORKERS)
    start = random.randrange(len(own))
    return itertools.cycle([*own[start:], *own[:start]])


_own = _ports()


def free_port() -> int:
    """A port at which nobody listens, and which no outgoing connection gets by chance; a new one each time."""
    for port in itertools.islice(_own, 1_000):
        try:
            with socket.create_server(("127.0.0.1", port)):
                return port
        except OSError:
            continue
    raise AssertionError("no free port")
