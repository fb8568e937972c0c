"""From the job file's instruments to drivers."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.points import measure_of
from analysis.units import to_inside
from collector.job import InstrumentSettings, JobError
from collector.job_values import accuracy, native_unit
from collector.practice import Practice
from collector.profiles import Profiles, named, secret_from
from collector.simulation_request import request_of
from drivers.base import Driver, InputError, Now, SettingsError
from drivers.found import Found
from drivers.profile import Profile, SerialSection, Value
from drivers.registry import KINDS, Kind
from drivers.replay import CsvSource, Replay
from drivers.setup import Setup, Shared
from drivers.simulate.papers import Papers

LIVE_PARTS = frozenset(
    {"flame_current", "volts_line", "volts_line_neutral_ground", "amps_igniter", "door_closed", "blower_on"}
)
"""Points on circuits that may carry mains voltage: door switch and blower's output are often on the line circuit."""

WIRED = ("serial", "modbus")
"""Drivers of instruments with a wire to this machine."""

AVAILABLE = (*KINDS, "manual", "replay", "simulate")
"""Drivers of this version."""

LINES_OF_MANY = ("modbus", "mqtt")
"""Drivers of which several instruments may share an address, each with a number or a topic of its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What instruments are made with, beside their own settings."""

    now: Now
    papers: Papers | None = None
    """What the job says about the unit, for one that is simulated."""
    profiles: Profiles = named
    secrets: Callable[[str, str], str] = secret_from
    """Secret from where it is kept, for an instrument."""
    shared: Shared


def build(
    instruments: Iterable[InstrumentSettings],
    now: Now,
    *,
    papers: Papers | None = None,
    profiles: Profiles = named,
    secrets: Callable[[str, str], str] = secret_from,
    shared: Shared | None = None,
) -> list[Driver]:
    """A driver for each instrument of a job; InputError names the first that cannot be made and what it lacks.

    `papers` are what the job says about the unit, for one that is simulated; `shared` is what the instruments have in
    common with others that run already.
    """
    around = Around(now=now, papers=papers, profiles=profiles, secrets=secrets, shared=shared or Shared())
    drivers: list[Driver] = []
    taken: dict[str, str] = {}
    wires: dict[str, InstrumentSettings] = {}
    for settings in instruments:
        if (driver := _build(settings, around)) is None:
            continue
        if settings.driver == "simulate" and any(isinstance(other, Practice) for other in drivers):
            raise InputError(f"instrument '{settings.name}' is a second simulated unit", "a call has one")
        first = taken.setdefault(place(settings), settings.name)
        if first != settings.name:
            what = f"instruments '{first}' and '{settings.name}' are both at {settings.address}"
            own = {"modbus": "its own number (device)", "mqtt": "its own topic"}
            raise InputError(what, f"give each {own.get(settings.driver or '', 'its own address')}")
        if settings.driver in WIRED and (other := wires.setdefault(settings.address or "", settings)):
            _refuse_two_kinds(other, settings)
            _refuse_two_settings(other, settings, profiles)
        drivers.append(driver)
    return drivers


CAUTION = (
    "a meter on the flame rod, igniter or line circuit that is not isolated puts this computer at mains voltage or"
    " shorts the control to ground"
)
"""What is said of every instrument on a wire and such a circuit, until it is said to be isolated."""


