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
MEDIAN_OF_THREE = 0.67
"""Standard deviation of the median of three normal values, in theirs: 0.6698 (order statistics, computed). [1]"""
CANDIDATES = 10
"""Readings below the smallest median that are looked at one by one. [1]"""
DIP = 0.2
"""How long a dip at light-off lasts; common practice, no published source. [s]"""
BESIDE = 3.0
"""How far to both sides an extreme is compared. [s]"""
SLOW = 2.0
"""Response time from which a meter is not asked about dips. [s]"""
FEWEST = 3
"""Readings that show scatter. [1]"""


def level(source: Source, span: Span, doubt: str = "", *, whole: bool = False) -> Quantity | None:
    """Mean over a span of what stood before a sensor, with noise and accuracy in the budget; None without a reading.

    The thermometer's lag is put right: the mean of y + T dy/dt is the mean of y and T times its change over the span.
    The display's steps count as far as the scatter does not carry the mean across them.

    whole : the span is all that is asked about, so that only the meter's own scatter is noise, and not what went on.
    """
    inside = source.within(span)
    time, value = _without_spikes(source.time[inside], source.value[inside], source.step)
    if not time.size:
        return None
    unit = measure_of(source.channel.point).inside
    behind = _behind(time, value, source.response_time)
    few = time.size < FEWEST
    reasons = [doubt] if doubt else []
    noise, freedom = 0.0, math.inf
    if few:
        mean = float(np.mean(value))
        reasons.append(f"only {time.size} readings")
    elif whole:
        mean = float(value[0] + np.mean(value - value[0]))
        noise = _scatter(value) / math.sqrt(value.size)
    else:
        seen = plateau(_thinned(source.channel, time, value), Span(float(time[0]), float(time[-1])))
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
        (Error(f"{name}: display", "rectangular"), _display(value, source.step, alone=few)),
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


def extreme(
    source: Source, span: Span, *, smallest: bool, doubt: str = "", plus: float = 0.0
) -> tuple[Quantity, float] | None:
    """Smallest or largest reading of a span and its moment; one reading that stands alone is no dip but a spike.

    plus : added to it, e.g. less a set-point. [inside unit]
    """
    inside = source.within(span)
    time, value = source.time[inside], source.value[inside]
    if not time.size:
        return None
    noise = _scatter(value)
    shown, place = _extreme(time, value if smallest else -value)
    shown = shown if smallest else -shown
    moment, unit = float(time[place]), measure_of(source.channel.point).inside
    name = f"{source.channel.key} at {moment:.3f}"
    own = [
        (Error(f"{name}: noise", statistical=True), MEDIAN_OF_THREE * noise),
        (Error(f"{name}: display", "rectangular"), source.step / math.sqrt(12)),
        (Error(f"{name}: the one of many that the noise made so"), _chosen(value, shown, MEDIAN_OF_THREE * noise)),
        (Error(f"{name}: shorter than the meter can show"), _missed(source, time, shown, moment, noise)),
    ]
    which = "Smallest" if smallest else "Largest"
    how = Derivation(
        "extreme",
        f"{which} reading of {source.channel.key} over {span.end - span.start:.0f} s",
        (("readings", str(time.size)),),
        "readings often enough to see it: a meter misses what is shorter than its response and its spacing.",
        "extreme of the medians of three neighbours, or a reading whose neighbour shares half its dip; none alone.",
        "our choice.",
        (source.assumed,) if source.assumed else (),
    )
    quantity = summed(shown + plus, unit, [*source.budget(shown), *own], [doubt] if doubt else [], how)
    return quantity, moment


def trend(source: Source, span: Span, doubt: str = "") -> Quantity | None:
    """Change of a level per minute over a span: the offset of its meter cancels; None below three means of readings."""
    inside = source.within(span)
    time, value = _without_spikes(source.time[inside], source.value[inside], source.step)
    unit = f"{measure_of(source.channel.point).inside}/min"
    if time.size < 4 * FEWEST:
        return None
    thin = _thinned(source.channel, time, value)
    slope, u, freedom = line(thin.time, thin.value)
    gain = math.hypot(*(slope * share for part in source.errors if part.gain for _, share in part.limits))
    half = thin.time.size // 2
    bend = line(thin.time[half:], thin.value[half:])[0] - line(thin.time[:half], thin.value[:half])[0]
    late = source.response_time * bend / (float(thin.time[-1] - thin.time[0]) / 2)
    name = f"{source.channel.key}, {span.start:.3f} to {span.end:.3f}"
    budget = [
        (Error(f"{source.sensor}: response time"), 60 * late),
        (Error(f"{name}: scatter about a line", freedom=freedom, statistical=True), 60 * u),
        (Error(f"{source.sensor}: gain", "rectangular"), 60 * gain),
    ]
    how = Derivation(
        "trend",
        f"Change per minute of {source.channel.key}",
        (("readings", str(time.size)), ("over", f"{time[-1] - time[0]:.0f} s")),
        "a change that goes on in one direction.",
        "least-squares line; its error widened for the correlation of what it leaves.",
        "Santer et al., Journal of Geophysical Research 105(D6), 2000, equations 3 to 6.",
    )
    return summed(60 * slope, unit, budget, [doubt] if doubt else [], how)


