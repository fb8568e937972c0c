"""What is wrong with a measurement, and the words for it."""

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.model import Series
from analysis.points import POINTS, measure_of
from analysis.units import conversion

KINDS: dict[str, str] = {
    "gaps": "no reading for much longer than usual",
    "stuck": "the same value to the last digit while something that moves it changed",
    "not_returning": "the value does not come back to where it was at rest",
    "wrong_sign": "on the wrong side, as with hoses, probes or leads swapped",
    "exchanged": "two channels read as each other should",
    "not_zeroed": "it does not show nothing at rest",
    "clocks_apart": "the times of two instruments do not fit together",
    "clock_step": "a clock was set while it recorded",
    "time_back": "times that go back",
    "spikes": "single readings far from both neighbours",
    "saturated": "the value stands at the end of the meter's range",
    "unit": "a factor between what it reads and what it should that only another unit explains",
    "slow": "read too rarely for what is looked for there",
    "doubtful": "the meter itself, or what is known of it, says that readings are doubtful",
    "missing": "not measured, and it would tell most; the channels are points",
}
"""Every kind, the gravest first, with what it means."""


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


def shown(point: str, value: float, *, difference: bool = True, digits: int = 0, units: str = "trade") -> str:
    """A value, or a difference of two, as the trade reads it, or `metric`; so many digits more than usual."""
    measure = measure_of(point)
    unit, label, decimals = (
        (measure.metric, measure.metric_label, measure.metric_decimals)
        if units == "metric"
        else (measure.trade, measure.trade_label, measure.trade_decimals)
    )
    scale, offset = conversion(measure.inside, unit, difference=difference)
    return f"{value * scale + offset:.{decimals + digits}f} {label}".rstrip()


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
