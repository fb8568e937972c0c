"""What the control never does, whatever befalls it: random schedules of mishaps, and what its log says of them.

`LIGHTOFF_SCHEDULES` sets how many schedules are played (500).
"""

import os
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable
from itertools import pairwise

import pytest

from drivers.simulate.attempts import Attempt
from tests.drivers.simulate.control_bench import ENVELOPE
from tests.drivers.simulate.control_schedule import Schedule
from tests.drivers.simulate.control_watch import NEARLY, RULES, RUNNING, Watch

SCHEDULES = int(os.environ.get("LIGHTOFF_SCHEDULES", "500"))
STEPS = 1000
LONGEST_STEP = 0.5
"""Longest step of a schedule. [s]"""

OUTCOMES = set(
    "heat draft_not_proved draft_lost no_ignition flame_lost limit_open gas_off_unexplained call_ended cut_off "
    "no_start switch_found_closed rollout_open no_blower unknown".split()
)
PHASES = set(
    "standby inducer_start prepurge igniter_warmup ignition_trial blower_on_delay run_low run_high post_purge "
    "blower_off_delay interpurge lockout limit_cooldown".split()
)
SEQUENCE = ("inducer_start", "prepurge", "igniter_warmup", "ignition_trial", "blower_on_delay")
TILES = (
    "phases of an attempt follow each other without a gap",
    "attempts follow each other in order of time and call",
    "the log has the phases that were seen, and all of them",
    "words are those of the vocabulary",
    "the outcome fits the phases",
    "phases that run to their end last as the settings say",
    "phases at typical settings lie in the envelope of the trade",
    "a soft lockout ends after its time",
)


class Story:
    """What all schedules together brought."""

    def __init__(self) -> None:
        self.broken: defaultdict[str, list[str]] = defaultdict(list)
        self.outcomes: Counter[str] = Counter()
        self.phases: Counter[str] = Counter()
        self.counts: Counter[str] = Counter()

    def note(self, rule: str, seed: int, when: float, what: str = "") -> None:
        self.broken[rule].append(f"schedule {seed} at {when:.2f} s {what}")


@pytest.fixture(scope="module")
def story() -> Story:
    told = Story()
    for seed in range(SCHEDULES):
        try:
            play(seed, told)
        except Exception as error:
            error.add_note(f"in schedule {seed}")
            raise
    return told


def play(seed: int, told: Story) -> None:
    schedule = Schedule(seed)
    control, inputs = schedule.control, schedule.inputs
    watch = Watch(control, inputs, schedule.settings)
    seen: list[tuple[float, str]] = [(0.0, control.phase)]
    for _ in range(STEPS):
        dt = schedule.next_step()
        if schedule.befall(dt):
            control.reset()
            watch.restarted()
            seen.append((control.now, control.phase))
        control.step(dt, inputs)
        watch.look(dt)
        if control.phase != seen[-1][1]:
            seen.append((control.now, control.phase))
    control.finish()
    for rule, when in watch.broken:
        told.note(rule, seed, when)
    attempts = list(control.log.attempts)
    told.outcomes.update(attempt["outcome"] for attempt in attempts)
    told.phases.update(phase for _, phase in seen)
    told.counts.update(openings=watch.openings, chatters=watch.chatters, locks=watch.locks, attempts=len(attempts))
    if len(attempts) != control.attempts or control.log.phases_dropped:
        told.note(TILES[1], seed, control.now, "attempts are missing")
    check_tiles(attempts, seed, told)
    check_seen(attempts, seen, seed, told, control.now)
    for attempt in attempts:
        check_words(attempt, seed, told)
        check_lengths(attempt, schedule, seed, told)
    check_lockouts(control.log.events, schedule, seed, told)


def check_tiles(attempts: list[Attempt], seed: int, told: Story) -> None:
    for attempt in attempts:
        phases = attempt["phases"]
        bounds = [attempt["start"], *(t for span in phases for t in (span["start"], span["end"])), attempt["end"]]
        tiled = all(before == after for before, after in zip(bounds[::2], bounds[1::2], strict=True))
        if not tiled or any(before > after for before, after in pairwise(bounds)):
            told.note(TILES[0], seed, attempt["start"])
    for before, after in pairwise(attempts):
        if before["end"] > after["start"] or before["call"] > after["call"]:
            told.note(TILES[1], seed, after["start"])


def check_seen(attempts: list[Attempt], seen: list[tuple[float, str]], seed: int, told: Story, now: float) -> None:
    """Compare the log with the phases that the onlooker saw; a call that waits counts as standby there."""
    moments = [moment for moment, _ in seen]
    logged: defaultdict[str, float] = defaultdict(float)
    for attempt in attempts:
        for span in attempt["phases"]:
            logged[span["phase"]] += span["end"] - span["start"]
            middle = (span["start"] + span["end"]) / 2.0
            if span["end"] > span["start"] and seen[bisect_right(moments, middle) - 1][1] != span["phase"]:
                told.note(TILES[2], seed, middle, span["phase"])
    lasted: defaultdict[str, float] = defaultdict(float)
    for (start, phase), (end, _) in pairwise([*seen, (now, "")]):
        lasted[phase] += end - start
    for phase in PHASES - {"standby", "lockout", "limit_cooldown", "blower_off_delay"}:
        if abs(lasted[phase] - logged[phase]) > NEARLY:
            told.note(TILES[2], seed, now, f"{phase}: {lasted[phase]:.2f} s seen, {logged[phase]:.2f} s logged")


