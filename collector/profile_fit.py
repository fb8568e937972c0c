"""Which profile fits a line of text that a serial port said; tried on the profiles that there are."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TypeAlias

from collector.job_lines import JobError
from collector.profile_report import Said, said_of
from collector.profiles import available, load
from drivers.found import Found, Measured
from drivers.profile import Profile
from drivers.registry import KINDS

HEARD = "heard"
"""Fact of a find: a line that came whole."""

READABLE = ("line", "separated", "columns")
"""Formats of which a line alone can be read."""

Fit: TypeAlias = Callable[[Found], Found]


class Fitting:
    """Tries profiles, the user's own and shipped ones; they are read when the first line is heard."""

    def __init__(self, profiles: Callable[[], Sequence[Profile]] | None = None) -> None:
        self._read = profiles or readable

    def __call__(self, found: Found) -> Found:
        """The find with the one profile that reads all of what was heard, and its values; several are named."""
        heard = found.facts.get(HEARD)
        if found.driver != "serial" or found.profile or not heard:
            return found
        fitting = [(profile, said) for profile in self._profiles if (said := _read(profile, heard))]
        if len(fitting) == 1:
            profile, said = fitting[0]
            return replace(found, profile=profile.name, measures=found.measures or _measures(profile, said))
        if fitting:
            names = ", ".join(profile.name for profile, _ in fitting)
            return replace(found, note=f"{found.note}; the profiles {names} fit".removeprefix("; "))
        return found

    @cached_property
    def _profiles(self) -> Sequence[Profile]:
        return self._read()


def readable() -> list[Profile]:
    """Profiles without a mistake whose lines can be read one by one."""
    found = []
    for path in available().values():
        try:
            profile = load(path)
        except JobError:
            continue
        if profile.driver == "serial" and profile.serial.format in READABLE:
            found.append(profile)
    return found


def _read(profile: Profile, heard: str) -> Said | None:
    said = said_of(profile, KINDS["serial"].decoder(profile), heard.encode())
    return said if said.values and not said.reason else None


def _measures(profile: Profile, said: Said) -> tuple[Measured, ...]:
    return tuple(
        Measured(
            name=value.name,
            unit=said.units.get(value.name, value.unit),
            value=number if math.isfinite(number) else None,
        )
        for value in profile.measures()
        if (number := said.values.get(value.name)) is not None
    )
