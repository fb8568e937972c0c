"""Small recordings for tests, made as the recorder makes them."""

from collections.abc import Sequence
from pathlib import Path

from analysis.model import Channel, Event, EventKind, Reading
from collector.store import Store

SECOND = 1_000_000_000
T0 = 1_768_372_280 * SECOND
DRAFT = Channel("draft_switch", "draft meter", "inH2O")
VALVE = Channel("gas_valve", "contact logger", "1")
SWITCH = Channel("switch_closed", "contact logger", "1")
SUPPLY = Channel("temp_supply", "duct thermometer", "degF")

Rows = Sequence[tuple[Channel, float, float]]
"""Channel, time from the start [s], value [native unit]."""


def recorded(path: Path, rows: Rows, *events: Event, start: int = T0) -> Path:
    """A finished recording of these rows and events."""
    channels = list(dict.fromkeys(channel for channel, _, _ in rows))
    readings = [Reading(channel.key, start + round(time * SECOND), value) for channel, time, value in rows]
    with Store(path) as store:
        store.append([*channels, *readings, *events])
    return path


def event(kind: EventKind, seconds: float, text: str, /, *, start: int = T0, **data: object) -> Event:
    """An event so long after the start [s]."""
    return Event(start + round(seconds * SECOND), kind, text, None, data)


def ramp(channel: Channel, seconds: int, *, per_second: int = 1) -> list[tuple[Channel, float, float]]:
    """Readings that grow by one each."""
    return [(channel, place / per_second, float(place)) for place in range(seconds * per_second + 1)]
