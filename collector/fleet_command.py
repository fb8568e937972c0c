"""Archives from a broker for as long as the command line asks for."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from collector.archive_target import secrets_beside, target_of
from collector.fleet_address import company_at
from collector.fleet_messages import Decoder
from collector.fleet_sessions import GROUP, NAME, Where
from collector.fleet_worker import Worker
from collector.job_sections import ArchiveSettings
from collector.sections import reason, validated
from collector.sinks.influx import InfluxSink
from collector.sinks.sink import Target
from drivers.base import InputError
from drivers.held import MOST

TELLING = 1.0
"""Between two words about how far it is. [s]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class FromBroker:
    """What is asked for."""

    broker: str
    url: str
    bucket: str | None = None
    org: str | None = None
    secret: str | None = None
    broker_secret: str | None = None
    group: str | None = None
    """Where the name of the group is kept."""
    settle: float = 60.0
    """[s]"""
    patience: float = 120.0
    """With `once`: how long a server that takes nothing is waited for. [s]"""
    seconds: float | None = None
    """How long; None: until it is stopped. [s]"""
    once: bool = False
    """Whether it ends when nothing waits any more."""
    most: int = MOST
    """Messages unacknowledged in a session. [1]"""


def archive_from_broker(
    wanted: FromBroker,
    decoder: Decoder,
    *,
    began: Callable[[str], None] = lambda _: None,
    tell: Callable[[Mapping[str, Any]], None] = lambda _: None,
) -> dict[str, Any]:
    """Work until the time is over, nothing waits any more, or Ctrl+C; what was done. LightoffError.

    `began` is told once, when the broker keeps what is shared from then on; `tell` each second how far it is.
    """
    where, target = _where(wanted), _target(wanted)
    sink = InfluxSink(target)
    worker = Worker(where, sink, decoder, settle=wanted.settle)
    start = told = time.monotonic()
    connected = False
    why = "stopped"
    try:
        while True:
            worker.step()
            now = time.monotonic()
            if worker.sessions.own.connected and not connected:
                connected = True
                began(f"archiving from {where.broker} to {target} as {worker.sessions.name}")
            if now - told >= TELLING:
                told = now
                tell(worker.status.told())
            if wanted.seconds is not None and now - start >= wanted.seconds:
                why = "its time is over"
                break
            if wanted.once and worker.idle:
                why = "nothing waits any more"
                break
            if wanted.once and worker.standing > wanted.patience:
                why = worker.status.text
                break
    except KeyboardInterrupt:
        pass
    finally:
        worker.close()
        sink.close()
    done = not wanted.once or why == "nothing waits any more"
    return {"worker": worker.sessions.name, "done": done, "why": why, "seconds": time.monotonic() - start} | (
        worker.status.told()
    )


def _where(wanted: FromBroker) -> Where:
    broker, company = company_at(wanted.broker, NAME)
    secret = secrets_beside(Path())(wanted.broker_secret) if wanted.broker_secret else None
    if secret and broker.user is None:
        raise InputError("archive: the broker's password has no user", "write it into the address, mqtt://name@host")
    group = secrets_beside(Path())(wanted.group) if wanted.group else GROUP
    if any(sign in group for sign in "+#/\0"):
        raise InputError("archive: the name of the group has + # or / in it", "use letters and digits")
    return Where(broker=broker, company=company or "+", secret=secret, group=group, most=wanted.most)


def _target(wanted: FromBroker) -> Target:
    said = {name: getattr(wanted, name) for name in ("url", "bucket", "org", "secret")}
    settings, refusals = validated(ArchiveSettings, {name: text for name, text in said.items() if text})
    if settings is None:
        first = refusals[0]
        raise InputError(f"{'.'.join(map(str, first['loc']))}: {reason(first, ArchiveSettings)}", "see --help")
    target = target_of(settings, secrets_beside(Path()))
    assert target is not None
    return target
