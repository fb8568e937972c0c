"""What is wrong with a measurement, and the words for it."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.model import Series
from analysis.points import POINTS, measure_of
from analysis.units import conversion

KINDS = (
    "gaps stuck not_returning wrong_sign exchanged not_zeroed clocks_apart clock_step time_back spikes saturated unit"
    " slow doubtful missing"
).split()


@dataclass(frozen=True, slots=True)
class DataProblem:
    """Something about the measurement that is wrong, doubtful or missing."""

    kind: str
    """Name in `KINDS`."""
    channels: tuple[str, ...]
    """Keys of the channels; points where the kind is `missing`."""
    text: str
    """What is wrong, one sentence."""
    hint: str
    """What to do about it, one sentence."""
    start: float
    """UTC since 1970. [s]"""
    end: float
    """UTC since 1970. [s]"""


def shown(point: str, value: float, *, difference: bool = True, digits: int = 0) -> str:
    """A value, or a difference of two, as the trade reads it; so many digits more than usual."""
    measure = measure_of(point)
    scale, offset = conversion(measure.inside, measure.trade, difference=difference)
    return f"{value * scale + offset:.{measure.trade_decimals + digits}f} {measure.trade_label}".rstrip()


def span_of_time(seconds: float) -> str:
    """A length of time, or a moment from the start of the recording."""
    if abs(seconds) < 60:
        return f"{seconds:.0f} s" if abs(seconds) >= 10 else f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min"


def named(series: Sequence[Series]) -> str:
    """Instrument and places, in words."""
    by_instrument: dict[str, list[str]] = {}
    for one in series:
        by_instrument.setdefault(one.channel.instrument, []).append(POINTS[one.channel.point].text)
    return "; ".join(f"{name} ({', '.join(dict.fromkeys(texts))})" for name, texts in by_instrument.items())


def keys(series: Sequence[Series]) -> tuple[str, ...]:
    """Keys of the channels."""
    return tuple(one.channel.key for one in series)
