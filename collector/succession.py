"""Channels of one meter that took each other's place when it showed another unit."""

from dataclasses import dataclass


@dataclass(slots=True)
class _Meter:
    standing: str


class Succession:
    """Which channel stands for each meter that changed its unit; at most one of a meter at a time."""

    def __init__(self) -> None:
        self._meters: dict[str, _Meter] = {}

    def change(self, before: str, after: str) -> None:
        """From now on the channel `after` stands where `before` did."""
        meter = self._meters.get(before) or self._meters.get(after) or _Meter(after)
        self._meters[before] = self._meters[after] = meter
        meter.standing = after

    def standing(self, channel: str) -> str:
        """The channel that stands for the meter of a channel; itself where that changed no unit."""
        meter = self._meters.get(channel)
        return meter.standing if meter else channel

    def left(self, channel: str) -> bool:
        """Whether another channel stands in its place."""
        return self.standing(channel) != channel
