"""The values that travel through the program: frozen, with a unit beside every number."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.quantity import Quality as Quality  # noqa: PLC0414
from analysis.quantity import Quantity as Quantity  # noqa: PLC0414

NANOSECONDS = 1_000_000_000

ORIGINS = ("replay", "simulated", "by hand", "shared")
"""Where readings come from when not from an instrument here; part of the instrument's name, before a colon."""


class EventKind(StrEnum):
    """What an event in a recording is about."""

    NOTE = "note"
    """Free text by the technician."""
    MARK = "mark"
    """A moment the technician wants to find again."""
    ALARM = "alarm"
    """An alarm changed its state."""
    INSTRUMENT = "instrument"
    """An instrument changed its state: connecting, reading, lost, stopped, ended."""
    ZEROED = "zeroed"
    """A meter was zeroed: `channel` and `offset` [native unit] in the data; raw values stay as they are."""
    POINT_CHANGED = "point_changed"
    """A meter was moved to another point."""
    UNIT_CHANGED = "unit_changed"
    """A meter shows another unit: keys of the channels `from` and `to` in the data."""
    GAP = "gap"
    """Readings of a span are missing, and why."""
    CONFLICT = "conflict"
    """A second value came for the same channel and time; the first stayed, the second is in the data."""
    PROBLEM = "problem"
    """Something could not be read: what, where and why."""
    CLOCK = "clock"
    """The relation of recording time to wall time was set anew."""
    REPLAY = "replay"
    """A replay was paused, moved, looped or given another speed."""
    RECORDER = "recorder"
    """The recording itself: started, stopped, could not write, resumed."""
    ENTRY = "entry"
    """A reading typed in: `channel` and `at` [ns] of the reading, `typed` as it was written, `entered` [ns] when."""
    WITHDRAWN = "withdrawn"
    """A reading typed in counts as never read: its `channel` and `at` [ns]; the reading itself stays."""
    PHOTO = "photo"
    """A photograph: `attachment` is its identity in the recording; `channel` and `at` [ns] of the reading it shows."""
    ARCHIVE = "archive"
    """The server that keeps readings for good: away for a while, back, or it refuses something."""
    CHECK = "check"
    """Something ticked, or opened for a test and put back: `list`, `item`, `state` and `id` in the data."""
    REMOTE_NOTE = "remote_note"
    """A note by somebody who looks on from elsewhere: `id`, `at` [ns] the moment it is about, `text`, `author`."""
    REMOTE_REQUEST = "remote_request"
    """Somebody who looks on asks for a measurement: `id`, `at` [ns], `text`, `author`; the subject is the point."""
    REMOTE_DONE = "remote_done"
    """Whoever is at the unit answers a note or request: its `id`, `at` [ns] of the answer, `text`, `author`."""
    DONE = "done"
    """Something that was done to the unit, or a test with its result: `what`, `text`, `at` [ns], `id`, and of a test
    `test` and `result`; `what` is `undone` where it is taken back."""
    JOB = "job"
    """The job file in force: its text in the data."""


@dataclass(frozen=True, slots=True)
class Channel:
    """A point measured by one instrument, in the instrument's own unit."""

    point: str
    """Name in `analysis.points.POINTS`."""
    instrument: str
    """The instrument's name, with its origin before a colon when it is not a live instrument."""
    unit: str
    """Native unit of the values, as the instrument gives them."""
    low: float | None = None
    """Smallest plausible value. [native unit]"""
    high: float | None = None
    """Largest plausible value. [native unit]"""
    accuracy: str | None = None
    """Accuracy statement as the instrument's sheet gives it, e.g. `0.5 % + 0.01 inH2O`."""
    response_time: float | None = None
    """Time constant of the instrument. [s]"""

    @property
    def key(self) -> str:
        """Identity of the channel within a recording."""
        return f"{self.point}@{self.instrument}"


