"""What is judged: each key of the job file, the measures that tell it, and the limits that it sets. One row each."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from analysis.lockouts import LockoutSettings
from analysis.model import Baseline, Plate, Timing
from analysis.units import INCH_OF_WATER

TOLERANCE = {"natural gas": 0.3 * INCH_OF_WATER, "propane": 0.5 * INCH_OF_WATER}
"""How far the manifold may be from its rated pressure: makers allow 0.3, for propane up to 0.5 in. w.c. [Pa]"""
BOX_AT_MOST = 0.5 * INCH_OF_WATER
"""So far below the room a burner box may be with a free intake; our choice. [Pa]"""
IN_HAND = 0.1 * INCH_OF_WATER
"""What a closed switch should have over its opening point; common practice, no published source. [Pa]"""
SET_POINT, SET_POINT_SHARE = 0.05 * INCH_OF_WATER, 0.1
"""A switch acts so near its figure, or within this share where that is less; common practice. [Pa] [1]"""
OPENS_BELOW = (0.03 * INCH_OF_WATER, 0.15 * INCH_OF_WATER)
"""How far below its closing point a switch opens; common practice, no published source. [Pa]"""
CHANGED, CHANGED_SHARE = 0.05 * INCH_OF_WATER, 0.1
"""A tap is as it was within so much and this share of what it was: weather, wind; our choice. [Pa] [1]"""
LATE, LATE_SHARE = 1.5, 0.2
"""A control keeps its times within so much, or this share where that is more; our choice. [s] [1]"""
DIFFERENTIAL = 0.05
"""How far a humidity control lets the room go above its setting; our choice. [1]"""


@dataclass(frozen=True, slots=True)
class Known:
    """What the job file says that is judged by."""

    plate: Plate = field(default_factory=Plate)
    baseline: Baseline = field(default_factory=Baseline)
    timing: Timing = field(default_factory=Timing)
    stated: frozenset[str] = frozenset()
    """Timings that the job file states; the others are typical ones, by which nothing is judged."""
    humidity: float | None = None
    """Setting of the humidity control. [1]"""
    lockouts: LockoutSettings | None = None
    burner_box: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Pressure of the burner box while it burns, and its standard uncertainty, by stage. [Pa]"""


class Limits(NamedTuple):
    """What a value is compared with."""

    low: float | None = None
    """[inside unit]"""
    high: float | None = None
    shift: float = 0.0
    """Added to the value before it is compared: what it was taken over is not what counts. [inside unit]"""
    u: float = 0.0
    """Standard uncertainty of the limits. [inside unit]"""
    note: str = ""
    """What the limits rest on, where it is not the file alone."""


class Row(NamedTuple):
    """One check."""

    check: str
    """Key of the job file."""
    measures: tuple[str, ...]
    """Names of measures; each one that is there is judged."""
    limits: Callable[[Known, str], Limits | None]
    """By the name of the measure; None where the job file does not say."""
    words: str
    """What is judged."""
    needs: str
    """What has to be measured for it."""
    instead: tuple[str, ...] = ()
    """Measures that stand for it in an attempt which has none of `measures`."""
    completed: str = ""
    """Phase that has to have run its course."""
    settled: bool = False
    """Whether a doubtful value, one that was not settled or not hot yet, tells only that a limit is passed."""


def _stage(name: str) -> int:
    return 0 if name.endswith(".high") else -1


def _between(window: tuple[float, float] | None) -> Limits | None:
    return None if window is None else Limits(*window)


def _at_most(high: float | None) -> Limits | None:
    return None if high is None else Limits(high=high)


def _at_least(low: float | None) -> Limits | None:
    return None if low is None else Limits(low=low)


def _manifold(known: Known, name: str) -> Limits | None:
    plate = known.plate
    if not plate.manifold:
        return None
    rated, allowed = plate.manifold[_stage(name)], TOLERANCE.get(plate.fuel or "", TOLERANCE["natural gas"])
    low, high, note = rated - allowed, rated + allowed, "what makers allow around the rated pressure"
    if plate.manifold_reference == "room":
        return Limits(low, high, note=note)
    box = known.burner_box.get(name.rpartition(".")[2])
    if box is None:
        half = BOX_AT_MOST / 2
        note += "; it counts against the burner box, which is not measured and taken up to 0.5 in. w.c. below the room"
        return Limits(low, high, shift=half, u=half / math.sqrt(3), note=note)
    return Limits(low, high, shift=-box[0], u=box[1], note=f"{note}, against the burner box")


def _inlet(known: Known, name: str) -> Limits | None:
    window = known.plate.gas_inlet
    if window is None:
        return None
    return Limits(high=window[1]) if name == "gas_inlet.static" else Limits(*window)


def _switch(known: Known, name: str, *, opening: bool) -> Limits | None:
    """What counts is the opening or closing point as it probably is, by what the printed figure is."""
    high, plate = name.startswith("draft_margin_high"), known.plate
    if len(plate.switch_close) < (2 if high else 1):
        return None
    printed, opens = plate.switch_close[0 if high else -1], plate.switch_open
    stated = opens[0 if high else -1] if opens and (not high or len(opens) > 1) else None
    middle, half = sum(OPENS_BELOW) / 2, (OPENS_BELOW[1] - OPENS_BELOW[0]) / 2
    tolerance = min(SET_POINT, SET_POINT_SHARE * printed) / math.sqrt(3)
    taken = printed if not opening or stated is None else stated
    # where the point truly is against the figure, and half of the range in which it may be [Pa]
    away, unsure, note = 0.0, 0.0, ""
    if stated is None and plate.switch_label == "unknown":
        away = OPENS_BELOW[1] / 2 * (-1 if opening else 1)
        unsure, note = OPENS_BELOW[1] / 2, "the figure may be the make or the break: say which by `switch_label`"
    elif stated is None and plate.switch_label == "make" and opening:
        away, unsure, note = -middle, half, "no `furnace.switch_open`: taken 0.03 to 0.15 in. w.c. below the make"
    elif stated is None and plate.switch_label == "break" and not opening:
        away, unsure, note = middle, half, "the figure is the break: the make is taken 0.03 to 0.15 in. w.c. above it"
    shift = (taken - printed if stated is None else 0.0) - away
    low = IN_HAND if opening else 0.0
    return Limits(low, shift=shift, u=math.hypot(tolerance, unsure / math.sqrt(3)), note=note)


