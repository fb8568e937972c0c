"""The unit that an instrument shows: a number is kept as it was shown, so another unit is another channel."""

from collections.abc import Mapping

from analysis.model import Event, EventKind
from analysis.points import POINTS, measure_of
from analysis.units import UnitError, to_inside
from drivers.base import Emission
from drivers.profile import Value
from drivers.setup import Setup


class Units:
    """The channel of each recorded value as it stands, in the order of the job."""

    def __init__(self, setup: Setup, values: Mapping[str, Value]) -> None:
        self._setup = setup
        self._values = values
        self.channels = {name: setup.channel(values[name]) for name in setup.channels}
        """By the name of the value."""
        self._misfit: dict[str, str] = {}
        self._read: set[str] = set()

    def follow(self, name: str, unit: str | None, time: int) -> list[Emission]:
        """A message shows a value in `unit`, None where it does not say it: what there is to tell before its reading.

        A unit of something else than the point's (a multimeter turned to ohms) changes no channel.
        """
        channel = self.channels[name]
        first, self._read = name not in self._read, self._read | {name}
        if unit is None or unit == channel.unit:
            return self._fits_again(name, time)
        text = POINTS[channel.point].text if channel.point in POINTS else channel.point
        try:
            to_inside(unit, measure_of(channel.point))
        except (UnitError, KeyError):
            if self._misfit.get(name) == unit:
                return []
            self._misfit[name] = unit
            what = f"{self._setup.name}: {text}: it shows {unit} now, which measures something else; set it back"
            return [Event(time, EventKind.PROBLEM, what, self._setup.name, {"unit": unit, "value": name})]
        new = self._setup.channel(self._values[name], unit)
        self.channels[name] = new
        self._misfit.pop(name, None)
        before = "" if first else f", before in {channel.unit}"
        data = {"from": channel.key, "to": new.key, "from_unit": channel.unit, "to_unit": new.unit}
        what = f"{self._setup.name}: {text} is shown in {unit} from now on{before}"
        return [new, Event(time, EventKind.UNIT_CHANGED, what, self._setup.name, data)]

    def fits(self, name: str) -> bool:
        """Whether the last number of a value measured what its point does."""
        return name not in self._misfit

    def _fits_again(self, name: str, time: int) -> list[Emission]:
        if (unit := self._misfit.pop(name, None)) is None:
            return []
        what = f"{self._setup.name}: shows {self.channels[name].unit} again, no longer {unit}"
        return [Event(time, EventKind.PROBLEM, what, self._setup.name, {"unit": self.channels[name].unit})]
