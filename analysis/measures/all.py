"""Every measure of a recording."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.measures import air, cycles, draft, electric, gas_and_flame, house, spans
from analysis.measures.measured import Measured
from analysis.measures.sources import Bench, bench
from analysis.model import Baseline, Plate, Series, Timing
from analysis.sequence.attempts import Attempt
from analysis.uncertainty import Accuracy

NATURAL = 7.5
"""Draft that may stand at rest by wind and a warm vent, 0.03 in. w.c.; common practice, no published source. [Pa]"""
STILL = 1.0
"""The same for ducts with the blower off, and for a manifold. [Pa]"""
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
    return tuple(_all(seen, attempts, plate or Plate(), baseline, timing))


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
        blows = any(source.value[source.within(span)].any() for source in seen.at("blower_on"))
        for point, allowed in AT_REST.items():
            if point.startswith("static") and (blows or not seen.at("blower_on")):
                continue
            for source in seen.at(point):
                inside = source.value[source.within(span)]
                if inside.size < 3 or source.channel.key in found:
                    continue
                shown = float(np.median(inside))
                if abs(shown) > allowed + 3 * math.hypot(*(share for _, share in source.budget(0.0))):
                    found[source.channel.key] = f"shows {shown:+.1f} Pa at rest: not zeroed"
    return found
