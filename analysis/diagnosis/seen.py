"""The features of a recording: from its measures, and from the readings where no measure has them."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.features import CHANGING, FEATURES, NUMBER, Feature
from analysis.diagnosis.flags import flags, on, spells, went_wrong
from analysis.diagnosis.known import Known
from analysis.measures.levels import best
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench, bench
from analysis.measures.spans import SPIN_UP
from analysis.model import Series
from analysis.sequence.attempts import Attempt
from analysis.steady import Span

Array = NDArray[np.float64]
Found = tuple[str, float, float, float, float]
"""Feature, value, standard uncertainty [inside unit], and the span that it was read from [s]."""

TAPS = "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high".split()
WHERE_UNCERTAIN = 0.02
"""Standard uncertainty of a measure that does not say one, as a share of its value. [1]"""
SHORTEST = 60.0
"""Recording, or run of the heat pump, below which nothing is said of the house. [s]"""
PUMP_SETTLES = 240.0
"""Until the rise with the heat pump alone stands. [s]"""
STILL = 30.0
"""After an attempt, until pressures are at rest. [s]"""
RUN = ("run_low", "run_high")


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """One recording as a diagnosis looks at it."""

    values: Array
    """(features,) scaled, NaN where nothing tells. [1]"""
    u: Array
    """(features,) standard uncertainty. [1]"""
    spans: Mapping[str, tuple[float, float]]
    """From when to when each feature was read. [s]"""
    flags: Mapping[str, str]
    """What each flag of `flags.FLAGS` says; those that nothing tells are left out."""
    raw: Mapping[str, float]
    """Each feature as it was read. [inside unit]"""


def seen(series: Sequence[Series], attempts: Sequence[Attempt], measures: Sequence[Measured], known: Known) -> Seen:
    """What a recording shows.

    series : readings in inside units. [-]
    attempts : as recognized; those before a repair may be left out, then `measures` and `series` too. [-]
    measures : of those attempts. [-]
    known : the papers. [-]
    """
    read = bench(series)
    by_name: dict[str, list[Measured]] = {}
    for one in measures:
        by_name.setdefault(one.name, []).append(one)
    values, u = np.full(len(FEATURES), np.nan), np.full(len(FEATURES), np.nan)
    spans: dict[str, tuple[float, float]] = {}
    raw: dict[str, float] = {}
    found: list[Found] = [(name, value, 0.0, math.nan, math.nan) for name, value in known.values()]
    wrong = frozenset(one.number for one in attempts if went_wrong(one))
    found += (told for feature in FEATURES if (told := _measured(feature, by_name, wrong)) is not None)
    found += _read(read, sorted(attempts, key=lambda one: (went_wrong(one), one.start), reverse=True), known)
    for name, value, unsure, start, end in found:
        place = NUMBER[name]
        if math.isfinite(value) and math.isnan(values[place]):
            feature = FEATURES[place]
            values[place], u[place] = feature.scaled(value), feature.scaled_u(value, unsure)
            raw[name] = value
            if math.isfinite(start):
                spans[name] = (start, end)
    return Seen(values, u, spans, flags(read, attempts), raw)


def _measured(feature: Feature, by_name: Mapping[str, Sequence[Measured]], wrong: frozenset[int]) -> Found | None:
    for name in feature.measures:
        held = [one for one in by_name.get(name, ()) if math.isfinite(one.quantity.value)]
        if held:
            if feature.pick == "last":
                one = max(held, key=lambda one: (one.attempt in wrong, one.start))
            else:
                chosen = min if feature.pick == "least" else max
                one = chosen(held, key=lambda one: one.quantity.value)
            unsure = one.quantity.u
            if not math.isfinite(unsure):
                unsure = WHERE_UNCERTAIN * abs(one.quantity.value)
            return feature.name, one.quantity.value, unsure, one.start, one.end
    return None


def _read(read: Bench, attempts: Sequence[Attempt], known: Known) -> Iterator[Found]:
    """Attempts come with those first that went wrong, the last of them first; the first that shows a feature has it."""
    yield from _cold(read, attempts)
    yield from _changes(read, attempts)
    yield from _blower_steps(read, attempts)
    yield from _trials(read, attempts)
    yield from _switch(read, attempts)
    yield from _loads(read, attempts)
    yield from _house(read, attempts, known)


def _level(read: Bench, name: str, point: str, span: Span) -> Iterator[Found]:
    held = best(read, point, span, whole=True) if span.end - span.start >= 0.5 else None
    if held is not None and math.isfinite(held[0].value):
        unsure = held[0].u if math.isfinite(held[0].u) else WHERE_UNCERTAIN * abs(held[0].value)
        yield name, held[0].value, unsure, span.start, span.end


def _cold(read: Bench, attempts: Sequence[Attempt]) -> Iterator[Found]:
    """Inducer up to speed and no flame: in prepurge, or at the end of a start that did not prove."""
    for attempt in attempts:
        for span in attempt.spans("prepurge", "igniter_warmup", "inducer_start"):
            begin, end = span.start + SPIN_UP, span.end - 0.5
            if span.phase == "inducer_start":
                begin = max(begin, end - 10.0)
            if end - begin >= 1.0:
                for point in (*TAPS, "speed_inducer", "amps_inducer"):
                    yield from _level(read, f"{point}.cold", point, Span(begin, end))
                break


def _changes(read: Bench, attempts: Sequence[Attempt]) -> Iterator[Found]:
    """Level before the flame in attempts that went wrong over that in others of the same unit, as a logarithm."""
    levels: dict[tuple[str, bool], list[float]] = {}
    for attempt in attempts:
        for name, value, *_ in _cold(read, (attempt,)):
            levels.setdefault((name, went_wrong(attempt)), []).append(value)
    for point in CHANGING:
        wrong, fine = (levels.get((f"{point}.cold", which), []) for which in (True, False))
        if wrong and fine:
            small = 60.0 if point == "speed_inducer" else 5.0
            ratio = (abs(float(np.median(wrong))) + small) / (abs(float(np.median(fine))) + small)
            yield f"{point}.change", math.log(ratio), 0.02, attempts[-1].start, attempts[0].end


def _blower_steps(read: Bench, attempts: Sequence[Attempt]) -> Iterator[Found]:
    """What taps and flame do when the blower starts, ten seconds after against ten before; how restless they are."""
    points = "draft_burner_box draft_transition draft_collector draft_switch flame_current".split()
    for attempt in attempts:
        before = attempt.spans("blower_on_delay")
        after = attempt.spans(*RUN)
        if not before or not after:
            continue
        start = before[-1].end
        for point in points:
            for source in read.at(point)[:1]:
                early = source.value[source.within(Span(max(before[-1].start, start - 10.0), start - 1.0))]
                late = source.value[source.within(Span(start + 4.0, min(start + 14.0, after[0].end)))]
                if early.size >= 3 and late.size >= 3:
                    noise = math.hypot(np.std(early) / math.sqrt(early.size), np.std(late) / math.sqrt(late.size))
                    noise = math.hypot(noise, source.step / math.sqrt(12 * early.size))
                    step = abs(float(np.median(late))) - abs(float(np.median(early)))
                    yield f"{point}.blower_step", step, noise, start - 10.0, start + 14.0
        longest = max(after, key=lambda span: span.end - span.start)
        for point in points:
            for source in read.at(point)[:1]:
                inside = source.within(Span(longest.start + 5.0, longest.end - 1.0))
                value = source.value[inside]
                if value.size >= 30:
                    rough = 1.4826 * float(np.median(np.abs(np.diff(value, 2)))) / math.sqrt(6)
                    width = float(np.std(value - _smooth(value)))
                    unsure = 0.1 * width + rough + source.step / math.sqrt(12)
                    yield f"{point}.restless", width, unsure, longest.start, longest.end


def _smooth(value: Array) -> Array:
    size = min(51, value.size // 2 * 2 - 1)
    padded = np.pad(value, size // 2, mode="edge")
    total = np.cumsum(np.insert(padded, 0, 0.0))
    return np.asarray((total[size:] - total[:-size]) / size)


def _trials(read: Bench, attempts: Sequence[Attempt]) -> Iterator[Found]:
    """Gas and flame in the ignition trial, the weakest of all; how long the shortest flame that went out lasted."""
    for point in ("gas_manifold", "flame_current"):
        held = [
            one
            for attempt in attempts
            for span in attempt.spans("ignition_trial")
            for one in _level(read, f"{point}.at_trial", point, Span(max(span.start + 0.3, span.end - 2.0), span.end))
        ]
        if held:
            yield min(held, key=lambda one: one[1])
    burned = [
        (attempt.deciding_time - attempt.spans("blower_on_delay", *RUN)[0].start, attempt)
        for attempt in attempts
        if attempt.outcome in ("flame_lost", "draft_lost", "limit_open", "gas_off_unexplained", "rollout_open")
        and attempt.spans("blower_on_delay", *RUN)
    ]
    if burned:
        lasted, attempt = min(burned, key=lambda one: one[0])
        yield "flame.shortest", max(lasted, 0.0), 1.0, attempt.start, attempt.deciding_time


def _switch(read: Bench, attempts: Sequence[Attempt]) -> Iterator[Found]:
    """What the switch sees at rest, how that differs from start to start, and where its contact closes."""
    for source in read.at("draft_switch")[:1]:
        for attempt in attempts:
            span = Span(attempt.start - 10.0, attempt.start - 1.0)
            if not any(one.start < attempt.start < one.end + STILL for one in attempts):
                yield from _level(read, "draft_switch.at_rest", "draft_switch", span)
        cold = [
            one[1]
            for attempt in attempts
            for span in attempt.spans("prepurge", "inducer_start")[:2]
            for one in _level(read, "", "draft_switch", Span(max(span.start + SPIN_UP, span.end - 5.0), span.end - 0.5))
        ]
        if len(cold) > 1:
            yield "draft_switch.spread", max(cold) - min(cold), 1.0, read.start, read.end
        for contact in read.at("switch_closed")[:1]:
            closing = [
                float(source.value[place])
                for begin, _ in spells(contact, read.end)
                if begin > float(contact.time[0])
                and (place := int(source.time.searchsorted(begin, "right")) - 1) >= 0
                and begin - source.time[place] < 1.0
            ]
            if closing:
                middle = float(np.median(closing))
                yield "switch.closes_at", middle, 10.0 + 0.1 * abs(middle), read.start, read.end


def _loads(read: Bench, attempts: Sequence[Attempt]) -> Iterator[Found]:
    """What blower and ducts do while the blower should run, whatever became of the burner; voltages on the whole."""
    for point in ("volts_control", "volts_line_neutral_ground"):
        for source in read.at(point)[:1]:
            yield f"{point}.middle", float(np.median(source.value)), 0.3, read.start, read.end
    for point in ("static_return", "static_supply", "amps_blower"):
        for attempt in attempts:
            for span in attempt.spans(*RUN):
                yield from _level(read, f"{point}.running", point, Span(span.start + 10.0, span.end - 1.0))
    if attempts:
        minutes = max((read.end - min(one.start for one in attempts)) / 60.0, 1.0)
        yield "attempts.rate", 10.0 * len(attempts) / minutes, 0.3, read.start, read.end
    opened = [
        moment
        for source in read.at("limit_closed")[:1]
        for begin, moment in spells(source, read.end)
        if moment < read.end - 1.0
    ]
    for moment in opened[:1]:
        yield from _level(read, "limit.opens_at", "temp_supply", Span(moment - 2.0, moment + 1.0))


def _house(read: Bench, attempts: Sequence[Attempt], known: Known) -> Iterator[Found]:
    """Humidifier, heat pump and outdoor lockouts."""
    if read.end - read.start > SHORTEST:
        yield from _humidifier(read, known)
        yield from _heat_pump(read, attempts, known)
        yield from _rooms(read, attempts, known)


def _humidifier(read: Bench, known: Known) -> Iterator[Found]:
    wet = [one for point in ("humidifier_valve", "call_humidifier") for one in read.at(point)[:1]]
    rooms = read.at("humidity_room") or read.at("humidity_return")
    if wet:
        duty = on(wet[0], read.start, read.end) / (read.end - read.start)
        yield "humidifier.duty", duty, 0.01, read.start, read.end
    if rooms and known.humidifier_setting is not None:
        over = float(np.median(rooms[0].value)) - known.humidifier_setting
        yield "humidifier.over", over, 0.015, read.start, read.end


def _heat_pump(read: Bench, attempts: Sequence[Attempt], known: Known) -> Iterator[Found]:
    for compressor in read.at("call_compressor")[:1]:
        for outdoor in read.at("temp_outdoor")[:1]:
            if known.compressor_lockout is not None and on(compressor, read.start, read.end) > SHORTEST:
                below = known.compressor_lockout - float(np.median(outdoor.value))
                yield "compressor.below_lockout", below, 0.5, read.start, read.end
        for begin, end in spells(compressor, read.end):
            burning = any(one.start < end and one.end > begin + PUMP_SETTLES for one in attempts)
            if end - begin > PUMP_SETTLES + SHORTEST and not burning:
                span = Span(begin + PUMP_SETTLES, end)
                warm, cool = (best(read, point, span, whole=True) for point in ("temp_supply", "temp_return"))
                if warm and cool:
                    unsure = math.hypot(warm[0].u, cool[0].u)
                    yield "temp_rise.pump", warm[0].value - cool[0].value, unsure, span.start, span.end
                    break


def _rooms(read: Bench, attempts: Sequence[Attempt], known: Known) -> Iterator[Found]:
    length = read.end - read.start
    for outdoor in read.at("temp_outdoor")[:1]:
        if known.auxiliary_lockout is not None and any(one.spans(*RUN) for one in attempts):
            above = float(np.median(outdoor.value)) - known.auxiliary_lockout
            yield "furnace.above_lockout", above, 0.5, read.start, read.end
    heat = [one for point in ("call_heat", "call_compressor") for one in read.at(point)[:1]]
    if len(heat) == 2:
        asked = min(sum(on(one, read.start, read.end) for one in heat) / length, 1.0)
        yield "calls.duty", asked, 0.01, read.start, read.end
    for room in read.at("temp_room")[:1]:
        early, late = room.value[: room.value.size // 5], room.value[-(room.value.size // 5) :]
        if early.size:
            fall = float(np.mean(early) - np.mean(late)) / (0.8 * length) * 3600.0
            yield "temp_room.fall", fall, 0.2 + 60.0 / length, read.start, read.end
