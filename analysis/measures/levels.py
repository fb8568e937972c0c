"""Numbers of a span of readings: its level, its extreme, how fast it went, and differences of these."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.measures.sources import Bench, Source
from analysis.model import Channel, Series
from analysis.points import measure_of
from analysis.quantity import Derivation, Error, Quality, Quantity
from analysis.steady import Span, plateau

Array = NDArray[np.float64]

MOST = 256
"""Means of neighbouring readings that a span is reduced to before its scatter is looked at. [1]"""
SAMPLED = 1000
"""Changes from reading to reading that are enough to know their usual size. [1]"""
SPIKE = 8.0
"""Distance from its neighbours, in standard deviations of a reading, beyond which a reading is a spike. [1]"""
FEWEST_BESIDE = 8
"""Readings below which none is called a spike. [1]"""
LAG_SURE = 0.3
"""Standard uncertainty of a time constant, as a share of it; common practice, no published source. [1]"""
FEWEST = 3
"""Readings that show scatter. [1]"""


def level(source: Source, span: Span, doubt: str = "", *, whole: bool = False) -> Quantity | None:
    """Mean over a span of what stood before a sensor, with noise and accuracy in the budget; None without a reading.

    The thermometer's lag is put right: the mean of y + T dy/dt is the mean of y and T times its change over the span.
    The display's steps count as far as the scatter does not carry the mean across them.

    whole : the span is all that is asked about, so that only the meter's own scatter is noise, and not what went on.
    """
    inside = source.within(span)
    time, value = without_spikes(source.time[inside], source.value[inside], source.step)
    if not time.size:
        return None
    unit = measure_of(source.channel.point).inside
    behind = _behind(time, value, source.response_time)
    few = time.size < FEWEST
    reasons = [doubt] if doubt else []
    noise, freedom = 0.0, math.inf
    if few:
        mean = float(np.mean(value))
        reasons.append("only 1 reading" if time.size == 1 else f"only {time.size} readings")
    elif whole:
        mean = float(value[0] + np.mean(value - value[0]))
        noise = scatter(value) / math.sqrt(value.size)
    else:
        seen = plateau(thinned(source.channel, time, value), Span(float(time[0]), float(time[-1])))
        mean = float(value[0] + np.mean(value - value[0]))
        for error, share in seen.budget:
            if error.statistical:
                noise, freedom = share, error.freedom
    if not few:
        hole = _longest_hole(time, span)
        if hole > (span.end - span.start) / 2 and hole > 3 * source.response_time:
            reasons.append(f"no readings for {hole:.0f} s of {span.end - span.start:.0f} s")
    name = f"{source.channel.key}, {span.start:.3f} to {span.end:.3f}"
    own = [
        (Error(f"{name}: noise", freedom=freedom, statistical=True), noise),
        (Error(f"{name}: display", "rectangular"), display(value, source.step, alone=few)),
        (Error(f"{source.sensor}: response time"), LAG_SURE * behind),
    ]
    inputs = (("channel", source.channel.key), ("readings", str(time.size)))
    how = Derivation(
        "level",
        f"Mean over the span of {source.channel.key}",
        inputs,
        "a sensor of one time constant; spikes of one or two readings left out.",
        "mean, plus the time constant times the change over the span; noise widened for correlation.",
        "as `analysis.steady.plateau`; x = y + T dy/dt; accuracy after JCGM 100:2008, 4.3.7.",
        (source.assumed,) if source.assumed else (),
    )
    return summed(mean + behind, unit, [*source.budget(mean + behind), *own], reasons, how)


def best(bench: Bench, point: str, span: Span, *, whole: bool = False) -> tuple[Quantity, Source] | None:
    """Level of a point over a span by the meter that knows it best; None where nothing was read."""
    asked = (point, span, whole)
    if asked not in bench.found:
        bench.found[asked] = _best(bench, point, span, whole=whole)
    return bench.found[asked]


def _best(bench: Bench, point: str, span: Span, *, whole: bool) -> tuple[Quantity, Source] | None:
    levels = [
        (quantity, source)
        for source in bench.at(point)
        if (quantity := level(source, span, bench.doubts.get(source.channel.key, ""), whole=whole)) is not None
    ]
    return min(levels, key=lambda one: (one[0].quality, one[0].u), default=None)


def difference(first: Quantity, second: Quantity, unit: str, how: Derivation) -> Quantity:
    """First less second: an error that both contain counts as far as it does not cancel."""
    budget: dict[Error, float] = dict(first.budget)
    for error, share in second.budget:
        budget[error] = budget.get(error, 0.0) - share
    reasons = [one.reason for one in (first, second) if one.reason]
    return summed(first.value - second.value, unit, list(budget.items()), reasons, how)


def doubted(quantity: Quantity, reason: str) -> Quantity:
    """The same, doubtful for one more reason."""
    reasons = "; ".join(part for part in (quantity.reason, reason) if part)
    return replace(quantity, quality=max(quantity.quality, Quality.SUSPECT), reason=reasons)


def summed(
    value: float, unit: str, budget: Sequence[tuple[Error, float]], reasons: Sequence[str], how: Derivation | None
) -> Quantity:
    """A quantity from its budget; doubtful where there is a reason."""
    kept = tuple((error, share) for error, share in budget if share)
    shares = [share for _, share in kept]
    u = math.hypot(*shares)
    uncertain = sum((share / u) ** 4 / error.freedom for error, share in kept)  # Welch and Satterthwaite
    freedom = 1 / uncertain if uncertain > 0 else math.inf
    quality = Quality.SUSPECT if reasons else Quality.GOOD
    reason = "; ".join(dict.fromkeys(reasons))
    return Quantity(value, unit, u, freedom, kept, None, quality, reason, how)


def scatter(value: Array) -> float:
    """Standard deviation of a reading from one to the next."""
    if value.size < FEWEST:
        return 0.0
    moves = np.abs(np.diff(value))
    moves = moves[:: 1 + moves.size // SAMPLED]
    usual = 1.4826 * middle(moves) / math.sqrt(2)
    return usual or 0.8862 * float(np.mean(moves, where=moves <= np.quantile(moves, 0.98)))


def middle(values: Array) -> float:
    """Median, of an even number the upper of the two in the middle: `numpy.median` costs five times as much."""
    half = values.size // 2
    return float(np.partition(values, half)[half])


def without_spikes(time: Array, value: Array, step: float) -> tuple[Array, Array]:
    """Without one or two readings that stand off from those two before and two after them; a step stays."""
    if value.size < FEWEST_BESIDE:
        return time, value
    early, late = value[:-4], value[4:]
    beside = np.maximum(np.minimum(early, late), np.minimum(np.maximum(early, late), value[2:-2]))
    away = np.abs(value[2:-2] - beside)
    moves = np.abs(value[2:] - value[:-2])
    usual = 1.4826 * middle(moves[:: 1 + moves.size // SAMPLED]) / math.sqrt(2)
    if usual == 0.0:
        usual = float(np.min(moves, where=moves > 0, initial=math.inf))
    far = np.flatnonzero(away > SPIKE * max(usual, step)) + 2
    return (np.delete(time, far), np.delete(value, far)) if far.size else (time, value)


def thinned(channel: Channel, time: Array, value: Array) -> Series:
    """Means of as many neighbours each as leaves at most `MOST`."""
    size = -(-time.size // MOST)
    if size == 1:
        return Series(channel, time, value)
    whole = time.size // size * size
    return Series(channel, time[:whole].reshape(-1, size).mean(axis=1), value[:whole].reshape(-1, size).mean(axis=1))


def _behind(time: Array, value: Array, response_time: float) -> float:
    """What the lag takes off the mean over a span. [inside unit]"""
    length = float(time[-1] - time[0])
    if response_time <= 0 or length <= 0:
        return 0.0
    edge = min(max(response_time / 2, length / 20), length / 4)
    first, last = int(time.searchsorted(time[0] + edge, "right")), int(time.searchsorted(time[-1] - edge, "left"))
    change = float(np.mean(value[last:]) - np.mean(value[:first]))
    apart = float(np.mean(time[last:]) - np.mean(time[:first]))
    return response_time * change / apart if apart > 0 else 0.0


def display(value: Array, step: float, *, alone: bool) -> float:
    """What the display's steps leave of a mean: scatter across steps averages them out.

    Widrow and Kollar, Quantization Noise, 2008, chapter 6: the mean of a quantized Gaussian is off by at most
    step / pi * exp(-2 pi^2 s^2 / step^2), s its standard deviation; here as a standard uncertainty.
    """
    if step <= 0:
        return 0.0
    whole = step / math.sqrt(12)
    if alone:
        return whole
    spread = max(float(np.var(value)) - step**2 / 12, 0.0)
    return min(whole, step / (math.pi * math.sqrt(2)) * math.exp(-2 * math.pi**2 * spread / step**2))


def _longest_hole(time: Array, span: Span) -> float:
    return float(np.max(np.diff(np.concatenate(([span.start], time, [span.end])))))
