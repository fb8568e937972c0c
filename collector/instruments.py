"""From the job file's instruments to drivers."""

from collections.abc import Iterable
from pathlib import Path

from analysis.model import Channel
from collector.job import InstrumentSettings
from collector.practice import Practice
from collector.simulation_request import request_of
from drivers.base import Driver, InputError, Now
from drivers.replay import CsvSource, Replay
from drivers.serial_line import SerialLine
from drivers.simulate.papers import Papers

LIVE_PARTS = frozenset({"flame_current", "volts_line", "volts_line_neutral_ground", "amps_igniter"})
"""Points on circuits that may carry mains voltage."""

WIRED = ("serial", "modbus")
"""Drivers of instruments with a wire to this machine."""

AVAILABLE = ("serial", "manual", "replay", "simulate")
"""Drivers of this version."""


def build(instruments: Iterable[InstrumentSettings], now: Now, *, papers: Papers | None = None) -> list[Driver]:
    """A driver for each instrument of a job; InputError names the first that cannot be made and what it lacks.

    `papers` are what the job says about the unit, for one that is simulated.
    """
    drivers: list[Driver] = []
    taken: dict[str, str] = {}
    for settings in instruments:
        if (driver := _build(settings, now, papers)) is None:
            continue
        if settings.driver == "simulate" and any(isinstance(other, Practice) for other in drivers):
            raise InputError(f"instrument '{settings.name}' is a second simulated unit", "a call has one")
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
        if _needs_isolation(settings) and settings.isolated is not True
    ]


def instrument_facts(instruments: Iterable[InstrumentSettings]) -> dict[str, dict[str, object]]:
    """What the job says of each instrument on a wire, by its name: whether it is isolated, and whether it has to be."""
    return {
        settings.name: {"isolated": settings.isolated, "needs_isolation": _needs_isolation(settings)}
        for settings in instruments
        if settings.driver in WIRED
    }


def _needs_isolation(settings: InstrumentSettings) -> bool:
    return settings.driver in WIRED and bool(LIVE_PARTS.intersection(settings.channels.values()))


def elsewhere(instruments: Iterable[InstrumentSettings]) -> str:
    """A sentence on the instruments whose readings are in a recording already, nothing where there are none."""
    names = [settings.name for settings in instruments if settings.driver == "replay" and not settings.address]
    if not names:
        return ""
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f"nothing comes from {names[0]}{more}: the readings are in the recording that the job file belongs to"


def _build(settings: InstrumentSettings, now: Now, papers: Papers | None) -> Driver | None:
    if settings.driver == "serial":
        return _serial(settings, now)
    if settings.driver == "replay":  # without an address its readings are in the recording that the job belongs to
        return Replay(CsvSource(Path(settings.address))) if settings.address else None
    if settings.driver == "simulate":
        return _simulated(settings, now, papers)
    if settings.driver == "manual":
        return None  # typing in is always there
    if settings.driver is None:
        raise InputError(f"instrument '{settings.name}' has no driver", f"this version has {', '.join(AVAILABLE)}")
    what = f"instrument '{settings.name}': the driver '{settings.driver}' is not in this version"
    raise InputError(what, f"it has {', '.join(AVAILABLE)}")


def _simulated(settings: InstrumentSettings, now: Now, papers: Papers | None) -> Driver:
    """A simulated unit with the papers of the job, or a random one where the job says nothing."""
    from collector.simulation import live_driver  # noqa: PLC0415 - the physics is heavy to load, and few jobs are simulated

    if settings.channels or settings.units:
        what = f"instrument '{settings.name}' names channels, and a simulated unit brings its own"
        raise InputError(what, "leave channels and units out; its address chooses the meters: instruments=draft")
    try:
        return live_driver(request_of(settings.address or ""), papers, now)
    except InputError as error:
        raise InputError(f"instrument '{settings.name}': {error.what}", error.hint) from error


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
