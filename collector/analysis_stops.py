"""What stops all firing tests and no alarm rule watches, over a recording; how a run went: `analysis.run_signs`."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.combustion import CO_LIMIT, CO_STOP
from analysis.measures import Measured
from analysis.model import Series
from analysis.run_signs import run_signs
from analysis.sequence.attempts import Attempt
from analysis.signs import FLAME, LINGERS, NO_SUPPLY
from collector.past_alarms import PastAlarm
from collector.sequence_words import OUTCOME_WORDS

SURE = 10.0
"""Carbon monoxide in the flue gas counts when it stays above its limit for so long. Our choice. [s]"""
HOLDS = 30.0
"""A reading stands for what comes after it no longer than this. [s]"""


def stops(
    series: Sequence[Series], attempts: Sequence[Attempt], measures: Sequence[Measured] = ()
) -> tuple[PastAlarm, ...]:
    """Every stop that the series and the attempts show, in the order of time, as alarms of the highest priority."""
    found = [*_rolled_out(series, attempts), *_unasked(series), *_flue(series)]
    found += [_stop(sign.rule, sign.start, sign.end, sign.text) for sign in run_signs(series, attempts, measures)]
    return tuple(sorted(found, key=lambda stop: (stop.start, stop.rule)))


def _rolled_out(series: Sequence[Series], attempts: Sequence[Attempt]) -> Iterator[PastAlarm]:
    """A roll-out switch that reads open while the 24 V are not known to be off; also one that an attempt ended by."""
    text, seen = OUTCOME_WORDS["rollout_open"].stop, False
    supply = [one for one in series if one.channel.point == "volts_control"]
    for one in (one for one in series if one.channel.point == "rollout_closed"):
        good = np.isfinite(one.value)
        time, opened = one.time[good], one.value[good] < 0.5
        for volts in supply:
            opened &= ~(_held(volts, time) < NO_SUPPLY)
        for start, end in _spans(time, opened):
            seen = True
            yield _stop("rollout_open", start, end, text)
    for attempt in attempts:
        if attempt.outcome == "rollout_open" and not seen:
            yield _stop("rollout_open", attempt.deciding_time, attempt.end, text)


def _unasked(series: Sequence[Series]) -> Iterator[PastAlarm]:
    """Flame with the valve closed, and gas without a call; lags of meters and contacts are shorter than `LINGERS`."""
    for rule, there, level, asks, text in (
        (
            "flame_without_gas",
            "flame_current",
            FLAME,
            "gas_valve",
            "STOP: flame with the gas valve closed. Shut the gas cock; no more firing until the valve was inspected.",
        ),
        (
            "gas_without_call",
            "gas_valve",
            0.5,
            "call_heat",
            "STOP: gas valve on without a call for heat. Shut the gas cock; no more firing until wiring and control"
            " were inspected.",
        ),
    ):
        for one in series:
            for other in series:
                if one.channel.point == there and other.channel.point == asks:
                    time = np.union1d(one.time, other.time)
                    odd = (_held(one, time) >= level) & (_held(other, time) < 0.5)
                    for start, end in _spans(time, odd):
                        if end - start >= LINGERS:
                            yield _stop(rule, start, end, text)


def _flue(series: Sequence[Series]) -> Iterator[PastAlarm]:
    """Carbon monoxide as it was read above the limit for air-free: what it is air-free is more still."""
    for one in series:
        if one.channel.point == "flue_co":
            good = np.isfinite(one.value)
            for start, end in _spans(one.time[good], one.value[good] > CO_LIMIT):
                if end - start >= SURE:
                    yield _stop(
                        "flue_co",
                        start,
                        end,
                        f"STOP: carbon monoxide in the flue gas {CO_STOP.removeprefix('Stop firing: ')}",
                    )


def _stop(rule: str, start: float, end: float, text: str) -> PastAlarm:
    return PastAlarm(rule, start, end, "safety", text)


def _held(one: Series, time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Last good value at each time; NaN before the first and where it is too old."""
    good = np.isfinite(one.value)
    own, value = one.time[good], one.value[good]
    place = np.searchsorted(own, time, side="right") - 1
    known = place >= 0
    found = np.full(time.shape, np.nan)
    found[known] = value[place[known]]
    found[known] = np.where(time[known] - own[place[known]] <= HOLDS, found[known], np.nan)
    return found


def _spans(time: NDArray[np.float64], holds: NDArray[np.bool_]) -> Iterator[tuple[float, float]]:
    """First and last time of each run in which something holds."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], holds, [False])).astype(np.int8)))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        yield float(time[start]), float(time[end - 1])
