"""One call from start to end: the recording, the instruments, the feed and the page, and an orderly stop."""

import asyncio
import os
import signal
from collections.abc import Awaitable, Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from analysis.model import Event, EventKind
from analysis.points import POINTS
from collector.alarm_rule import AlarmRule
from collector.archive import Archive, archive_of
from collector.archive_target import Secrets
from collector.arguments import Command
from collector.at_work import AtWork, announced
from collector.building import Share as SharedHere
from collector.by_hand import beginning
from collector.checklists import words as checklist_words
from collector.checks import Checklists
from collector.clock import Clock
from collector.collector import Collector
from collector.commands import Commands
from collector.deed_words import words as deed_words
from collector.deeds import Deeds
from collector.feed import Feed
from collector.instruments import cautions, instrument_facts
from collector.job import InstrumentSettings, Job
from collector.job_commands import JobDesk, Place
from collector.library import Library
from collector.library_commands import library_commands
from collector.normalize import zeros_in
from collector.offers import offers
from collector.page import BEGIN, PageProcess
from collector.practice import Practice
from collector.recording import Recording
from collector.replays import Replays
from collector.replays import program as replay_program
from collector.rules import default_rules
from collector.running import Running
from collector.searches import Searches
from collector.share_diagnosis import SharedDiagnosis
from collector.sharing import Sharing, sharing_of
from collector.store import Store
from collector.talking import REMOTE
from collector.talks import Talking
from collector.trials import Trials
from drivers.base import Driver
from drivers.manual import Manual
from drivers.registry import KINDS
from drivers.replay import Replay, stem
from drivers.share import Share


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
    instruments: Callable[[Clock, Iterable[InstrumentSettings]], list[Driver]] | None = None
    """Makes those that the job gets while the call runs; None where the instruments stay as they are."""
    job_file: Path | None = None
    """Where the job came from; one that is made on the page goes beside the recording."""
    building: SharedHere | None = None
    """As the page is shared in the building from the start; None: not until that is wished on it."""
    archive: Secrets | None = None
    """Reads the token of the job's archive; None where nothing goes to one."""
    share: Secrets | None = None
    """Reads the password for the broker where the job shares the call; None where nothing is shared."""
    watch: Callable[[Collector, Sequence[Event]], Share] | None = None
    """The call that is watched, made with what records it and the events that are recorded already."""


Shown = tuple[Callable[[str], None], Callable[[SharedHere], None]]
"""Told where the page is, and how it is shared."""


async def run(
    plan: Plan,
    *,
    on_address: Callable[[str], None],
    on_start: Callable[[], None],
    on_left: Callable[[str], None] = lambda _: None,
    on_share: Callable[[SharedHere], None] = lambda _: None,
) -> Collector:
    """Record until stopped by a signal or after the planned time; what was taken in is durable on return.

    `on_left` is told in one sentence what is still open then, `on_share` how the page is shared in the building. A
    second signal changes nothing: the stop that is under way is short, and cutting it would lose what is queued.
    """
    stopped = asyncio.Event()
    with _stopping(stopped):
        collector, checklists, carriers = await _record(plan, stopped, (on_address, on_share), on_start)
    for left in filter(None, (checklists.left_open(), *(carrier.left() for carrier in carriers))):
        on_left(left)
    return collector


