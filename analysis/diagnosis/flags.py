"""What a recording shows that is no number: how attempts ended, contacts that opened, calls that nothing answered."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from analysis.measures.sources import Bench, Source
from analysis.sequence.attempts import Attempt

WORST = (
    "fine draft_not_proved draft_lost no_ignition flame_lost limit_open gas_off_unexplained no_start"
    " switch_found_closed rollout_open no_blower none"
).split()
"""How the first attempt ended that went wrong; `none`: there was no attempt."""
FLAGS: Mapping[str, tuple[str, ...]] = {
    "worst": tuple(WORST),
    "heat": ("never", "sometimes", "always"),
    "failures": ("few", "many"),
    "switch_at_rest": ("open", "closed"),
    "limit": ("closed", "opened"),
    "rollout": ("closed", "opened"),
    "float": ("closed", "opened"),
    "door": ("closed", "opened"),
    "call_heat": ("never", "steady", "in pieces"),
    "answered": ("yes", "no"),
    "second_stage": ("called", "never"),
    "compressor": ("never", "ran"),
    "power": ("there", "gone at times", "gone"),
    "blower_amps": ("there", "missing"),
    "inducer_amps": ("there", "missing"),
    "igniter_amps": ("there", "missing"),
    "manifold": ("there", "missing"),
    "flame_seen": ("yes", "no"),
    "trip": ("at once", "later"),
}
"""What each flag may say."""

RAN = ("heat", "call_ended", "cut_off", "unknown")
"""Outcomes that say nothing is wrong where the burner ran."""
RUN = ("run_low", "run_high")
UNANSWERED = 60.0
"""A call without an inducer for longer is not answered. [s]"""
PIECES = 3
"""Calls that end within `PIECE` each, from which on the call comes in pieces. [1]"""
PIECE = 60.0
"""[s]"""
WARMED = 60.0
"""A run that goes wrong before it lasted this long goes wrong at once. [s]"""
STAGES_UP = 480.0
"""A long call in which a thermostat asks for the second stage; our choice. [s]"""
NO_AMPS = {"amps_blower": 0.15, "amps_inducer": 0.08, "amps_igniter": 0.15}
"""Less than any that runs takes; common practice, no published source. [A]"""
BEFORE_GAS = 5.0
"""An igniter has glowed for so long at least when the gas comes; common practice, no published source. [s]"""
NO_GAS = 40.0
"""Manifold pressure that lights nothing, 0.16 in. w.c.; common practice, no published source. [Pa]"""
NO_POWER = 12.0
"""Control voltage at which nothing works. [V]"""


def flags(bench: Bench, attempts: Sequence[Attempt]) -> dict[str, str]:
    """What each flag says; those that nothing tells are left out."""
    found = dict(_outcomes(attempts, bench))
    found |= dict(_contacts(bench, attempts))
    found |= dict(_loads(bench, attempts))
    return found


def went_wrong(attempt: Attempt) -> bool:
    """Whether an attempt ended as none should."""
    return attempt.outcome in WORST and attempt.outcome not in RAN


def _ran(attempt: Attempt) -> float:
    return sum(span.end - span.start for span in attempt.phases if span.phase in RUN)


def _outcomes(attempts: Sequence[Attempt], bench: Bench) -> Iterator[tuple[str, str]]:
    told = [one for one in attempts if one.outcome in WORST or (one.outcome in RAN and _ran(one) > 0)]
    if not told:
        if not attempts and bench.at("call_heat"):
            yield "worst", "none"
        return
    bad = [one for one in told if one.outcome not in RAN]
    yield "worst", bad[0].outcome if bad else "fine"
    yield "heat", "always" if not bad else "never" if len(bad) == len(told) else "sometimes"
    yield "failures", "many" if len(bad) > 2 else "few"
    if bad:
        longest = max(_ran(one) for one in bad)
        yield "trip", "later" if longest > WARMED else "at once"


def on(source: Source, start: float, end: float) -> float:
    """How long a contact was on between two times; before its first reading it is not known and not counted. [s]"""
    time, value = source.time, source.value > 0.5
    first = max(start, float(time[0]))
    if end <= first:
        return 0.0
    edges = np.concatenate(([first], time[(time > first) & (time < end)], [end]))
    held = value[np.clip(time.searchsorted(edges[:-1], "right") - 1, 0, value.size - 1)]
    return float(np.sum(np.diff(edges)[held]))


def at(source: Source, moment: float) -> float | None:
    """What a contact said last at a moment; None before its first reading."""
    place = int(source.time.searchsorted(moment, "right")) - 1
    return float(source.value[place]) if place >= 0 else None


def spells(source: Source, end: float) -> list[tuple[float, float]]:
    """From when to when a contact was on."""
    value = source.value > 0.5
    changes = np.flatnonzero(np.diff(value.astype(np.int8))) + 1
    edges = np.concatenate(([0], changes))
    until = np.concatenate((source.time[changes], [end]))
    return [(float(source.time[edge]), float(stop)) for edge, stop in zip(edges, until, strict=True) if value[edge]]


def _contacts(bench: Bench, attempts: Sequence[Attempt]) -> Iterator[tuple[str, str]]:
    for source in bench.at("switch_closed")[:1]:
        held = [at(source, one.start - 1.0) for one in attempts if one.start - 1.0 > source.time[0]]
        known = [value for value in held if value is not None]
        if known:
            yield "switch_at_rest", "closed" if max(known) > 0.5 else "open"
    for flag, point in (
        ("limit", "limit_closed"),
        ("rollout", "rollout_closed"),
        ("float", "float_closed"),
        ("door", "door_closed"),
    ):
        for source in bench.at(point)[:1]:
            yield flag, "opened" if float(source.value.min()) < 0.5 else "closed"
    for source in bench.at("call_heat")[:1]:
        calls = spells(source, bench.end)
        short = [one for one in calls if one[1] - one[0] < PIECE and one[1] < bench.end]
        yield "call_heat", "never" if not calls else "in pieces" if len(short) >= PIECES else "steady"
        if calls:
            starts = [one.start for one in attempts]
            waited = [
                begin
                for begin, end in calls
                if end - begin > UNANSWERED
                and not any(begin - 120.0 < start < begin + UNANSWERED for start in starts)
                and not any(one.start < begin < one.end for one in attempts)
            ]
            yield "answered", "no" if waited else "yes"
        for second in bench.at("call_heat_2")[:1]:
            if any(end - begin > STAGES_UP for begin, end in calls):
                yield "second_stage", "called" if float(second.value.max()) > 0.5 else "never"
    for source in bench.at("call_compressor")[:1]:
        yield "compressor", "ran" if float(source.value.max()) > 0.5 else "never"


def _loads(bench: Bench, attempts: Sequence[Attempt]) -> Iterator[tuple[str, str]]:
    for source in bench.at("volts_control")[:1]:
        gone = float(np.mean(source.value < NO_POWER))
        yield "power", "gone" if gone > 0.95 else "gone at times" if gone > 0.002 else "there"
    wanted = {
        "blower_amps": ("amps_blower", RUN, 15.0),
        "inducer_amps": ("amps_inducer", ("inducer_start", "prepurge", "igniter_warmup", "ignition_trial", *RUN), 3.0),
        "igniter_amps": ("amps_igniter", ("ignition_trial",), 0.0),
        "manifold": ("gas_manifold", ("ignition_trial", "blower_on_delay", *RUN), 1.5),
        "flame_seen": ("flame_current", ("ignition_trial", "blower_on_delay", *RUN), 1.5),
    }
    least = {**NO_AMPS, "gas_manifold": NO_GAS, "flame_current": 2e-7}
    for flag, (point, phases, after) in wanted.items():
        there, missing = FLAGS[flag]
        for source in bench.at(point)[:1]:
            tops = []
            for one in attempts:
                for span in one.phases:
                    start, end = span.start + after, span.end
                    if point == "amps_igniter":  # one that is open shows no warm-up: what comes before the gas counts
                        start, end = span.start - BEFORE_GAS, span.start
                    if span.phase in phases and end - start > 0.5:
                        inside = slice(*source.time.searchsorted([start, end]))
                        if source.value[inside].size:
                            tops.append(float(source.value[inside].max()))
            if tops:
                yield flag, missing if min(tops) < least[point] else there
