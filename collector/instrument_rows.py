"""What is told of each instrument: its state as its supervisor sees it, what came of it, and what it says of itself."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from analysis.model import Channel, origin_of
from collector.collector import Collector
from collector.losses import losses
from collector.supervisor import State, Supervisor

Row = Mapping[str, object]


def instrument_rows(collector: Collector, stated: Mapping[str, Row]) -> list[Row]:
    """One row an instrument, with what the job says of it by its name; those of a replay share its state."""
    rows: list[Row] = []
    names = [one.driver.name for one in collector.supervisors]
    for supervisor in collector.supervisors:
        if supervisor.status.state is State.REMOVED and names.count(supervisor.driver.name) > 1:
            continue  # it is changed: the one that takes its place is shown
        by_name: dict[str, list[Channel]] = {}
        for channel in supervisor.channels.values():
            by_name.setdefault(_meter_of(channel, supervisor.status.name), []).append(channel)
        for name, channels in (by_name or {supervisor.status.name: []}).items():
            rows.append({**_row(collector, supervisor, name, channels), **stated.get(name, {})})
    return rows


def losses_told(collector: Collector) -> list[str]:
    """A sentence for each instrument that lost something, or of which something could not be read."""
    found = [(one.status, losses(one.status, _asked(one.driver, "statistics"))) for one in collector.supervisors]
    return [f"{status.name}: {', '.join(said)}" for status, said in found if said]


def _meter_of(channel: Channel, driver: str) -> str:
    """The instrument's name without the unit that it shows now, where it began with another."""
    return driver if channel.instrument == f"{driver} ({channel.unit})" else channel.instrument


def _row(collector: Collector, supervisor: Supervisor, name: str, channels: list[Channel]) -> dict[str, object]:
    status, arrivals, driver = supervisor.status, collector.arrivals, supervisor.driver
    origin = origin_of(name) or origin_of(status.name)
    standing = {one.key: one for one in channels if not collector.succession.left(one.key)}
    ages = [age for one in channels if (age := collector.age(one.key)) is not None]
    latency = supervisor.latency.told(collector.now()) if origin is None else None
    return {
        "name": name,
        "origin": origin,
        "state": status.state,
        "since": status.since,
        "text": status.text,
        "next_try": status.next_try,
        "readings": sum(arrivals[one.key].count for one in channels),
        "age": min(ages, default=None),
        "rate": sum(arrivals[key].rate for key in standing),
        "latency": latency._asdict() if latency else None,
        "channels": list(standing),
        "zeros": {key: f"{zero:g} {one.unit}" for key, one in standing.items() if (zero := collector.zeros(key))},
        "zeroed": {key: since for key in standing if (since := collector.zeroed_since(key))},
        "accuracy": {key: one.accuracy for key, one in standing.items() if one.accuracy},
        "response_time": {key: one.response_time for key, one in standing.items() if one.response_time is not None},
        "facts": dict(_asked(driver, "facts")),
        "losses": losses(status, _asked(driver, "statistics")),
        "last_error": asdict(status.last_error) if status.last_error else None,
        "errors": status.errors,
        "lost_since": status.lost_since,
        "isolated": None,
        "needs_isolation": False,
    }


def _asked(driver: object, what: str) -> Mapping[str, Any]:
    """What a driver says of itself, where it is one that does."""
    ask = getattr(driver, what, None)
    return ask() if callable(ask) else {}
