"""The measures of an analysis for people: by what they are about, each name once, a line for each span."""

from collections.abc import Iterator
from itertools import groupby

from analysis.points import DERIVED, POINTS
from collector.analysis_layout import moment
from collector.analysis_parts import Measured
from collector.analysis_run import Analysis
from collector.analysis_units import in_units

GROUPS: dict[str, str] = {
    "draft": "Draft",
    "gas": "Gas",
    "flame_current": "Flame",
    "temp": "Air temperatures",
    "static": "Air side",
    "humidity": "Humidity",
    "dew_point": "Humidity",
    "flue": "Combustion",
    "room_co": "Room CO",
    "volts": "Electrical",
    "amps": "Electrical",
    "speed": "Electrical",
}
"""What a measure is about, by how its name begins."""
OTHER = "Other"


def measured(analysis: Analysis) -> list[str]:
    """The lines of the section."""
    found: dict[str, list[Measured]] = {}
    for one in analysis.measures:
        found.setdefault(_group(one.name), []).append(one)
    width = max((len(one.name) for one in analysis.measures), default=0)
    rows: list[str] = []
    for title in [*dict.fromkeys(GROUPS.values()), OTHER]:
        if title in found:
            rows += [f"  {title}", *_rows(found[title], analysis, min(width, 42))]
    return rows


def _group(name: str) -> str:
    return next((title for begin, title in GROUPS.items() if name.startswith(begin)), OTHER)


def _rows(measures: list[Measured], analysis: Analysis, width: int) -> Iterator[str]:
    order = [*POINTS, *DERIVED]
    place = {name: number for number, name in enumerate(order)}
    listed = sorted(
        measures,
        key=lambda one: (place.get(one.name.partition(".")[0], len(order)), one.name, one.attempt or 0, one.start),
    )
    for name, group in groupby(listed, key=lambda one: one.name):
        label = name
        for one in group:
            yield f"    {label:<{width}}  {_told(one, analysis)}".rstrip()
            label = ""


def _told(one: Measured, analysis: Analysis) -> str:
    start = analysis.opened.start
    quantity = in_units(one.name, one.quantity, analysis.units)
    attempt = f"attempt {one.attempt}, " if one.attempt is not None else ""
    span = (
        f"{moment(one.start - start)} to {moment(one.end - start)}"
        if one.end > one.start
        else moment(one.start - start)
    )
    doubt = f"; {quantity.reason}" if quantity.reason else ""
    return f"{quantity!s:<24} {attempt}{span}{doubt}"
