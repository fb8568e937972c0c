"""Which profile fits what an instrument was heard to say."""

from collections.abc import Iterable
from dataclasses import replace

from collector.profiles import available, load
from drivers.base import InputError
from drivers.found import Found, Measured
from drivers.profile import Profile
from drivers.registry import KINDS

BY_THEMSELVES = ("line", "separated", "columns")
"""Formats of serial instruments that can be heard as text without asking."""


def with_profile(found: Found, profiles: Iterable[Profile]) -> Found:
    """The same with the profile that fits the line it was heard to say, and what it measured there, where one does."""
    heard = found.facts.get("heard")
    if found.driver != "serial" or not heard:
        return found
    best: tuple[int, Profile, tuple[Measured, ...]] | None = None
    for profile in profiles:
        if profile.driver != "serial" or profile.serial.format not in BY_THEMSELVES:
            continue
        measures = _measured(profile, heard.encode())
        if measures and (best is None or len(measures) > best[0]):
            best = len(measures), profile, measures
    if best is None:
        return replace(found, note=f"{found.note}; no profile fits it")
    _, profile, measures = best
    return replace(
        found, profile=profile.name, measures=measures, note=f"{found.note}; fits the profile {profile.name}"
    )


def known_profiles() -> list[Profile]:
    """Every profile that can be read, the user's own first."""
    read = []
    for path in available().values():
        try:
            read.append(load(path))
        except InputError:
            continue
    return read


def _measured(profile: Profile, line: bytes) -> tuple[Measured, ...]:
    """What a line says by a profile; nothing where it does not fit in full."""
    sample, reason = KINDS["serial"].decoder(profile).decode(line)
    if sample is None or reason:
        return ()
    units = {value.name: value.unit for value in profile.values}
    return tuple(
        Measured(name=name, unit=sample.units.get(name, units[name]), value=value)
        for name, value in sample.values.items()
    )