@dataclass(frozen=True, slots=True)
class Reading:
    """One value at one instant, as the instrument gave it."""

    channel: str
    """Key of the channel."""
    time: int
    """UTC since 1970. [ns]"""
    value: float
    """NaN where the instrument gave no usable value. [native unit of the channel]"""
    quality: Quality = Quality.GOOD


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened and is not a reading."""

    time: int
    """UTC since 1970. [ns]"""
    kind: EventKind
    text: str
    """One sentence for people."""
    subject: str | None = None
    """The instrument, channel or alarm it is about."""
    data: Mapping[str, object] = field(default_factory=dict)
    """Facts for programs; plain JSON values."""


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """The readings of one channel over a span."""

    channel: Channel
    time: NDArray[np.float64]
    """(n,) strictly increasing, UTC since 1970. [s]"""
    value: NDArray[np.float64]
    """(n,) NaN where there is no good value. [inside unit of the point]"""

    def __post_init__(self) -> None:
        """Refuse shapes that do not match and time that does not increase."""
        if self.time.shape != self.value.shape or self.time.ndim != 1:
            shapes = f"time {self.time.shape} and value {self.value.shape}"
            raise ValueError(f"series of {self.channel.key}: {shapes} differ")
        if self.time.size > 1 and not np.all(np.diff(self.time) > 0):
            raise ValueError(f"series of {self.channel.key}: time does not increase")


@dataclass(frozen=True, slots=True)
class Plate:
    """What the rating plate and the maker's sheet say; None or empty where not known."""

    fuel: str | None = None
    """`natural gas` or `propane`."""
    condensing: bool | None = None
    input: tuple[float, ...] = ()
    """Per stage, high first. [W]"""
    efficiency: float | None = None
    """Steady, of input. [1]"""
    rise: tuple[float, float] | None = None
    """Temperature rise window. [K]"""
    static_max: float | None = None
    """Total external static. [Pa]"""
    supply_max: float | None = None
    """[degC]"""
    manifold: tuple[float, ...] = ()
    """Per stage, high first. [Pa]"""
    gas_inlet: tuple[float, float] | None = None
    """Window at the valve inlet. [Pa]"""
    switch_close: tuple[float, ...] = ()
    """Closing points of the pressure switches, high stage first, low stage last. [Pa]"""
    switch_open: tuple[float, ...] = ()
    """Opening points of the pressure switches, high stage first, low stage last. [Pa]"""
    flame_current_min: float | None = None
    """[A]"""
    switch_label: str = "unknown"
    """Whether the figure printed on the switch is the `make`, the `break`, or `unknown`."""
    manifold_reference: str = "room"
    """Reference side of the manifold pressure: `room` or `burner_box`."""
    pipes: int | None = None
    """Two: intake and vent. One: vent only. [1]"""


@dataclass(frozen=True, slots=True)
class Baseline:
    """This unit when known good: hot, high stage, after ten minutes or more. [Pa]"""

    draft_burner_box: float | None = None
    draft_transition: float | None = None
    draft_collector: float | None = None
    draft_vent: float | None = None


@dataclass(frozen=True, slots=True)
class Timing:
    """Timings of the control, NaN where not known. Typical values are common practice, no published source. [s]"""

    prepurge: float = 15.0
    igniter_warmup: float = 17.0
    ignition_trial: float = 5.0
    blower_on_delay: float = 30.0
    post_purge: float = 15.0
    blower_off_delay: float = 120.0
    trials: int = 3
    """Ignition trials in one call, 0 where that is not known. [1]"""


@lru_cache(4096)
def origin_of(instrument: str) -> str | None:
    """Origin in an instrument's name (`replay`, `simulated`, `by hand`, `shared`), or None for a live instrument."""
    head, colon, _ = instrument.partition(": ")
    return head if colon and head in ORIGINS else None


def with_origin(origin: str, instrument: str) -> str:
    """Instrument's name with its origin before it; an origin that is there already is not repeated."""
    if origin not in ORIGINS:
        raise ValueError(f"unknown origin {origin!r}; known are {', '.join(ORIGINS)}")
    return instrument if origin_of(instrument) == origin else f"{origin}: {instrument}"
