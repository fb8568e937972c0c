"""One call from start to end: the recording, the instruments, the feed and the page, and an orderly stop."""

import asyncio
import signal
from collections.abc import Awaitable, Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path

from analysis.model import Event, EventKind
from analysis.points import POINTS
from collector.alarm_rule import AlarmRule
from collector.clock import Clock
from collector.collector import Collector
from collector.commands import Commands
from collector.feed import Feed
from collector.instruments import cautions
from collector.job import Job
from collector.library import Library
from collector.library_commands import library_commands
from collector.normalize import zeros_in
from collector.page import PageProcess
from collector.practice import Practice
from collector.recording import Recording
from collector.replays import Replays
from collector.replays import program as replay_program
from collector.rules import default_rules
from collector.store import Store
from drivers.base import Driver
from drivers.manual import Manual
from drivers.replay import Replay


@dataclass(frozen=True, slots=True)
class Plan:
    """What a call consists of."""

    recording: Path
    job: Job
    page: Sequence[str]
    """The page's program, or empty for none."""
    port: int = 8350
    """Where the page is wished for. [1]"""
    kept: bool = True
    """Whether the recording stays when it is over."""
    seconds: float | None = None
    """How long it lasts; None: until it is stopped. [s]"""
    drivers: Callable[[Clock], Sequence[Driver]] = field(default=lambda _: ())
    """The instruments, made with the recording's clock."""
    replay: Callable[[Callable[[], Awaitable[None]]], Replay] | None = None
    """The replay, made with what tells that the recorder has caught up."""


async def run(plan: Plan, *, on_address: Callable[[str], None], on_start: Callable[[], None]) -> Collector:
    """Record until stopped by a signal or after the planned time; what was taken in is durable on return.

    A second signal changes nothing: the stop that is under way is short, and cutting it would lose what is queued.
    """
    stopped = asyncio.Event()
    with _stopping(stopped):
        return await _record(plan, stopped, on_address, on_start)


async def _record(
    plan: Plan, stopped: asyncio.Event, on_address: Callable[[str], None], on_start: Callable[[], None]
) -> Collector:
    clock = Clock()

    async def caught_up() -> None:
        await collector.recorder.caught_up()

    replay = plan.replay(caught_up) if plan.replay else None
    drivers = [*plan.drivers(clock), *([replay] if replay else [])]
    measured = {channel.point for driver in drivers for channel in driver.channels}
    # Whatever is no contact may be typed in at any time and is watched then.
    typed = {name for name, point in POINTS.items() if point.measure != "contact"}
    watched = rules(plan.job, frozenset(measured | typed))
    with Store(plan.recording) as store:
        with Recording(plan.recording) as before:  # what is there already, where a recording is continued
            zeros, recorded = zeros_in(before), before.channels
        collector = Collector(store, plate=plan.job.plate, rules=watched, clock=clock, zeros=zeros, recorded=recorded)
        manual = Manual(now=collector.now, known=recorded)
        for driver in (*drivers, manual):
            collector.add(driver)
        _write_beginning(plan, collector)
        plant = next((driver for driver in drivers if isinstance(driver, Practice)), None)
        about: Mapping[str, object] = {
            "recording": str(plan.recording),
            "kept": plan.kept,
            "job": plan.job.name,
            "plate": asdict(plan.job.plate),
            "limits": [asdict(rule) for rule in watched],
            "causes": dict(plant.words) if plant else {},
        }
        library, replays = library_of(plan, replay), Replays(replay_program())
        commands = Commands(
            collector, manual=manual, replay=replay, plant=plant, more=library_commands(library, replays)
        )
        feed = Feed(collector, commands, about=lambda: about, state=lambda: {"replays": replays.state()})
        async with replays, feed.serve() as (host, port):
            settings: Mapping[str, object] = {
                "feed_host": host,
                "feed_port": port,
                "token": feed.token,
                "recording": str(plan.recording.absolute()),
                "library": str(library.folder),
                "port": plan.port,
            }
            on_start()
            await _until_stopped(plan, collector, stopped, settings, on_address)
        return collector


def library_of(plan: Plan, replay: Replay | None = None) -> Library:
    """The recordings beside the one that is made now, or where that is not kept, those of the folder recordings."""
    held = {replay.path: "is being replayed here"} if replay and replay.path else {}
    if not plan.kept:
        return Library(Path("recordings"), held)
    return Library(plan.recording.absolute().parent, {**held, plan.recording.absolute(): "is being recorded now"})


def _write_beginning(plan: Plan, collector: Collector) -> None:
    wall = {"wall": collector.clock()}
    collector.ingest(Event(collector.now(), EventKind.RECORDER, "recording started", None, wall))
    for caution in cautions(plan.job.instruments):
        collector.ingest(Event(collector.now(), EventKind.PROBLEM, caution))
    if plan.job.text:
        data = {"text": plan.job.text, "name": plan.job.name}
        collector.ingest(Event(collector.now(), EventKind.JOB, f"job file {plan.job.name}", None, data))


async def _until_stopped(
    plan: Plan,
    collector: Collector,
    stopped: asyncio.Event,
    settings: Mapping[str, object],
    on_address: Callable[[str], None],
) -> None:
    recording = asyncio.create_task(collector.run(), name="collector")
    waiting = asyncio.create_task(stopped.wait(), name="stop")
    around = [waiting]
    if plan.page:
        page = PageProcess(plan.page, settings, on_address=on_address).run()
        around.append(asyncio.create_task(page, name="page"))  # type: ignore[arg-type]
    try:
        await asyncio.wait([recording, waiting], timeout=plan.seconds, return_when=asyncio.FIRST_COMPLETED)
    except asyncio.CancelledError:  # an interrupt where loops take no signals: a stop like any other
        task = asyncio.current_task()
        assert task is not None
        task.uncancel()
    for task in around:
        task.cancel()
    if not recording.done():
        wall = {"wall": collector.clock()}
        collector.ingest(Event(collector.now(), EventKind.RECORDER, "recording stopped", None, wall))
        recording.cancel()
    await asyncio.wait([recording, *around])
    if not recording.cancelled() and (error := recording.exception()):
        raise error


@contextmanager
def _stopping(stopped: asyncio.Event) -> Iterator[None]:
    loop = asyncio.get_running_loop()
    signals = (signal.SIGINT, signal.SIGTERM)
    with suppress(NotImplementedError):  # where a loop takes no signals, the interrupt cancels this task instead
        for number in signals:
            loop.add_signal_handler(number, stopped.set)
    try:
        yield
    finally:
        with suppress(NotImplementedError):
            for number in signals:
                loop.remove_signal_handler(number)


_WATCHED_WHEN = {"draft_margin": ("switch_closed", 1.0), "draft_margin_high": ("switch_high_closed", 1.0)}
"""Limits on a margin count once its switch is closed: at rest there is no pressure to have a margin with."""


def rules(job: Job, measured: frozenset[str] | None = None) -> tuple[AlarmRule, ...]:
    """Alarms of the plate and, on top, of the job file's limits; `measured` are the points with an instrument."""
    own = [
        AlarmRule(
            name=limit.name,
            point=limit.point,
            above=limit.above,
            below=limit.below,
            deadband=limit.deadband,
            on_delay=limit.on_delay,
            off_delay=limit.off_delay,
            priority=limit.priority,
            text=limit.text,
            when=_WATCHED_WHEN.get(limit.point),
            settle=2.0 if limit.point in _WATCHED_WHEN else 0.0,
            latched=limit.point in _WATCHED_WHEN,
        )
        for limit in job.limits
    ]
    return (*default_rules(job.plate, measured), *own)
