"""Values that would be right in another unit, said only where they cannot be right as they are."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.data.course import Course
from analysis.data.problem import DataProblem, keys, named
from analysis.model import Series
from analysis.units import INCH_OF_WATER

Array = NDArray[np.float64]

DRAFTS = "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high".split()
ROOM = "temp_room temp_return".split()


class Slip(NamedTuple):
    """A unit that was taken for another."""

    points: tuple[str, ...]
    typical: Callable[[Array], float]
    """Of the values of a channel."""
    possible: tuple[float, float]
    """Where that lies on a unit that works or does not. [inside unit]"""
    others: tuple[tuple[str, Callable[[float], float]], ...]
    """What may have happened, and what it would be then."""


def _most(value: Array) -> float:
    return float(np.percentile(np.abs(value), 95))


def _highest(value: Array) -> float:
    """Gas may have flowed for five seconds only."""
    return float(np.percentile(np.abs(value), 99.8))


def _to_celsius(value: float) -> float:
    return (value - 32) / 1.8


def _to_fahrenheit(value: float) -> float:
    return 1.8 * value + 32


SLIPS = (
    Slip(
        tuple(DRAFTS),
        _most,
        (0.0, 2500.0),
        (
            ("pascals given as inches of water", lambda value: value / INCH_OF_WATER),
            ("inches of water given in a larger unit", lambda value: value * INCH_OF_WATER / 6894.757),
        ),
    ),
    Slip(
        ("gas_inlet", "gas_manifold"),
        _highest,
        (150.0, 20_000.0),
        (
            ("pascals given as inches of water", lambda value: value / INCH_OF_WATER),
            ("inches of water given as pascals", lambda value: value * INCH_OF_WATER),
        ),
    ),
    Slip(
        tuple(ROOM),
        lambda value: float(np.median(value)),
        (-2.0, 45.0),
        (
            ("degrees Celsius given as Fahrenheit", _to_fahrenheit),
            ("degrees Fahrenheit given as Celsius", _to_celsius),
        ),
    ),
    Slip(
        ("humidity_room", "humidity_return"),
        lambda value: float(np.median(value)),
        (0.03, 1.05),
        (
            ("a fraction given as percent", lambda value: value * 100),
            ("percent given as a fraction", lambda value: value / 100),
        ),
    ),
    Slip(
        ("flame_current",),
        _most,
        (0.0, 100e-6),
        (
            ("microamperes given as milliamperes", lambda value: value / 1e3),
            ("microamperes given as amperes", lambda value: value / 1e6),
        ),
    ),
)
LIKELY = {
    "temp_room": (8.0, 35.0),
    "temp_return": (8.0, 35.0),
    "gas_inlet": (700.0, 4500.0),
    "gas_manifold": (300.0, 3300.0),
    "humidity_room": (0.08, 0.85),
    "humidity_return": (0.08, 0.85),
}
"""Where values must come to lie in the other unit. [inside unit]"""


def wrong_unit(course: Course) -> Iterator[DataProblem]:
    """Channels that are in another unit than they say."""
    for slip in SLIPS:
        for point in slip.points:
            for one in course.of(point):
                if what := _slipped(slip, one, course):
                    text = f"{named([one])}: values that cannot be, and that would be right as {what}"
                    hint = (
                        "Look at the unit on the meter's display and correct it in the job file or in the file's head."
                    )
                    yield DataProblem("unit", keys([one]), text, hint, float(one.time[0]), float(one.time[-1]))


def _slipped(slip: Slip, one: Series, course: Course) -> str:
    value = one.value[:: max(1, one.value.size // 20_000)]
    value = value[~np.isnan(value)]
    if value.size < 5:
        return ""
    typical, (low, high) = slip.typical(value), slip.possible
    if low <= typical <= high:
        return ""
    if one.channel.point == "gas_manifold" and not course.valve.any():
        return ""  # no gas has flowed
    least, most = LIKELY.get(one.channel.point, slip.possible)
    likely = [what for what, other in slip.others if least <= other(typical) <= most]
    return likely[0] if likely and typical != 0 else ""
