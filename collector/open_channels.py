"""The channels that are read now, each with what turns its native values into inside ones."""

from bisect import insort
from collections.abc import Iterable

from analysis.model import Channel, Event
from analysis.points import POINTS, nearest
from analysis.units import UnitError
from collector.normalize import Normalizer, Zeros
from drivers.base import SettingsError


class OpenChannels:
    """What is open; units and zeros of channels that were opened before are remembered."""

    def __init__(self, zeros: Zeros, recorded: Iterable[Channel]) -> None:
        self._zeros = {key: list(found) for key, found in zeros.items()}
        self._units = {channel.key: channel.unit for channel in recorded}
        self._open: dict[str, Normalizer] = {}

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Those that are open."""
        return tuple(normalizer.channel for normalizer in self._open.values())

    def get(self, key: str) -> Normalizer | None:
        """What normalizes a channel's values, None where it is not open."""
        return self._open.get(key)

    def __getitem__(self, key: str) -> Normalizer:
        return self._open[key]

    def point_of(self, key: str) -> str:
        """Point of a channel; the name itself of what is derived."""
        normalizer = self._open.get(key)
        return normalizer.channel.point if normalizer else key

    def open(self, channel: Channel) -> bool:
        """Open a channel; whether it is another one than is open. SettingsError for one that cannot be."""
        known = self._open.get(channel.key)
        if known is not None and known.channel == channel:
            return False
        self._open[channel.key] = self.normalizer(channel)
        self._units[channel.key] = channel.unit
        return True

    def close(self, key: str) -> None:
        """Nothing reads a channel any more."""
        self._open.pop(key, None)

    def normalizer(self, channel: Channel) -> Normalizer:
        """What would normalize its values; SettingsError for a point or unit that cannot be."""
        if (unit := self._units.get(channel.key, channel.unit)) != channel.unit:
            what = f"the recording has {channel.point} in {unit}, and it comes in {channel.unit} now"
            raise SettingsError(channel.instrument, what, "record to a new file, or name the instrument otherwise")
        if channel.point not in POINTS:
            raise SettingsError(channel.instrument, f"unknown point '{channel.point}'{nearest(channel.point)}")
        try:
            return Normalizer(channel, self._zeros.get(channel.key, ()))
        except UnitError as error:
            raise SettingsError(channel.instrument, str(error)) from error

    def zero(self, event: Event) -> None:
        """Take what a channel shows at nothing from the event that says so."""
        key, zero = str(event.data["channel"]), (event.time, float(str(event.data["offset"])))
        insort(self._zeros.setdefault(key, []), zero)  # for the channel that is opened anew
        if (normalizer := self._open.get(key)) is not None:
            normalizer.zero(*zero)
