"""Plans of calls: what is put together for a replay, and for the instruments of a job."""

from collections.abc import Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path

from collector.archive_target import Secrets, secrets_beside
from collector.clock import Clock
from collector.instruments import build
from collector.job import InstrumentSettings, Job
from collector.page import program
from collector.papers import papers_of
from collector.profiles import named, secret_from
from collector.session import Plan
from collector.share_target import share_secrets
from collector.simulation_request import without_causes
from drivers.base import Driver
from drivers.replay import Replay, Source
from drivers.setup import Shared


def recording(job: Job, place: Path, *, port: int, seconds: float | None, job_file: Path | None = None) -> Plan:
    """Record the instruments of a job; of a simulated unit the recording never says what is wrong with it."""
    folder = (job_file or place).parent
    profiles, secrets = partial(named, beside=folder), partial(secret_from, beside=folder)

    def make(clock: Clock, instruments: Iterable[InstrumentSettings]) -> list[Driver]:
        return build(instruments, clock, papers=papers_of(job), profiles=profiles, secrets=secrets, shared=shared)

    shared = Shared()
    return Plan(
        recording=place,
        job=replace(job, text=without_causes(job)),
        page=program(),
        port=port,
        seconds=seconds,
        drivers=lambda clock: make(clock, job.instruments),
        instruments=make,
        job_file=job_file,
        archive=secrets_beside(folder),
        share=share_secrets(folder),
    )


def replaying(
    source: Source,
    job: Job,
    place: Path,
    *,
    speed: float,
    loop: bool,
    port: int,
    seconds: float | None,
    hurry: bool = False,
    share: Secrets | None = None,
) -> Plan:
    """Play a source; it stays at its end until it is moved. It is shared where its job says so and `share` is there."""
    return Plan(
        share=share,
        recording=place,
        job=job,
        page=program(),
        port=port,
        seconds=seconds,
        replay=lambda caught_up: Replay(
            source, speed=speed, as_fast_as_it_goes=hurry, loop=loop, stay=True, caught_up=caught_up
        ),
    )
