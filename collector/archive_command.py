"""Sends one finished recording, as the command line asks for it."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from collector.archive_target import secrets_beside, target_of
from collector.database import is_recording
from collector.forward import REST, Forwarder
from collector.forward_about import about_of
from collector.forward_kept import Kept
from collector.job import JobError, parse
from collector.job_sections import ArchiveSettings
from collector.recording import Recording
from collector.sections import reason, validated
from collector.sinks.influx import InfluxSink
from collector.sinks.sink import Target
from drivers.base import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is asked for; None: what the job in the recording says."""

    url: str | None = None
    bucket: str | None = None
    org: str | None = None
    secret: str | None = None
    settle: float = 60.0
    """[s]"""
    patience: float = 120.0
    """[s]"""


@dataclass(frozen=True, slots=True)
class Done:
    """How it went."""

    text: str
    problems: tuple[str, ...]


def send(recording: Path, wanted: Wanted, *, progress: Callable[[float], None] = lambda _: None) -> Done:
    """Send what the server does not have yet. InputError or RecordingError where that cannot begin."""
    if recording.exists() and not is_recording(recording):
        raise InputError(f"{recording} is no recording", "make one of it with lightoff import")
    target = _target(recording, wanted)
    sink = InfluxSink(target)
    try:
        with Kept(recording, target.identity) as kept:
            forwarder = Forwarder(recording, sink, kept, settle=wanted.settle)

            def share() -> None:
                progress(forwarder.share)

            whole = forward_all(forwarder, patience=wanted.patience, each=share)
            return _done(forwarder, whole=whole, target=target)
    finally:
        sink.close()


def forward_all(
    forwarder: Forwarder,
    *,
    patience: float,
    sleep: Callable[[float], None] = time.sleep,
    each: Callable[[], None] = lambda: None,
) -> bool:
    """Step until the server has everything for sure; False when it took nothing for so long. [s]"""
    while not forwarder.done:
        wait = forwarder.step()
        each()
        if forwarder.status.stood_still > patience:
            return False
        if wait:
            sleep(min(wait, REST))
    return True


def _target(recording: Path, wanted: Wanted) -> Target:
    with Recording(recording, past_damage=True) as opened:
        if about_of(opened) is None:
            raise InputError(f"{recording} has no readings", "there is nothing to send")
        text = opened.job() or ""
    try:
        own = parse(text).archive
    except JobError:
        own = ArchiveSettings()
    if wanted.url is not None and wanted.url != own.url:
        own = ArchiveSettings()  # another server gets neither this one's token nor its names
    said = {name: getattr(wanted, name) or getattr(own, name) for name in ("url", "bucket", "org", "secret")}
    settings, refusals = validated(ArchiveSettings, {name: text for name, text in said.items() if text})
    if settings is None:
        first = refusals[0]
        raise InputError(f"{'.'.join(map(str, first['loc']))}: {reason(first, ArchiveSettings)}", "see --help")
    target = target_of(settings, secrets_beside(Path() if wanted.secret else recording.parent))
    if target is None:
        raise InputError(f"the job in {recording} names no archive", "write the URL of the server behind it")
    return target


def _done(forwarder: Forwarder, *, whole: bool, target: Target) -> Done:
    status, problems = forwarder.status, []
    if not whole:
        problems.append(f"not all of it was sent: {status.text}; repeat the command, it goes on where it stopped")
    if status.aside:
        problems.append(f"{target} refuses {status.aside} readings; they and the reasons are in {forwarder.kept_file}")
    if status.unwritten:
        problems.append(f"what {target} has could not be written down, and is sent again next time: {status.unwritten}")
    problems += [f"left out: {text}" for text in forwarder.damaged]
    twice = f", {status.again} of them sent again" if status.again else ""
    count = status.sent - status.again
    all_of_it = "all of it" if not forwarder.damaged else "all of it that can be read"
    has = f"{target} has {all_of_it}" if whole and not status.aside else f"{target} does not have all of it"
    return Done(f"{count} readings sent{twice}; {has}", tuple(problems))
