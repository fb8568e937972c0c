"""Every measure of a recording."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.measures import air, cycles, draft, electric, gas_and_flame, house, spans
from analysis.measures.measured import Measured
from analysis.measures.shown import is_shown
from analysis.measures.sources import Bench, bench
from analysis.model import Baseline, Plate, Series, Timing
from analysis.sequence.attempts import Attempt
from analysis.steady import Span
from analysis.uncertainty import Accuracy
from analysis.units import INCH_OF_WATER

NATURAL = 7.5
"""Draft that may stand at rest by wind and a warm vent, 0.03 in. w.c.; common practice, no published source. [Pa]"""
STILL = 1.0
"""The same for ducts with the blower off, and for a manifold. [Pa]"""
WORKING = 60.0
"""A pressure that is no zero error but something at work, 0.24 in. w.c.; our choice. [Pa]"""
BLOWS = ("blower_on", "call_fan", "call_compressor", "amps_blower")
"""Where a blower that runs shows."""
RUN_DOWN = 20.0
"""How long a blower may run down; our choice. [s]"""
AT_REST = {point: NATURAL for point in (*draft.TAPS, "gas_manifold") if point != "speed_inducer"} | {
    "static_return": STILL,
    "static_supply": STILL,
}
"""What a pressure may be before an attempt, over the accuracy of its meter. [Pa]"""


def measures(  # noqa: PLR0917
    series: Sequence[Series],
    attempts: Sequence[Attempt],
    plate: Plate | None = None,
    baseline: Baseline | None = None,
    timing: Timing | None = None,
    accuracies: Mapping[str, Accuracy] | None = None,
) -> tuple[Measured, ...]:
    """What the trade computes, each on its span, as far as the channels that are there allow.

    series : readings in inside units. [-]
    attempts : what the recognizer found in them, in the order of time. [-]
    plate : set-points of the switches are used. [-]
    baseline : taps when known good, for their ratio. [-]
    timing : what each phase is compared with; None compares nothing. [-]
    accuracies : statements by key of the channel, before those that the channels carry. [-]
    returns : tuple of Measured, attempt by attempt, then what belongs to the recording; names in `names.NAMES`. [-]

    Valid: a meter that does not show nothing at rest is not put right here: what it says is SUSPECT, with what it
        showed. Zero it, or enter its zero, and analyse again.
    Method: each function of the modules beside this one; linear in the number of readings.
    Source: the modules; where none is named, common practice.
    """
    seen = bench(series, accuracies)
    seen = replace(seen, doubts=_not_zeroed(seen, attempts))
    found = _all(seen, attempts, plate or Plate(), baseline, timing)
    return tuple(one for one in found if is_shown(one, seen))


def _all(
    seen: Bench, attempts: Sequence[Attempt], plate: Plate, baseline: Baseline | None, timing: Timing | None
) -> Iterator[Measured]:
    for place, attempt in enumerate(attempts):
        until = attempts[place + 1].start if place + 1 < len(attempts) else seen.end
        yield from air.rises(seen, attempt)
        yield from air.temperatures(seen, attempt)
        yield from air.statics(seen, attempt)
        yield from draft.taps(seen, attempt, baseline)
        yield from draft.margins(seen, attempt, plate)
        yield from draft.after_stop(seen, attempt, until)
        yield from gas_and_flame.pressures(seen, attempt)
        yield from gas_and_flame.flame(seen, attempt)
        yield from gas_and_flame.flue_gas(seen, attempt)
        yield from electric.voltages(seen, attempt)
        yield from electric.currents(seen, attempt)
        yield from cycles.phases(attempt, timing)
    yield from cycles.cycles(attempts)
    yield from cycles.outcomes(attempts)
    yield from cycles.change_overs(seen, attempts)
    yield from house.means(seen)
    yield from house.room_air(seen)
    yield from house.dew_point(seen)


def _not_zeroed(seen: Bench, attempts: Sequence[Attempt]) -> dict[str, str]:
    """Why a pressure is doubtful that is not nothing before an attempt, by key."""
    found: dict[str, str] = {}
    for before, attempt in zip([None, *attempts], attempts, strict=False):
        span = spans.rest(attempt, before)
        if span is None:
            continue
        still = _still(seen, span)
        for point, allowed in AT_REST.items():
            if point.startswith("static") and not still:
                continue
            for source in seen.at(point):
                inside = source.value[source.within(span)]
                if inside.size < 3 or source.channel.key in found:
                    continue
                shown = float(np.median(inside))
                if allowed + 3 * math.hypot(*(share for _, share in source.budget(0.0))) < abs(shown) < WORKING:
                    found[source.channel.key] = f"shows {shown / INCH_OF_WATER:+.3f} in. w.c. at rest: not zeroed"
    return found


def _still(seen: Bench, span: Span) -> bool:
    """Whether it is known that no blower ran during a span and shortly before, for the heat pump or the fan either."""
    known = False
    for point in BLOWS:
        for source in seen.at(point):
            inside = source.within(Span(span.start - RUN_DOWN, span.end))
            held = source.value[max(inside.start - 1, 0) : inside.stop]
            known |= held.size > 0 and point == "blower_on"
            if np.any(held > 0.5):
                return False
    return known
