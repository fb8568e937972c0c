"""The measures of an analysis for people: by what they are about, in words, few lines for many attempts."""

import math
from itertools import groupby

from analysis.measures.measured import Measured
from analysis.points import DERIVED, POINTS
from analysis.quantity import Quantity
from collector.analysis_layout import WIDTH, moment, wrapped
from collector.analysis_run import Analysis
from collector.analysis_units import in_units, labelled

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
    "switch": "Draft",
    "phase": "Times",
    "cycle": "Times",
    "ignition": "Times",
    "attempts": "Times",
    "changeover": "Change-over from the heat pump",
}
"""What a measure is about, by how its name begins."""
OTHER = "Other"
TOLD_ALREADY = ("phase.duration.", "phase.over_timing.")
"""Stand with the attempts and the checks; only every measure has them too."""
FEW = 3
"""So many values of one name stand each for itself; of more, the smallest and the largest. [1]"""
LABEL = 39
"""Room of a name. [characters]"""


def measured(analysis: Analysis, *, every: bool = False) -> list[str]:
    """The lines of the section; with `every`, each value for itself."""
    found: dict[str, list[Measured]] = {}
    for one in analysis.measures:
        if every or not one.name.startswith(TOLD_ALREADY):
            found.setdefault(_group(one.name), []).append(one)
    notes: dict[str, int] = {}
    rows: list[str] = []
    for title in [*dict.fromkeys(GROUPS.values()), OTHER]:
        if title in found:
            rows += [f"  {title}", *_rows(found[title], analysis, notes, every=every)]
    return rows + [line for note, number in notes.items() for line in wrapped(f"[{number}] {note}", 6, first=2)]


def label_of(name: str) -> str:
    """A measure's name in words: `collector box: hot, high`."""
    head, _, rest = name.partition(".")
    point = POINTS.get(head) or DERIVED.get(head)
    text = point.text if point else head.replace("_", " ")
    return f"{text}: {rest.replace('.', ', ').replace('_', ' ')}" if rest else text


def _group(name: str) -> str:
    return next((title for begin, title in GROUPS.items() if name.startswith(begin)), OTHER)


def _rows(measures: list[Measured], analysis: Analysis, notes: dict[str, int], *, every: bool) -> list[str]:
    place = {name: number for number, name in enumerate([*POINTS, *DERIVED])}
    listed = sorted(
        measures,
        key=lambda one: (place.get(one.name.partition(".")[0], len(place)), one.name, one.attempt or 0, one.start),
    )
    rows: list[str] = []
    for name, group in groupby(listed, key=lambda one: one.name):
        same = list(group)
        told = [_told(one, analysis, notes) for one in same]
        if len(same) > FEW and not every:
            told = _range(same, analysis, notes) or told
        label = label_of(name)
        room = min(LABEL, WIDTH - 6 - max(map(len, told)))
        if len(label) > room:
            rows.append(f"    {label}")
            label = ""
        for one in told:
            first, *more = wrapped(f"{label:<{room}}  {one}", LABEL + 8, first=4)
            rows += [first, *more]
            label = ""
    return rows


def _told(one: Measured, analysis: Analysis, notes: dict[str, int]) -> str:
    start = analysis.opened.start
    span = moment(one.start - start) + (f" to {moment(one.end - start)}" if one.end > one.start else "")
    quantity = _shown(one, analysis)
    return f"{_noted(quantity, notes):<28} {_attempt(one)}{span}"


def _range(same: list[Measured], analysis: Analysis, notes: dict[str, int]) -> list[str]:
    """The smallest and the largest of many; nothing where there are no two with a value."""
    good = [(quantity.value, one, quantity) for one in same if math.isfinite((quantity := _shown(one, analysis)).value)]
    if len(good) < 2:
        return []
    ends = (min(good, key=lambda each: each[0]), max(good, key=lambda each: each[0]))
    words = ("smallest", "largest")
    if str(ends[0][2]) == str(ends[1][2]):
        told = [f"{_noted(ends[0][2], notes):<28} in all {len(good)}"]
    else:
        told = [
            f"{_noted(quantity, notes):<28} {_attempt(one)}{word} of {len(good)}"
            for word, (_, one, quantity) in zip(words, ends, strict=True)
        ]
    if len(good) < len(same):
        told.append(f"{len(same) - len(good)} without a value")
    return told


def _shown(one: Measured, analysis: Analysis) -> Quantity:
    return labelled(one.name, in_units(one.name, one.quantity, analysis.units), analysis.units)


def _attempt(one: Measured) -> str:
    return f"no. {one.attempt}, " if one.attempt is not None else ""


def _noted(quantity: Quantity, notes: dict[str, int]) -> str:
    """The number, and that of the note that says why it is doubtful, or missing."""
    note = f" [{notes.setdefault(quantity.reason, len(notes) + 1)}]" if quantity.reason else ""
    return f"{quantity}{note}"
