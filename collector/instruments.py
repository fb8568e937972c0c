"""From the job file's instruments to drivers."""

from collections.abc import Iterable
from pathlib import Path

from analysis.model import Channel
from collector.job import InstrumentSettings
from drivers.base import Driver, InputError, Now
from drivers.replay import CsvSource, Replay
from drivers.serial_line import SerialLine

LIVE_PARTS = frozenset({"flame_current", "volts_line", "volts_line_neutral_ground", "amps_igniter"})
"""Points on circuits that may carry mains voltage."""

AVAILABLE = ("serial", "manual", "replay")
"""Drivers of this version."""


def build(instruments: Iterable[InstrumentSettings], now: Now) -> list[Driver]:
    """A driver for each instrument of a job; InputError names the first that cannot be made and what it lacks."""
    drivers: list[Driver] = []
    taken: dict[str, str] = {}
    for settings in instruments:
        if (driver := _build(settings, now)) is None:
            continue
        first = taken.setdefault(f"{settings.driver} {settings.address}", settings.name)
        if first != settings.name:
            what = f"instruments '{first}' and '{settings.name}' are both at {settings.address}"
            raise InputError(what, "a port has one instrument; give each its own address")
        drivers.append(driver)
    return drivers


def cautions(instruments: Iterable[InstrumentSettings]) -> list[str]:
    """A sentence for each instrument on a wire that may put this machine at mains voltage."""
    return [
        f"{settings.name}: a meter on the flame rod, igniter or line circuit that is not isolated puts this computer at"
        " mains voltage or shorts the control to ground; use an isolated one and say isolated = true"
        for settings in instruments
        if settings.driver in ("serial", "modbus")
        and settings.isolated is not True
        and LIVE_PARTS.intersection(settings.channels.values())
    ]


def _build(settings: InstrumentSettings, now: Now) -> Driver | None:
    if settings.driver == "serial":
        return _serial(settings, now)
    if settings.driver == "replay":
        return Replay(CsvSource(Path(_needed(settings, "address"))))
    if settings.driver == "manual":
        return None  # typing in is always there
    if settings.driver is None:
        raise InputError(f"instrument '{settings.name}' has no driver", f"this version has {', '.join(AVAILABLE)}")
    what = f"instrument '{settings.name}': the driver '{settings.driver}' is not in this version"
    raise InputError(what, f"it has {', '.join(AVAILABLE)}")


def _serial(settings: InstrumentSettings, now: Now) -> SerialLine:
    for group in settings.channels:
        if group not in settings.units:
            what = f"instrument '{settings.name}' does not say the unit of '{group}'"
            raise InputError(what, f'add units = {{ {group} = "..." }}')
    if not settings.channels:
        what = f"instrument '{settings.name}' has no channels"
        raise InputError(what, 'add channels = { value = "draft_collector" }')
    channels = {
        group: Channel(
            point,
            settings.name,
            settings.units[group],
            accuracy=settings.accuracy,
            response_time=settings.response_time,
        )
        for group, point in settings.channels.items()
    }
    return SerialLine(
        settings.name,
        port=_needed(settings, "address"),
        baud=settings.baud or 9600,
        pattern=_needed(settings, "line"),
        channels=channels,
        now=now,
    )


def _needed(settings: InstrumentSettings, key: str) -> str:
    value = getattr(settings, key)
    if not value:
        raise InputError(f"instrument '{settings.name}' has no '{key}'", f"the driver '{settings.driver}' needs it")
    return str(value)