def check_words(attempt: Attempt, seed: int, told: Story) -> None:
    outcome, names = attempt["outcome"], [span["phase"] for span in attempt["phases"]]
    words = {outcome} <= OUTCOMES and set(names) <= PHASES and attempt["stage"] in ("low", "high")
    if not words or not attempt["start"] <= attempt["deciding_time"] <= attempt["end"] or attempt["call"] < 1:
        told.note(TILES[3], seed, attempt["start"], outcome)
    ran, tried, lit = set(RUNNING) & set(names), "ignition_trial" in names, "blower_on_delay" in names
    fits = {
        "heat": ran,
        "no_blower": ran,
        "no_start": not tried and names[0] == "inducer_start",
        "draft_not_proved": "prepurge" not in names and names[0] == "inducer_start",
        "draft_lost": "prepurge" in names,
        "no_ignition": tried and not lit,
        "flame_lost": lit,
        "gas_off_unexplained": tried,
        "call_ended": not ran,
        "switch_found_closed": names[0] == "standby",
        "limit_open": "limit_cooldown" in names,
        "rollout_open": names[-1] == "lockout",
    }.get(outcome, True)
    if not fits:
        told.note(TILES[4], seed, attempt["start"], f"{outcome}: {names}")


def check_lengths(attempt: Attempt, schedule: Schedule, seed: int, told: Story) -> None:
    settings, timing = schedule.settings, schedule.settings.timing
    ends = {"prepurge": "igniter_warmup", "igniter_warmup": "ignition_trial"}
    exact = {"prepurge": timing.prepurge, "igniter_warmup": timing.igniter_warmup}
    exact |= {"blower_on_delay": timing.blower_on_delay, "ignition_trial": timing.ignition_trial}
    longest = exact | {"inducer_start": settings.proving_limit, "post_purge": timing.post_purge}
    purge = max(settings.interpurge, settings.flame_clear) + LONGEST_STEP
    longest["interpurge"] = purge + settings.switch_release + settings.standby_check
    for span, after in pairwise([*attempt["phases"], None]):
        assert span is not None
        phase, length, then = span["phase"], span["end"] - span["start"], after["phase"] if after else ""
        finished = phase in ends and then == ends[phase]
        finished = finished or (phase == "blower_on_delay" and then in RUNNING)
        finished = finished or (phase == "ignition_trial" and attempt["outcome"] == "no_ignition")
        if finished and length < exact[phase] - NEARLY:
            told.note(TILES[5], seed, span["start"], f"{phase} {length:.2f} s")
        if length > longest.get(phase, 1e9) + LONGEST_STEP + NEARLY:
            told.note(TILES[5], seed, span["start"], f"{phase} {length:.2f} s")
        if schedule.typical and phase in ENVELOPE and phase != "lockout":
            low, high = ENVELOPE[phase]
            natural = finished and phase not in ("ignition_trial", "inducer_start")
            if length > high + LONGEST_STEP + NEARLY or (natural and length < low):
                told.note(TILES[6], seed, span["start"], f"{phase} {length:.2f} s")


def check_lockouts(events: Iterable[tuple[float, str]], schedule: Schedule, seed: int, told: Story) -> None:
    wanted = schedule.settings.soft_lockout_minutes * 60.0
    begun, disturbed = -1.0, False
    for when, text in events:
        if text == "soft lockout":
            begun, disturbed = when, False
        elif text == "flame seen with the gas valve shut":
            disturbed = True
        elif text == "soft lockout ended":
            told.counts["lockouts ended"] += 1
            late = when - begun > wanted + LONGEST_STEP + NEARLY and not disturbed
            if when - begun < wanted - NEARLY or late:
                told.note(TILES[7], seed, when, f"after {when - begun:.2f} of {wanted:.2f} s")


@pytest.mark.parametrize("rule", RULES + TILES)
def test_no_schedule_breaks(rule: str, story: Story) -> None:
    assert story.broken[rule] == []


def test_schedules_reach_everything(story: Story) -> None:
    assert set(story.outcomes) == OUTCOMES
    assert set(story.phases) == PHASES
    assert min(story.outcomes.values()) >= SCHEDULES / 200, story.outcomes
    assert story.counts["openings"] > 2 * SCHEDULES
    assert story.counts["chatters"] > SCHEDULES / 5
    assert story.counts["locks"] > SCHEDULES / 2
    assert story.counts["lockouts ended"] > SCHEDULES / 10
