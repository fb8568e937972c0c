"""Profiles: found by their name or path, read from TOML, every mistake told with its line."""

import os
import sys
from collections.abc import Callable
from dataclasses import fields
from importlib.resources import as_file, files
from pathlib import Path

from analysis.points import nearest
from collector import job_lines
from collector.job_lines import JobError, Mistake
from collector.job_values import shown
from collector.profile_checks import further
from collector.profile_sections import ProfileFile, ValueTable
from collector.sections import reason, validated
from drivers.base import InputError
from drivers.profile import BleSection, Example, ModbusSection, MqttSection, Profile, SerialSection, Value
from drivers.registry import KINDS

ENDING = ".toml"

Profiles = Callable[[str], Profile]
"""A profile by its name or path; JobError or InputError where it cannot be."""


def own_folder() -> Path:
    """Where the user's own profiles are looked for: `lightoff/profiles` in the folder for settings."""
    settings = os.environ.get("APPDATA") or os.environ.get("XDG_CONFIG_HOME") or "~/.config"
    return Path(settings).expanduser() / "lightoff" / "profiles"


def shipped() -> dict[str, Path]:
    """Profiles that come with the program, by name."""
    with as_file(files("drivers") / "profiles") as folder:
        return {path.stem: path for path in sorted(folder.glob(f"*{ENDING}"))}


def available() -> dict[str, Path]:
    """Profiles by name: the user's own, which stand in for shipped ones of the same name, and those."""
    mine = {path.stem: path for path in sorted(own_folder().glob(f"*{ENDING}"))}
    return {**shipped(), **mine}


def named(name: str, *, beside: Path | None = None) -> Profile:
    """Profile of a name, or of a path, which is taken from the folder `beside` where it is not absolute."""
    return load(place_of(name, beside=beside))


def place_of(name: str, *, beside: Path | None = None) -> Path:
    """Where the profile of a name or path is; InputError where there is none of that name."""
    known = available()
    if name in known:
        return known[name]
    if not name.endswith(ENDING):
        where = f"profiles come with the program or lie in {own_folder()}"
        raise InputError(f"there is no profile '{name}'{nearest(name, known)}", f"{where}; or give a path to one")
    return (beside or Path()) / Path(name).expanduser()


def load(path: Path) -> Profile:
    """Profile of a file; JobError when it cannot be read or has mistakes."""
    return parse(job_lines.read_text(path), path.name.removesuffix(ENDING))


def parse(text: str, name: str) -> Profile:
    """Profile of a text; JobError with every mistake in it."""
    profile, mistakes = examined(text, name)
    if profile is None:
        count = "1 mistake" if len(mistakes) == 1 else f"{len(mistakes)} mistakes, the first"
        raise JobError(f"profile {name} has {count}: {mistakes[0]}", where=f"{name}{ENDING}", mistakes=tuple(mistakes))
    return profile


def examined(text: str, name: str) -> tuple[Profile | None, list[Mistake]]:
    """The profile of a text, and every mistake in the order of its lines."""
    read = job_lines.read_tables(text)
    if isinstance(read, Mistake):
        return None, [read]
    tables, lines = read
    file, refusals = validated(ProfileFile, tables)
    found = [(refusal["loc"], reason(refusal, ProfileFile, "{ 'OL' = 'over_range' }")) for refusal in refusals]
    profile = None
    if file is not None:
        found += further(file, tables)
        profile = _profile(file, name)
        if not found:
            found += _decodable(profile)
    found.sort(key=lambda item: job_lines.line_of(lines, item[0]))
    mistakes = [Mistake(job_lines.line_of(lines, path), job_lines.shown_key(path), why) for path, why in found]
    return (None if mistakes else profile), mistakes


def _decodable(profile: Profile) -> list[tuple[job_lines.Path, str]]:
    """What its codec says against it."""
    if profile.driver not in KINDS:
        return [(("driver",), f"the driver '{profile.driver}' is not in this version; it has {', '.join(KINDS)}")]
    try:
        KINDS[profile.driver].decoder(profile)
    except ValueError as error:
        return [((profile.driver,), str(error))]
    return []


def _profile(file: ProfileFile, name: str) -> Profile:
    examples = tuple(
        Example(
            data=one.data if one.data is not None else (one.text or "").encode(),
            of=one.of,
            values=one.values,
            units=one.units,
            conditions=one.conditions,
            refused=one.refused,
        )
        for one in file.examples
    )
    return Profile(
        name=name,
        title=file.title or name,
        driver=file.driver,
        values=tuple(_value(one, file.driver) for one in file.values),
        silence=file.silence,
        warm_up=file.warm_up,
        serial=SerialSection(**dict(file.serial)),
        ble=BleSection(**dict(file.ble)),
        modbus=ModbusSection(**dict(file.modbus)),
        mqtt=MqttSection(**dict(file.mqtt)),
        examples=examples,
    )


def _value(table: ValueTable, driver: str) -> Value:
    given = {field.name: getattr(table, field.name) for field in fields(Value)}
    if given["order"] is None:  # a register's high byte comes first; most other instruments send the low one first
        given["order"] = "big" if driver == "modbus" else "little"
    return Value(**given)


def secret_from(place: str, instrument: str, *, beside: Path | None = None) -> str:
    """Password or key from where the job says that it is kept; InputError where it is not there.

    A path that is not absolute is taken from the folder `beside`.
    """
    return secret_of(place, f"instrument '{instrument}'", beside=beside)


def secret_of(place: str, whose: str, *, beside: Path | None = None, private: bool = False) -> str:
    """As `secret_from`, of whatever else has a secret; a file that others may read is refused where it is `private`."""
    kind, _, name = place.partition(":")
    if kind == "env":
        if not (found := os.environ.get(name, "").strip()):
            raise InputError(f"{whose}: the environment has no {name}", f"set {name} and start again")
        return found
    path = beside or Path()
    try:
        path = path / Path(name).expanduser()
        if private and sys.platform != "win32" and (path.stat().st_mode & 0o077 or path.stat().st_uid != os.getuid()):
            what = f"{whose}: {shown(name)} can be read by others than its owner, or is another's"
            raise InputError(what, f"say chmod 600 {name}")
        found = path.read_text(encoding="utf-8").strip()
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: a home that is not known
        why = getattr(error, "strerror", None) or ("it is not text" if isinstance(error, ValueError) else error)
        what = f"{whose}: its secret cannot be read from {shown(name)} ({why})"
        raise InputError(what, "check the path and who may read it") from error
    if not found:
        raise InputError(f"{whose}: {shown(name)} is empty", "write its secret into it")
    return found
