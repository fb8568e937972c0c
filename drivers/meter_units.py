"""The unit that an instrument shows: a number is kept as it was shown, so another unit is another channel."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.model import NANOSECONDS, Channel, Event, EventKind
from analysis.points import POINTS, measure_of
from analysis.units import UnitError, to_inside
from drivers.base import Emission
from drivers.profile import Value
from drivers.setup import Setup

SUMMARY = 10 * NANOSECONDS
"""A change back within this is counted and told with others: an autorange may change with each message. [ns]"""
UNSAID = ""
"""In place of a unit: the instrument has never said one."""


@dataclass(slots=True)
class _Changes:
    """What was told of the unit of one value."""

    told: Channel
    """That stands by what was told."""
    known: set[str] = field(default_factory=set)
    """Keys of channels that were told."""
    time: int = 0
    """When something was told last. [ns]"""
    untold: int = 0
    """Changes since then. [1]"""


class Units:
    """The channel of each recorded value as it stands, in the order of the job."""

    def __init__(self, setup: Setup, values: Mapping[str, Value]) -> None:
        self._setup = setup
        self._values = values
        self.channels = {name: setup.channel(values[name]) for name in setup.channels}
        """By the name of the value."""
        self._said: dict[str, str] = {}
        self._misfit: dict[str, str] = {}
        self._read: set[str] = set()
        self._changes = {name: _Changes(channel, {channel.key}) for name, channel in self.channels.items()}
        self._announced: set[str] = set()

    def begin(self) -> list[Channel]:
        """A session begins: the channels to announce."""
        self._announced = {channel.key for channel in self.channels.values()}
        return list(self.channels.values())

    def hear(self, units: Mapping[str, str]) -> None:
        """A message says these units, by the name of the value; each holds until another is said."""
        self._said |= units

    def follow(self, name: str, time: int) -> list[Emission]:
        """A message shows a value: what there is to tell before its reading.

        A unit of something else than the point's (a multimeter turned to ohms) changes no channel.
        """
        channel, value = self.channels[name], self._values[name]
        unit = self._said.get(name, UNSAID if value.units and not value.unit else channel.unit)
        if unit == channel.unit:
            return self._fits_again(name, time)
        if not _measures(unit, channel.point):
            return self._no_reading(name, unit, time)
        self._misfit.pop(name, None)
        return self._change(name, self._setup.channel(value, unit), time)

    def refusal(self, name: str) -> str:
        """As what a number is counted that is no reading of its point; empty where it is one."""
        unit = self._misfit.get(name)
        return "" if unit is None else "misfits" if unit else "without_unit"

    @property
    def waiting(self) -> bool:
        """Whether there are changes that are not told yet."""
        return any(change.untold for change in self._changes.values())

    def summary(self, time: int, pause: int = SUMMARY) -> list[Event]:
        """An event for each value whose unit changed since something was told of it, once `pause` [ns] passed."""
        found = []
        for name, change in self._changes.items():
            if not change.untold or 0 <= time - change.time < pause:
                continue
            told, now = change.told, self.channels[name]
            times = "once more" if change.untold == 1 else f"{change.untold} times more"
            what = f"{self._setup.name}: {self._point(name)} changed its unit {times}, and is shown in {now.unit} now"
            kind = EventKind.PROBLEM if now.key == told.key else EventKind.UNIT_CHANGED
            data = {**_from_to(told, now), "changes": change.untold}
            change.told, change.time, change.untold = now, time, 0
            found.append(Event(time, kind, what, self._setup.name, data))
        return found

    def _change(self, name: str, new: Channel, time: int) -> list[Emission]:
        """The first change to a unit is told at once, what follows soon is counted: its readings show it all the same.

        The collector takes a reading of a channel that was told before as a change by itself.
        """
        self.channels[name] = new
        announced: list[Emission] = [] if new.key in self._announced else [new]
        self._announced.add(new.key)
        change = self._changes[name]
        if new.key in change.known and (change.untold or 0 <= time - change.time < SUMMARY):
            change.untold += 1
            return announced
        before = f", before in {change.told.unit}" if name in self._read else ""
        what = f"{self._setup.name}: {self._point(name)} is shown in {new.unit} from now on{before}"
        data = _from_to(change.told, new)
        self._read.add(name)
        change.known.add(new.key)
        change.told, change.time, change.untold = new, time, 0
        return [*announced, Event(time, EventKind.UNIT_CHANGED, what, self._setup.name, data)]

    def _no_reading(self, name: str, unit: str, time: int) -> list[Emission]:
        if self._misfit.get(name) == unit:
            return []
        self._misfit[name] = unit
        if unit == UNSAID:
            why = "it did not say its unit yet, so its numbers are no readings; correct its profile if it never does"
        else:
            why = f"it shows {unit} now, which measures something else; set it back"
        what = f"{self._setup.name}: {self._point(name)}: {why}"
        return [Event(time, EventKind.PROBLEM, what, self._setup.name, {"unit": unit, "value": name})]

    def _fits_again(self, name: str, time: int) -> list[Emission]:
        self._read.add(name)
        if not (unit := self._misfit.pop(name, UNSAID)):
            return []
        what = f"{self._setup.name}: shows {self.channels[name].unit} again, no longer {unit}"
        return [Event(time, EventKind.PROBLEM, what, self._setup.name, {"unit": self.channels[name].unit})]

    def _point(self, name: str) -> str:
        point = self.channels[name].point
        return POINTS[point].text if point in POINTS else point


def _measures(unit: str, point: str) -> bool:
    """Whether a unit is one of what a point measures."""
    try:
        to_inside(unit, measure_of(point))
    except (UnitError, KeyError):
        return False
    return unit != UNSAID


def _from_to(before: Channel, after: Channel) -> dict[str, str]:
    return {"from": before.key, "to": after.key, "from_unit": before.unit, "to_unit": after.unit}
