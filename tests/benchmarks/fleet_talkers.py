"""`python -m tests.benchmarks.fleet_talkers PORT TECHNICIANS SECONDS` is many technicians that share readings.

Each has a connection of its own and says, ten times a second, one reading of each of its 16 channels, as a program that
shares what it records does. What is said is made once and only its time is changed, so that making it costs little. It
prints what it said and what that cost as JSON.
"""

import json
import resource
import selectors
import struct
import sys
import time

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from drivers.share_topics import CallTopics
from tests.collector.fleet_bench import SECRET, described, pack

CHANNELS, TURN = 16, 0.1
"""Of each technician [1]; between two messages of one [s]."""
START = 2**60
"""Stands in the message for its time. [ns]"""


class Message:
    """A pack whose time can be set."""

    def __init__(self) -> None:
        made = pack([START], {one: [0.25 * one + 0.125] for one in range(CHANNELS)})
        import zlib

        plain = zlib.decompress(made) if made[:1] == b"\x78" else made
        self._place = plain.index(struct.pack(">Q", START))
        self._bytes = bytearray(plain)

    def at(self, time_: int) -> bytes:
        """As it is sent at a time. [ns]"""
        struct.pack_into(">Q", self._bytes, self._place, time_)
        return bytes(self._bytes)


def connected(port: int, number: int) -> tuple[paho.Client, CallTopics]:
    """A technician whose call is described."""
    topics = CallTopics("north", f"ann{number}", "call-1")
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.username_pw_set("bench", SECRET)
    client.max_inflight_messages_set(1000)
    ready: list[object] = []
    client.on_connect = lambda *_: ready.append(
        client.publish(topics.channels, described(CHANNELS), qos=1, retain=True)
    )
    client.connect("127.0.0.1", port, keepalive=600)
    while not ready:
        client.loop(0.1)
    return client, topics


def main() -> None:
    """Talk."""
    port, technicians, seconds = int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])
    message = Message()
    people = [connected(port, number) for number in range(technicians)]
    selector = selectors.DefaultSelector()
    for client, _ in people:
        connection = client.socket()
        assert connection is not None
        selector.register(connection.fileno(), selectors.EVENT_READ, client)
    print("talking", flush=True)  # noqa: T201
    sys.stdin.readline()
    used = resource.getrusage(resource.RUSAGE_SELF)
    began = time.monotonic()
    said = behind = 0.0
    turns = round(seconds / TURN)
    infos = []
    for turn in range(turns * technicians):
        due = began + turn * TURN / technicians  # spread over the turn
        while True:
            left = due - time.monotonic()
            for key, _ in selector.select(max(0.0, left)):
                key.data.loop_read()
            if left <= 0:
                break
        behind = max(behind, -left)
        client, topics = people[turn % technicians]
        at = time.time_ns() // 1_000_000 * 1_000_000 + 1  # no whole second, so that the form of the message stays
        infos.append(client.publish(topics.readings, message.at(at), qos=1))
        said += CHANNELS
    took = time.monotonic() - began
    cost = resource.getrusage(resource.RUSAGE_SELF)
    deadline = time.monotonic() + 60
    while any(not info.is_published() for info in infos) and time.monotonic() < deadline:
        for key, _ in selector.select(0.1):
            key.data.loop_read()
    processor = cost.ru_utime + cost.ru_stime - used.ru_utime - used.ru_stime
    kept = sum(info.is_published() for info in infos) * CHANNELS
    print(json.dumps({"said": said, "kept": kept, "seconds": took, "processor": processor, "behind": behind}))  # noqa: T201


if __name__ == "__main__":
    main()
