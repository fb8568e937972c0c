"""The job file: what the technician knows of the job, read from TOML into inside units; every key is optional."""

import math
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from analysis.model import Baseline, Plate, Timing
from analysis.points import DERIVED, POINTS
from collector import job_lines
from collector.job_lines import JobError, Mistake
from collector.job_sections import (
    ArchiveSettings,
    File,
    FurnaceSettings,
    HeatPumpSettings,
    HumidifierSettings,
    InstrumentSettings,
    LimitSettings,
    ShareSettings,
    SiteSettings,
    TimingSettings,
    UnitSettings,
)
from collector.job_values import shown
from collector.sections import Refusal, reason, validated

__all__ = ["InstrumentSettings", "Job", "JobError", "LimitSettings", "Mistake", "check", "load", "parse"]

MAX_MISTAKES = 200
"""Mistakes told of one file; further ones are counted in one last mistake."""


@dataclass(frozen=True, slots=True)
class Job:
    """A job file without a mistake, every number in its inside unit; empty where the file says nothing."""

    text: str
    """As it was read."""
    name: str
    """Of the file."""
    plate: Plate
    baseline: Baseline
    timing: Timing
    site: SiteSettings
    unit: UnitSettings
    furnace: FurnaceSettings
    heat_pump: HeatPumpSettings
    humidifier: HumidifierSettings
    instruments: tuple[InstrumentSettings, ...]
    limits: tuple[LimitSettings, ...]
    share: ShareSettings
    archive: ArchiveSettings

    @property
    def stated_timing(self) -> Timing | None:
        """The timing as far as the file states it: NaN, and no trials, where it does not; None where it states none."""
        stated = self.furnace.timing.model_dump(exclude_unset=True)
        nothing: dict[str, Any] = dict.fromkeys(TimingSettings.model_fields, math.nan) | {"trials": 0}
        return Timing(**(nothing | stated)) if stated else None

    @property
    def altitude(self) -> float | None:
        """Of the site. [m]"""
        return self.site.altitude


def load(path: Path) -> Job:
    """Job of a file; JobError when it cannot be read or has mistakes."""
    return parse(job_lines.read_text(path), path.name)


def parse(text: str, name: str = "job") -> Job:
    """Job of a text; JobError with every mistake in it, `name` says what the text is."""
    file, mistakes = _examined(text)
    if file is None:
        count = "1 mistake" if len(mistakes) == 1 else f"{len(mistakes)} mistakes, the first"
        raise JobError(f"{name} has {count}: {mistakes[0]}", where=name, mistakes=tuple(mistakes))
    plate = Plate(**{field.name: getattr(file.furnace, field.name) for field in fields(Plate)})
    baseline, timing = Baseline(**dict(file.furnace.baseline)), Timing(**dict(file.furnace.timing))
    return Job(text, name, plate, baseline, timing, **dict(file))


def check(text: str) -> list[Mistake]:
    """Every mistake in the text of a job file, in the order of its lines; empty when there is none."""
    return _examined(text)[1]


def _examined(text: str) -> tuple[File | None, list[Mistake]]:
    read = job_lines.read_tables(text)
    if isinstance(read, Mistake):
        return None, [read]
    tables, lines = read
    found: list[tuple[job_lines.Path, str | Refusal]] = [*_named(tables)]
    file, refusals = validated(File, tables)
    found += [(refusal["loc"], refusal) for refusal in refusals]
    found.sort(key=lambda item: job_lines.line_of(lines, item[0]))
    mistakes = [
        Mistake(
            job_lines.line_of(lines, path),
            job_lines.shown_key(path),
            why if isinstance(why, str) else reason(why, File),
        )
        for path, why in found[:MAX_MISTAKES]
    ]
    if len(found) > MAX_MISTAKES:
        mistakes.append(Mistake(0, "", f"{len(found) - MAX_MISTAKES} further mistakes are not listed"))
    return (None if mistakes else file), mistakes


def _named(tables: dict[str, Any]) -> list[tuple[job_lines.Path, str]]:
    """Give every instrument and limit a name, and find those whose name is taken."""
    found: list[tuple[job_lines.Path, str]] = []
    for section in job_lines.ARRAYS:
        taken: dict[str, int] = {}
        entries = tables.get(section)
        for index, entry in enumerate(entries if isinstance(entries, list) else ()):
            if not isinstance(entry, dict):
                continue
            side = next((key for key in ("above", "below") if key in entry), None)
            name = f"{section} {index + 1}"
            if section == "limit" and side and entry.get("point") in [*POINTS, *DERIVED]:
                name = f"{entry['point']} {side} {shown(entry[side]).strip(chr(39))}"
            name = entry.setdefault("name", name)
            if isinstance(name, str) and taken.setdefault(name.strip(), index) != index:
                why = f"{shown(name)} is already the name of {section} {taken[name.strip()] + 1}; give it another"
                found.append(((section, index, "name"), why))
    return found