def _closes(known: Known, name: str) -> Limits | None:
    return _switch(known, name, opening=False)


def _opens(known: Known, name: str) -> Limits | None:
    return _switch(known, name, opening=True)


def _as_it_was(known: Known, name: str) -> Limits | None:
    was = getattr(known.baseline, name.partition(".")[0])
    if was is None:
        return None
    allowed = CHANGED + CHANGED_SHARE * abs(was)
    return Limits(was - allowed, was + allowed, note="within 10 % and 0.05 in. w.c. of when it was known good")


def _timing(known: Known, name: str) -> Limits | None:
    phase = name.rpartition(".")[2]
    if phase not in known.stated:
        return None
    set_to = float(getattr(known.timing, phase))
    allowed = max(LATE, LATE_SHARE * set_to)
    return Limits(None if phase == "ignition_trial" else set_to - allowed, set_to + allowed)


def _humidity(known: Known, name: str) -> Limits | None:
    if known.humidity is None:
        return None
    if name.startswith("dew_point_margin"):
        return Limits(low=0.0, note="above the dew point nothing gets wet")
    return Limits(high=known.humidity + DIFFERENTIAL, note="within 5 % above the setting")


def _of(*pattern: str) -> tuple[str, ...]:
    return tuple(name.replace("<stage>", stage) for name in pattern for stage in ("high", "low"))


_SWITCH = "pressure at the switch (draft_switch)"
_SWITCH_HIGH = "pressure at the high-stage switch (draft_switch_high)"
_TAPS: Mapping[str, str] = {
    "draft_burner_box": "burner box",
    "draft_transition": "transition box",
    "draft_collector": "collector box",
    "draft_vent": "vent side",
}
_TIMED: Mapping[str, tuple[str, str]] = {
    "prepurge": ("prepurge", "switch_closed and amps_igniter"),
    "igniter_warmup": ("igniter warm-up", "amps_igniter and gas_valve"),
    "ignition_trial": ("ignition trial", "gas_valve and flame_current"),
    "blower_on_delay": ("blower on delay", "flame_current and blower_on"),
    "post_purge": ("post-purge", "gas_valve and switch_closed"),
    "blower_off_delay": ("blower off delay", "switch_closed and blower_on"),
}

ROWS: tuple[Row, ...] = (
    Row(
        "furnace.rise",
        _of("temp_rise.settled.<stage>"),
        lambda known, _: _between(known.plate.rise),
        "temperature rise",
        "temp_return and temp_supply",
        settled=True,
    ),
    Row(
        "furnace.static_max",
        _of("static_external.settled.<stage>"),
        lambda known, _: _at_most(known.plate.static_max),
        "external static",
        "static_return and static_supply",
    ),
    Row(
        "furnace.supply_max",
        ("temp_supply.highest",),
        lambda known, _: _at_most(known.plate.supply_max),
        "hottest supply air",
        "temp_supply",
    ),
    Row("furnace.manifold", _of("gas_manifold.flowing.<stage>"), _manifold, "manifold pressure", "gas_manifold"),
    Row(
        "furnace.gas_inlet",
        ("gas_inlet.static", *_of("gas_inlet.flowing.<stage>")),
        _inlet,
        "inlet pressure",
        "gas_inlet",
    ),
    Row(
        "furnace.switch_close",
        ("draft_margin.to_close.cold", "draft_margin_high.to_close.hot.high"),
        _closes,
        "pressure over the closing point",
        _SWITCH,
        instead=("draft_margin.largest_at_start",),
    ),
    Row(
        "furnace.switch_open",
        ("draft_margin.smallest", "draft_margin_high.smallest"),
        _opens,
        "smallest pressure over the opening point",
        _SWITCH,
    ),
    Row(
        "furnace.flame_current_min",
        _of("flame_current.settled.<stage>"),
        lambda known, _: _at_least(known.plate.flame_current_min),
        "flame current",
        "flame_current",
        instead=("flame_current.settled", "flame_current.smallest"),
    ),
    *(
        Row(f"furnace.baseline.{tap}", (f"{tap}.hot.high",), _as_it_was, words, tap, settled=True)
        for tap, words in _TAPS.items()
    ),
    *(
        Row(f"furnace.timing.{phase}", (f"phase.duration.{phase}",), _timing, words, needs, completed=phase)
        for phase, (words, needs) in _TIMED.items()
    ),
    Row(
        "humidifier.setting",
        ("humidity_room.mean", "dew_point_margin.smallest"),
        _humidity,
        "humidity in the house",
        "humidity_room; for wet surfaces temp_surface and temp_room too",
        instead=("humidity_return.mean",),
    ),
)
"""Every check but the trials in a call and the lockouts, which rest on no single measure."""