def line(time: Array, value: Array) -> tuple[float, float, float]:
    """Slope of the line through readings, its standard uncertainty, and degrees of freedom. [per s]"""
    centred, about = time - np.mean(time), value - np.mean(value)
    spread = float(centred @ centred)
    slope = float(centred @ about) / spread
    left = about - slope * centred
    squares = float(left @ left)
    neighbours = float(left[1:] @ left[:-1]) / squares if squares > 0 else 0.0
    kept = min(max(neighbours + 2 / time.size, 0.0), 0.95)
    freedom = max(time.size * (1 - kept) / (1 + kept) - 2, 1.0)
    return slope, math.sqrt(squares / freedom / spread), freedom


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


def _without_spikes(time: Array, value: Array, step: float) -> tuple[Array, Array]:
    """Without one or two readings that stand off from those two before and two after them; a step stays."""
    if value.size < FEWEST_BESIDE:
        return time, value
    early, late = value[:-4], value[4:]
    beside = np.maximum(np.minimum(early, late), np.minimum(np.maximum(early, late), value[2:-2]))
    away = np.abs(value[2:-2] - beside)
    moves = np.abs(value[2:] - value[:-2])
    usual = 1.4826 * float(np.median(moves[:: 1 + moves.size // SAMPLED])) / math.sqrt(2)
    if usual == 0.0:
        usual = float(np.min(moves, where=moves > 0, initial=math.inf))
    far = np.flatnonzero(away > SPIKE * max(usual, step)) + 2
    return (np.delete(time, far), np.delete(value, far)) if far.size else (time, value)


def _thinned(channel: Channel, time: Array, value: Array) -> Series:
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


def _display(value: Array, step: float, *, alone: bool) -> float:
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


def _scatter(value: Array) -> float:
    """Standard deviation of a reading from one to the next."""
    if value.size < FEWEST:
        return 0.0
    moves = np.abs(np.diff(value))
    moves = moves[:: 1 + moves.size // SAMPLED]
    usual = 1.4826 * float(np.median(moves)) / math.sqrt(2)
    return usual or 0.8862 * float(np.mean(moves, where=moves <= np.quantile(moves, 0.98)))


def _extreme(time: Array, value: Array) -> tuple[float, int]:
    """Smallest of the medians of three neighbours, or of those readings whose neighbour shares half their dip."""
    if value.size < FEWEST:
        place = int(np.argmin(value))
        return float(value[place]), place
    left, right = np.concatenate([value[:1], value[:-1]]), np.concatenate([value[1:], value[-1:]])
    middle = np.maximum(np.minimum(left, right), np.minimum(np.maximum(left, right), value))
    place = int(np.argmin(middle))
    least = float(middle[place])
    lower = np.flatnonzero(value < least)
    if lower.size > CANDIDATES:
        lower = lower[np.argpartition(value[lower], CANDIDATES)[:CANDIDATES]]
    for one in lower[np.argsort(value[lower])].tolist():
        first, after = time.searchsorted([time[one] - BESIDE, time[one] + BESIDE]).tolist()
        usual = float(np.median(value[first : after + 1]))
        if middle[one] - value[one] <= (usual - value[one]) / 2:
            return float(value[one]), one
    return least, place


def _chosen(value: Array, shown: float, noise: float) -> float:
    """By how much noise moves the extreme of all readings that are about as extreme. [inside unit]

    Mode of the largest of n normal values: Cramer, Mathematical Methods of Statistics, 1946, 28.6.
    """
    near = int(np.count_nonzero(np.abs(value - shown) <= 3 * noise))
    if noise <= 0 or near < 3:
        return 0.0
    most = math.sqrt(2 * math.log(near))
    return noise * max(most - (math.log(math.log(near)) + math.log(4 * math.pi)) / (2 * most), 0.0)


def _missed(source: Source, time: Array, shown: float, moment: float, noise: float) -> float:
    """What a meter hides of a dip as short as one at light-off, by the size of what it shows. [inside unit]"""
    if source.response_time >= SLOW or time.size < FEWEST:
        return 0.0
    beside = source.value[source.within(Span(moment - BESIDE, moment + BESIDE))]
    depth = abs(float(np.median(beside)) - shown) - 3 * noise
    if depth <= 0:
        return 0.0
    share = 1 - math.exp(-DIP / (source.response_time + spacing(source, time) / 2))
    return depth * (1 / share - 1)


def spacing(source: Source, time: Array | None = None) -> float:
    """Usual time from one reading to the next. [s]"""
    time = source.time if time is None else time
    return float(np.median(np.diff(time[:1000]))) if time.size > 1 else math.inf


def _longest_hole(time: Array, span: Span) -> float:
    return float(np.max(np.diff(np.concatenate(([span.start], time, [span.end])))))
