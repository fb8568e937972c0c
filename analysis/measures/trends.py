"""How fast a level went: its change per minute over a span."""

import math

import numpy as np
from numpy.typing import NDArray

from analysis.measures.levels import FEWEST, display, summed, thinned, without_spikes
from analysis.measures.sources import Source
from analysis.points import measure_of
from analysis.quantity import Derivation, Error, Quantity
from analysis.steady import Span

Array = NDArray[np.float64]


def trend(source: Source, span: Span, doubt: str = "") -> Quantity | None:
    """Change of a level per minute over a span: the offset of its meter cancels; None below a dozen readings."""
    inside = source.within(span)
    time, value = without_spikes(source.time[inside], source.value[inside], source.step)
    unit = f"{measure_of(source.channel.point).inside}/min"
    if time.size < 4 * FEWEST:
        return None
    thin = thinned(source.channel, time, value)
    slope, u, freedom = line(thin.time, thin.value)
    gain = math.hypot(*(slope * share for part in source.errors if part.gain for _, share in part.limits))
    length = float(thin.time[-1] - thin.time[0])
    half = thin.time.size // 2
    bend = line(thin.time[half:], thin.value[half:])[0] - line(thin.time[:half], thin.value[:half])[0]
    late = source.response_time * bend / (length / 2)
    steps = display(value - slope * (time - time[0]), source.step, alone=False) * math.sqrt(12) / length
    name = f"{source.channel.key}, {span.start:.3f} to {span.end:.3f}"
    budget = [
        (Error(f"{source.sensor}: response time"), 60 * late),
        (Error(f"{name}: display", "rectangular"), 60 * steps),
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