async def _record(
    plan: Plan, stopped: asyncio.Event, shown: Shown, on_start: Callable[[], None]
) -> tuple[Collector, Checklists, tuple[Archive | Sharing, ...]]:
    clock = Clock()

    async def caught_up() -> None:
        await collector.recorder.caught_up()

    replay = plan.replay(caught_up) if plan.replay else None
    drivers = [*plan.drivers(clock), *([replay] if replay else [])]
    watched = watching(plan.job, drivers)
    with Store(plan.recording) as store:
        with Recording(plan.recording) as before:  # what is there already, where a recording is continued
            zeros, recorded, checked = zeros_in(before), before.channels, before.events({EventKind.CHECK})
            talked = before.events(REMOTE)
            deeds_before = before.events({EventKind.DONE})
            began = beginning(before)
            told = before.events() if plan.watch else []
        collector = Collector(
            store,
            plate=plan.job.plate,
            rules=watched(plan.job),
            clock=clock,
            zeros=zeros,
            recorded=recorded,
            timing=plan.job.stated_timing,
        )
        watched_call = plan.watch(collector, told) if plan.watch else None
        checklists = Checklists(collector, recorded=checked, replaying=replay is not None)
        talking = Talking(collector, recorded=talked, replaying=replay is not None)
        deeds = Deeds(collector, recorded=deeds_before, replaying=replay is not None, began=began)
        manual = Manual(now=collector.now, known=recorded)
        for driver in (*drivers, *([watched_call] if watched_call else ()), manual):
            collector.add(driver)
        _write_beginning(plan, collector)
        plant = next((driver for driver in drivers if isinstance(driver, Practice)), None)
        make = partial(plan.instruments, clock) if plan.instruments else None
        running = Running(collector, plan.job.instruments, make)
        desk = JobDesk(collector, plan.job, place_of_job(plan, plant), rules=watched, running=running)
        archive = archive_of(plan.recording, plan.archive, collector, lambda: desk.job.archive)
        folder = (plan.job_file or plan.recording).parent
        sharing = sharing_of(plan.recording, plan.share, collector, lambda: desk.job, folder=folder)
        if sharing:
            sharing.takes_remote = talking.take
            if replay:
                sharing.paused = lambda: replay.paused
        if watched_call:
            collector.talk_back = watched_call.send
        searches = Searches(running=lambda: running.settings)
        trials = Trials(desk.with_instrument, running, now=clock)
        about: Mapping[str, object] = {
            "recording": str(plan.recording),
            "kept": plan.kept,
            "causes": dict(plant.words) if plant else {},
            "checks": checklist_words(),
            "done": deed_words(),
        }
        library, replays = library_of(plan, replay), Replays(replay_program())
        more = more_commands(
            checklists, desk, library, replays, searches=searches, trials=trials, talking=talking, deeds=deeds
        )
        commands = Commands(
            collector,
            manual=manual,
            replay=replay,
            plant=plant,
            more=more,
            began=began,
            watching=plan.watch is not None,
        )
        feed = Feed(
            collector,
            commands,
            about=lambda: {**about, **desk.about()},
            state=lambda: {
                "checks": checklists.status(),
                "done": deeds.status(),
                "replays": replays.state(),
                "archive": archive.status() if archive else None,
                "sharing": sharing.status() if sharing else None,
                "watching": watched_call.standing() if watched_call else None,
                "talk": talking.status(),
            },
            instruments=lambda: instrument_facts(desk.job.instruments),
        )
        async with replays, searches.work, trials.work, feed.serve() as (host, port):
            found_at = AtWork(str(plan.recording.absolute()), host, port, feed.token, os.getpid())
            settings: Mapping[str, object] = {
                "feed_host": host,
                "feed_port": port,
                "token": feed.token,
                "recording": str(plan.recording.absolute()),
                "library": str(library.folder),
                "port": plan.port,
                "share": plan.building.facts() if plan.building else None,
            }
            with announced(found_at):
                on_start()
                async with (
                    archive.sending() if archive else nullcontext(),
                    sharing.sending() if sharing else nullcontext(),
                    SharedDiagnosis(plan.recording, ended=sharing.ended, use=sharing.use_diagnosis).looking()
                    if sharing
                    else nullcontext(),
                ):
                    await _until_stopped(plan, collector, stopped, settings, shown)
        return collector, checklists, tuple(one for one in (archive, sharing) if one)


def watching(job: Job, drivers: Sequence[Driver]) -> Callable[[Job], tuple[AlarmRule, ...]]:
    """Alarms of a job by what is measured: by its own instruments, and by drivers that are none of them."""
    own = {settings.name for settings in job.instruments if settings.driver in KINDS}
    others = {channel.point for driver in drivers if driver.name not in own for channel in driver.channels}
    # Whatever is no contact may be typed in at any time and is watched then.
    typed = {name for name, point in POINTS.items() if point.measure != "contact"}

    def watched(now: Job) -> tuple[AlarmRule, ...]:
        points = {point for one in now.instruments if one.driver in KINDS for point in one.channels.values()}
        return rules(now, frozenset(others | typed | points))

    return watched


def more_commands(
    checklists: Checklists,
    desk: JobDesk,
    library: Library,
    replays: Replays,
    *,
    searches: Searches,
    trials: Trials,
    talking: Talking,
    deeds: Deeds,
) -> Mapping[str, Command]:
    """Commands of the parts of a call, beside those that `Commands` has itself."""
    return {
        **checklists.commands(),
        **deeds.commands(),
        **desk.commands,
        **library_commands(library, replays),
        **searches.commands,
        **trials.commands,
        **talking.commands(),
        "meter_offers": lambda _: offers(beside=desk.folder),
    }


def place_of_job(plan: Plan, plant: Practice | None) -> Place:
    """Where the job is saved that is changed on the page, or why it cannot be changed."""
    if plan.watch:
        return Place(None, "The job is that of the technician: it cannot be changed here.")
    if plan.replay:
        return Place(None, "A replay plays what was recorded: its job cannot be changed here.")
    if plant:
        return Place(None, "The simulated unit was built from this job: it cannot be changed while it runs.")
    if not plan.kept:
        return Place(None, "This recording is not kept, so there is no place for a job beside it.")
    return Place(plan.job_file or plan.recording.with_name(f"{stem(plan.recording)}.toml"))


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
    shown: Shown,
) -> None:
    recording = asyncio.create_task(collector.run(), name="collector")
    waiting = asyncio.create_task(stopped.wait(), name="stop")
    around: list[asyncio.Task[object]] = [waiting]
    seen = asyncio.Event()
    if plan.page:

        def there(address: str) -> None:
            on_address(address)
            seen.set()

        on_address, on_share = shown
        page = PageProcess(plan.page, settings, on_address=there, on_share=on_share).run()
        around.append(asyncio.create_task(page, name="page"))
    else:
        seen.set()
    if plan.seconds is not None:
        around.append(ending := asyncio.create_task(_time_is_up(plan.seconds, seen), name="time"))
        ending.add_done_callback(lambda _: stopped.set())
    try:
        await asyncio.wait([recording, waiting], return_when=asyncio.FIRST_COMPLETED)
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


async def _time_is_up(seconds: float, seen: asyncio.Event) -> None:
    """Wait for the seconds of a run; they count from when the page can be looked at, on a slow machine too."""
    with suppress(TimeoutError):
        async with asyncio.timeout(BEGIN):
            await seen.wait()
    await asyncio.sleep(seconds)


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
