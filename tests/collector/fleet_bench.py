"""A company's broker with users and rights, technicians that share simulated readings, and workers of the archive."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.model import Channel
from drivers.codecs import senml
from drivers.share_messages import channels_map
from drivers.share_topics import CallTopics
from tests.collector.archive_bench import Known
from tests.drivers.brokers import Broker, Publisher

ACL = Path(__file__).parents[2] / "docs" / "fleet" / "acl"
SECRET = "correct horse"
USERS = ("archive", "north-archive", "north", "north/ann", "north/ben", "south", "south/eve")
QUEUES = ("max_inflight_messages 0", "max_queued_messages 500000")


def guarded(folder: Path) -> Broker:
    """A broker with the users of two companies and the rights of docs/fleet/acl."""
    import shutil

    if not (program := shutil.which("mosquitto_passwd")):
        pytest.skip("mosquitto_passwd is not installed: apt-get install mosquitto")
    users = folder / "users"
    users.write_text("".join(f"{user}:{SECRET}\n" for user in USERS))
    users.chmod(0o600)
    subprocess.run([program, "-U", str(users)], check=True, capture_output=True, timeout=60)
    return Broker(folder, "allow_anonymous false", f"password_file {users}", f"acl_file {ACL}", *QUEUES)


def channel(number: int, technician: str = "") -> Channel:
    """One of the channels of a call; as many as are wished for."""
    points = ("draft_switch", "draft_collector", "gas_manifold", "temp_supply", "temp_return", "flame_current")
    return Channel(points[number % len(points)], f"simulated: meter {number}{technician}", "inH2O")


def described(count: int) -> bytes:
    """The description of so many channels, retained."""
    job = '[unit]\nmodel = "INV-80"\nserial = "12345"\n'
    return channels_map({number + 1: channel(number) for number in range(count)}, job)


def pack(times: Sequence[int], values: Mapping[int, Sequence[float]]) -> bytes:
    """Readings at these times [ns] of channels by their numbers, from 0."""
    at = np.array(times, np.int64)
    good = np.zeros(len(at), np.int8)
    blocks = [
        senml.Block(f"lightoff:0123abcd/{one + 1}", "inH2O", at, np.array(values[one], float), good) for one in values
    ]
    return senml.encode(blocks)


class Technician:
    """Shares a call, and remembers what was said and taken by the broker."""

    def __init__(self, port: int, user: str = "north/ann", *, call: str = "call-1", channels: int = 2) -> None:
        company, _, own = user.partition("/")
        self.topics = CallTopics(company, own, call)
        self._publisher = Publisher(port, user=user, secret=SECRET)
        self._channels = channels
        self._time = time.time_ns() // 1_000_000 * 1_000_000
        self._infos: list[Any] = []
        self.said: Known = {}

    def describe(self) -> None:
        """Say the channels."""
        self._publisher.say(self.topics.channels, described(self._channels), retain=True).wait_for_publish(10)

    def say(self, count: int = 1, *, value: float | None = None) -> None:
        """So many packs of ten readings of each channel."""
        for _ in range(count):
            times = [self._time + 10_000_000 * step for step in range(10)]
            self._time += 100_000_000
            values = {
                one: [round(round(time / 1e6) % 1000 / 1000 + one, 3) if value is None else value for time in times]
                for one in range(self._channels)
            }
            self._infos.append(self._publisher.say(self.topics.readings, pack(times, values)))
            for one, many in values.items():
                place = channel(one).point, channel(one).instrument
                rows = zip((time // 1_000_000 for time in times), many, strict=True)
                self.said.setdefault(place, []).extend(rows)

    def say_bytes(self, payload: bytes, topic: str | None = None) -> None:
        """Something else."""
        self._infos.append(self._publisher.say(topic or self.topics.readings, payload))

    def settled(self) -> None:
        """The broker has all that was said."""
        for info in self._infos:
            info.wait_for_publish(20)

    def close(self) -> None:
        """Hang up."""
        self._publisher.close()


@contextmanager
def technician(port: int, user: str = "north/ann", **more: Any) -> Iterator[Technician]:
    """A technician while the block runs."""
    made = Technician(port, user, **more)
    try:
        yield made
    finally:
        made.close()


class Archiver:
    """`lightoff archive BROKER URL` as a process."""

    def __init__(self, broker: int, url: str, *options: str, company: str = "", user: str = "archive") -> None:
        command = [sys.executable, "-m", "collector", "archive", f"mqtt://{user}@127.0.0.1:{broker}/{company}", url]
        environment = {**os.environ, "BROKER_SECRET": SECRET}
        options = (*options, "--broker-secret", "env:BROKER_SECRET", "--json")
        self._process = subprocess.Popen(
            [*command, *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
        )

    @property
    def number(self) -> int:
        """Of its process."""
        return self._process.pid

    def ready(self) -> None:
        """Wait until the broker keeps what is said from now on."""
        assert self._process.stderr is not None
        line = self._process.stderr.readline()
        assert " as lightoff" in line, line + self._process.stderr.read()

    def kill(self) -> None:
        """At once, without a word."""
        self._process.kill()
        self._process.communicate(timeout=20)

    def stop(self) -> dict[str, Any]:
        """In good order; what it did."""
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGTERM)
        return self.ended()

    def ended(self) -> dict[str, Any]:
        """Wait for its end; what it did."""
        said, troubles = self._process.communicate(timeout=40)
        assert said, troubles
        done: dict[str, Any] = json.loads(said)
        return {**done, "status": self._process.returncode, "troubles": troubles}


@contextmanager
def archiving(broker: int, url: str, *options: str, **more: Any) -> Iterator[Archiver]:
    """A worker while the block runs, or until it is ended."""
    worker = Archiver(broker, url, *options, **more)
    try:
        yield worker
    finally:
        worker.kill()
