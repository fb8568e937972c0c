"""A call that is shared over a real broker, and who watches it: both ends in one loop, the sender beside them."""

import asyncio
import math
import random
import shutil
import subprocess
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from analysis.model import Channel, Event, Plate, Quality, Reading
from collector.clock import Clock
from collector.collector import Collector
from collector.job import parse
from collector.recording import Recording
from collector.share_target import share_secrets
from collector.sharing import Sharing, sharing_of
from collector.store import Store
from collector.watching import held
from drivers.share import Share, Viewing
from drivers.share_topics import shared_call
from tests.drivers.authority import Authority
from tests.drivers.brokers import Broker

SECRET = "correct horse"
CHANNELS = tuple(
    Channel(point, f"replay: meter {number}" if number == 1 else f"meter {number}", unit)
    for number, (point, unit) in enumerate((("draft_collector", "inH2O"), ("temp_supply", "degF"), ("room_co", "ppm")))
)


def guarded_broker(folder: Path, rights: str) -> Broker:
    """A broker with TLS and the users ann and bo, who may do what the rights say."""
    if not (program := shutil.which("mosquitto_passwd")):
        pytest.skip("mosquitto_passwd is not installed: apt-get install mosquitto")
    users, acl = folder / "users", folder / "rights"
    users.touch(mode=0o600)
    for name in ("ann", "bo"):
        subprocess.run([program, "-b", str(users), name, SECRET], check=True, capture_output=True, timeout=20)
    acl.write_text(rights)
    settings = ("allow_anonymous false", f"password_file {users}", f"acl_file {acl}")
    return Broker(folder, *settings, tls=Authority(folder).broker())


def job_text(port: int, *, user: str = "", secret: str = "", tls: bool = False, more: str = "") -> str:
    scheme = "mqtts" if tls else "mqtt"
    broker = f"{scheme}://{user + '@' if user else ''}127.0.0.1:{port}"
    kept = f'secret = "{secret}"\n' if secret else ""
    return f'[share]\nbroker = "{broker}"\ncompany = "cold company"\ntechnician = "Ann"\ncall = "one"\n{kept}{more}'


def url(port: int, *, user: str = "", tls: bool = False) -> str:
    return f"{'mqtts' if tls else 'mqtt'}://{user + '@' if user else ''}127.0.0.1:{port}/cold%20company/Ann/one"


@dataclass
class There:
    """The technician's end."""

    collector: Collector
    sharing: Sharing
    path: Path
    chance: random.Random = field(default_factory=lambda: random.Random(1))
    last: int = 0

    def say(self, count: int = 1, *, back: int = 0, apart: int = 0) -> None:
        """So many readings of each channel now, or so long ago and so far apart. [ns]"""
        for number in range(count):
            at = self.collector.now() - back + number * apart if back else max(self.last + 1, self.collector.now())
            self.last = max(self.last, at)
            for channel in CHANNELS:
                value = self.chance.choice([round(self.chance.gauss(1, 1), 3), self.chance.random(), math.nan, -0.0])
                quality = Quality.BAD if math.isnan(value) else self.chance.choice(list(Quality))
                self.collector.ingest(Reading(channel.key, at, value, quality))

    @property
    def state(self) -> str:
        status = self.sharing.status()
        return str(status["state"]) if status else "none"

    @property
    def text(self) -> str:
        return str((self.sharing.status() or {}).get("text", ""))


@asynccontextmanager
async def there(path: Path, job: str, clock: Clock | None = None) -> AsyncIterator[There]:
    """A call that is recorded and shared while the block runs."""
    with Store(path) as store:
        collector = Collector(store, plate=Plate(), rules=(), clock=clock or Clock())
        parsed = parse(job)
        sharing = sharing_of(path, share_secrets(path.parent), collector, lambda: parsed, folder=path.parent)
        assert sharing
        for channel in CHANNELS:
            collector.ingest(channel)
        task = asyncio.create_task(collector.run(), name="there")
        try:
            async with sharing.sending():
                yield There(collector, sharing, path)
        finally:
            task.cancel()
            await asyncio.wait([task])


@dataclass
class Here:
    """The viewer's end."""

    collector: Collector
    share: Share
    path: Path

    @property
    def state(self) -> str:
        return str(self.share.standing()["state"])

    @property
    def trouble(self) -> str:
        """What the instrument's row says."""
        return self.collector.supervisors[0].status.text


@asynccontextmanager
async def here(
    path: Path, address: str, *, secret: str | None = None, certificate: str | None = None, **more: float
) -> AsyncIterator[Here]:
    """Somebody who watches while the block runs."""
    with Store(path) as store:
        with Recording(path) as before:
            known, recorded = before.events(), before.channels
        collector = Collector(store, plate=Plate(), rules=(), clock=Clock(), recorded=recorded)
        viewing = Viewing(
            call=shared_call(address),
            held=lambda key, start, end: held(path, key, start, end),
            past=collector.record_past,
            caught_up=collector.recorder.caught_up,
            known=known,
            secret=secret,
            certificate=certificate,
            **more,  # type: ignore[arg-type]
        )
        share = Share(viewing)
        collector.add(share)
        task = asyncio.create_task(collector.run(), name="here")
        try:
            yield Here(collector, share, path)
        finally:
            task.cancel()
            await asyncio.wait([task])
            if not task.cancelled() and (error := task.exception()):
                raise error


async def together(technician: There, viewer: Here, *, within: float) -> None:
    """Both ends are there: what is said now is seen now."""
    deadline = time.monotonic() + within
    while not viewer.collector.readings:
        assert time.monotonic() < deadline, "the viewer sees nothing"
        technician.say()
        await asyncio.sleep(0.05)


def differences(one: Path, other: Path, last: int = 2**63 - 1) -> list[str]:
    """Channels whose readings up to a time [ns] are not the same in both, bit for bit; times in strict order."""
    with Recording(one) as left, Recording(other) as right:
        found = [] if left.span() else ["nothing is recorded"]
        theirs = {channel.key: channel for channel in right.channels}
        for channel in left.channels:
            key = f"{channel.point}@shared: {channel.instrument}"
            first, second = left.read(channel.key, end=last), right.read(key, end=last)
            if key not in theirs or theirs[key].unit != channel.unit:
                found.append(f"{key}: not there")
            elif not (
                first.time.tobytes() == second.time.tobytes() and first.value.tobytes() == second.value.tobytes()
            ):
                found.append(f"{key}: {first.time.size} readings there, {second.time.size} here")
            elif first.quality.tobytes() != second.quality.tobytes():
                found.append(f"{key}: other qualities")
    return found


def same(one: Path, other: Path) -> Callable[[], bool]:
    """A condition to wait for; looked at three times a second, since both ends work in the same loop."""
    looked = -math.inf

    def found() -> bool:
        nonlocal looked
        if time.monotonic() - looked < 0.3:
            return False
        equal = not differences(one, other)
        looked = time.monotonic()
        return equal

    return found


def kinds(path: Path) -> list[Event]:
    """Events of a recording."""
    with Recording(path) as recording:
        return recording.events()
