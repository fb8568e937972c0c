"""Plans of watching a call that another machine shares."""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.model import Event
from collector.collector import Collector
from collector.files import place_for
from collector.job import Job, JobError, parse
from collector.page import program
from collector.recording import Recording
from collector.session import Plan
from collector.share_target import own_certificate, share_secrets
from drivers.base import InputError
from drivers.share import Share, Viewing
from drivers.share_look import Look, look
from drivers.share_topics import shared_call


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked for on the command line."""

    url: str
    secret: str | None = None
    certificate: Path | None = None
    output: Path | None = None
    seconds: float | None = None
    port: int = 8350


def watching(wanted: Wanted, *, say: Callable[[str], None]) -> Plan:
    """Watch a call; what the broker keeps of it is looked at first. LightoffError where it cannot be reached."""
    call = shared_call(wanted.url)
    secret = share_secrets(None)(wanted.secret) if wanted.secret else None
    if secret and call.broker.user is None:
        raise InputError("there is a password and no user name", "write the name into the address: mqtts://name@...")
    certificate = own_certificate(str(wanted.certificate), None) if wanted.certificate else None
    found = asyncio.run(look(call, secret=secret, certificate=certificate))
    if found.status is None:
        say(f"nothing of {call} is there yet, or the broker does not let this user read it: waiting for it")
    job = _job(found, say)
    place = place_for(wanted.output, "watched", say=say)

    def made(collector: Collector, known: Sequence[Event]) -> Share:
        viewing = Viewing(
            call=call,
            held=lambda key, start, end: held(place, key, start, end),
            past=collector.record_past,
            caught_up=collector.recorder.caught_up,
            known=known,
            secret=secret,
            certificate=certificate,
            start=int(found.status["now"]) if found.status else 0,
        )
        return Share(viewing)

    return Plan(recording=place, job=job, page=program(), port=wanted.port, seconds=wanted.seconds, watch=made)


def held(place: Path, key: str, start: int, end: int) -> NDArray[np.int64]:
    """Times of what is recorded of a channel. [ns]"""
    with Recording(place) as recording:
        return recording.read(key, start, end).time


def _job(found: Look, say: Callable[[str], None]) -> Job:
    """The technician's job, for its plate and limits; its instruments are there and not here."""
    empty = parse("", "none")
    try:
        job = parse(found.job, "the technician's job")
    except JobError as error:
        say(f"watching without plate and limits: {error}")
        return empty
    return Job(**{**{name: getattr(job, name) for name in Job.__dataclass_fields__},
                  "instruments": (), "share": empty.share, "archive": empty.archive})  # fmt: skip