def cautions(instruments: Iterable[InstrumentSettings]) -> list[str]:
    """A sentence for each instrument on a wire that may put this machine at mains voltage."""
    return [
        f"{settings.name}: {CAUTION}; use an isolated one and say isolated = true"
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


def _refuse_two_kinds(first: InstrumentSettings, second: InstrumentSettings) -> None:
    """InputError where one port would be used in two ways."""
    if first.driver != second.driver:
        what = f"instruments '{first.name}' ({first.driver}) and '{second.name}' ({second.driver}) are both at"
        raise InputError(f"{what} {second.address}", "a port serves one kind; correct the address of one of the two")


def _refuse_two_settings(first: InstrumentSettings, second: InstrumentSettings, profiles: Profiles) -> None:
    """InputError where units on one Modbus line would be asked at two rates."""
    if second.driver != "modbus" or first is second:
        return
    from drivers.modbus import place_of  # noqa: PLC0415 - loaded where a job has such an instrument

    one, other = (place_of(it.name, it.address or "", _profile(it, profiles).modbus) for it in (first, second))
    if one != other:
        what = f"instruments '{first.name}' and '{second.name}' are both at {other}, at {one.settings} and at"
        raise InputError(f"{what} {other.settings}", "set both to the same, or give each a port of its own")


def place(settings: InstrumentSettings | Found) -> str:
    """Where an instrument is, so that two cannot be at one place."""
    if settings.driver in LINES_OF_MANY:
        alone = 1 if settings.driver == "modbus" else None  # the number that a server on a network is asked by
        return f"{settings.address} {alone if settings.device is None else settings.device} {settings.topic or ''}"
    address = settings.address or ""
    return f"{settings.driver} {address.upper() if settings.driver == 'ble' else address}"


def _build(settings: InstrumentSettings, around: Around) -> Driver | None:
    if kind := KINDS.get(settings.driver or ""):
        return _made(kind, setup_of(settings, around))
    if settings.driver == "replay":  # without an address its readings are in the recording that the job belongs to
        return Replay(CsvSource(Path(settings.address))) if settings.address else None
    if settings.driver == "simulate":
        return _simulated(settings, around.now, around.papers)
    if settings.driver == "manual":
        return None  # typing in is always there
    if settings.driver is None:
        raise InputError(f"instrument '{settings.name}' has no driver", f"this version has {', '.join(AVAILABLE)}")
    if settings.driver == "share":
        what = f"instrument '{settings.name}': its driver is 'share', and a call that another machine shares is "
        what += "a recording of its own, by its time"
        raise InputError(what, "say lightoff watch URL")
    what = f"instrument '{settings.name}': the driver '{settings.driver}' is not in this version"
    raise InputError(what, f"it has {', '.join(AVAILABLE)}")


def _made(kind: Kind, setup: Setup) -> Driver:
    """The driver; what it says against its settings is about the job."""
    try:
        return kind.make(setup)
    except SettingsError as error:
        what = error.what.removeprefix(f"{setup.name}: ")
        raise InputError(f"instrument '{setup.name}': {what}", error.hint) from error


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


def setup_of(settings: InstrumentSettings, around: Around) -> Setup:
    """What the driver of an instrument is made from; InputError names what it lacks."""
    driver = settings.driver or ""
    if not settings.address:
        example = KINDS[driver].needs_address
        raise InputError(f"instrument '{settings.name}' has no 'address'", f'write for example address = "{example}"')
    profile = _profile(settings, around.profiles)
    if profile.driver != driver:
        what = f"instrument '{settings.name}' has driver '{driver}', and its profile '{profile.name}' is for"
        raise InputError(f"{what} '{profile.driver}'", "correct one of the two")
    if not settings.channels:
        first = next((value.name for value in profile.measures()), "value")
        what = f"instrument '{settings.name}' has no channels"
        raise InputError(what, f'add channels = {{ {first} = "draft_collector" }}')
    _check_units(settings, profile)
    profile = replace(profile, values=tuple(_beginning(value, settings.channels) for value in profile.values))
    return Setup(
        name=settings.name,
        profile=profile,
        address=settings.address,
        channels=settings.channels,
        now=around.now,
        accuracy=settings.accuracy,
        response_time=settings.response_time,
        device=settings.device,
        topic=settings.topic or "",
        secret=around.secrets(settings.secret, settings.name) if settings.secret else None,
        shared=around.shared,
    )


def _check_units(settings: InstrumentSettings, profile: Profile) -> None:
    """InputError where a value is in no unit that its point can have; a dial may turn to others."""
    for value in profile.measures():
        if not (point := settings.channels.get(value.name)):
            continue
        units = tuple(dict.fromkeys(value.units.values())) if value.units else (value.unit,)
        if not any(_measures(unit, point) for unit in units):
            measure = measure_of(point).name.replace("_", " ")
            named = " or ".join(unit or "1" for unit in units)
            what = f"instrument '{settings.name}' has '{value.name}' in {named}, and '{point}' is a {measure}"
            raise InputError(what, "choose another point in channels, or correct the profile")
        if not reaches(value, point):
            what = f"instrument '{settings.name}': '{value.name}' is from {value.low:g} {value.unit} on"
            raise InputError(
                f"{what} and can never be at '{point}'", "leave it out of channels, or choose another point"
            )
        if value.accuracy and not settings.accuracy:
            try:
                accuracy(value.accuracy, point)
            except ValueError as error:
                what = f"instrument '{settings.name}': the accuracy of '{value.name}' does not fit '{point}' ({error})"
                raise InputError(what, "correct the profile, or give the instrument an accuracy") from error


def reaches(value: Value, point: str) -> bool:
    """Whether a value can be at a point at all: the pressure of the air around is no draft."""
    if value.low is None or not value.unit or not _measures(value.unit, point):
        return True
    measure = measure_of(point)
    scale, offset = to_inside(value.unit, measure)
    return value.low * scale + offset <= measure.plausible[1]


def _measures(unit: str, point: str) -> bool:
    try:
        native_unit(unit, point)
    except ValueError:
        return False
    return True


def _beginning(value: Value, channels: Mapping[str, str]) -> Value:
    """The value with the first of its units that fits its point as the first; limits are of the profile's first."""
    units, point = value.units, channels.get(value.name)
    fitting = next((name for name, unit in units.items() if point and _measures(unit, point)), None)
    if fitting is None or fitting == next(iter(units)):
        return value
    return replace(value, units={fitting: units[fitting], **units}, low=None, high=None)


def _named(settings: InstrumentSettings, profiles: Profiles) -> Profile:
    """The profile of that name; an error says for which instrument it was."""
    try:
        return profiles(settings.profile or "")
    except InputError as error:
        if isinstance(error, JobError) and error.mistakes:  # each with its line in the profile
            raise
        raise InputError(f"instrument '{settings.name}': {error.what}", error.hint) from error


def _profile(settings: InstrumentSettings, profiles: Profiles) -> Profile:
    """The profile that an instrument names, or one of what the job says itself of its lines."""
    if settings.profile:
        if settings.line or settings.units:
            what = f"instrument '{settings.name}' has a profile and says 'line' or 'units' too"
            raise InputError(what, "keep the profile, or what stands in the job")
        profile = _named(settings, profiles)
        if settings.baud and settings.driver == "serial":  # what the instrument is set to, where that can be chosen
            return replace(profile, serial=replace(profile.serial, baud=settings.baud))
        return profile
    if settings.driver != "serial":
        raise InputError(f"instrument '{settings.name}' has no 'profile'", "`lightoff scan` names one that fits")
    if not settings.line:
        what = f"instrument '{settings.name}' has no 'profile' and no 'line'"
        raise InputError(what, "the driver 'serial' needs one of them")
    for group in settings.channels:
        if group not in settings.units:
            what = f"instrument '{settings.name}' does not say the unit of '{group}'"
            raise InputError(what, f'add units = {{ {group} = "..." }}')
    return Profile(
        name=settings.name,
        driver="serial",
        values=tuple(Value(name=group, unit=settings.units[group]) for group in settings.channels),
        serial=SerialSection(baud=settings.baud or SerialSection().baud, pattern=settings.line),
    )
