"""What a search found as lines for the job file: with the points that fit, and nothing that is only guessed."""

import json
import math
from collections.abc import Iterable, Mapping, Sequence

from analysis.model import origin_of
from analysis.points import MEASURES, POINTS
from analysis.units import UnitError, to_inside
from collector.instruments import LIVE_PARTS, WIRED, reaches
from collector.profiles import Profiles, named
from drivers.base import LightoffError
from drivers.found import Found

NAMED = {"serial": "meter on a cable", "ble": "Bluetooth meter", "modbus": "Modbus meter", "mqtt": "gateway"}
"""What an instrument is called that does not say its name."""

CHOOSE = "..."
"""Stands where only its owner can know; the job file refuses it."""

_ISOLATED = "only where its papers say so; on rod, igniter or line one that is not puts this computer at mains voltage"
_UNKNOWN = "no shipped one is known to fit; docs/profiles.md shows how to write one"


def points_for(unit: str) -> list[str]:
    """Points that a value of this unit may be: of the measures it can be turned into, those of its own size."""
    sizes: dict[str, float] = {}
    for point in POINTS.values():
        measure = MEASURES[point.measure]
        try:
            scale, trade = to_inside(unit or "1", measure).scale, to_inside(measure.trade, measure).scale
        except UnitError:
            continue
        sizes[point.name] = abs(math.log10(abs(scale / trade)))
    nearest = min(sizes.values(), default=0.0)
    return [name for name, size in sizes.items() if size < nearest + 0.01]


def entries(found: Iterable[Found], *, profiles: Profiles = named) -> list[str]:
    """Lines of an [[instrument]] for each; a channel stands there where one point alone fits, else as a choice."""
    taken: set[str] = set()
    return [_entry(one, _name(one, taken), _fitting(one, profiles)) for one in found]


def clean(text: str, *, longest: int = 80) -> str:
    """Text from outside on one line, without anything that a terminal would obey."""
    return "".join(character if character.isprintable() else "?" for character in text)[:longest].strip()


def _entry(found: Found, name: str, fitting: Mapping[str, Sequence[str]]) -> str:
    lines = ["[[instrument]]", f"name = {_quoted(name)}", f'driver = "{found.driver}"']
    if found.profile:
        lines.append(f"profile = {_quoted(found.profile)}")
    else:
        lines.append(f'# profile = "{CHOOSE}"   # {_UNKNOWN}')
    lines.append(f"address = {_quoted(found.address)}")
    if found.device is not None:
        lines.append(f"device = {found.device}")
    if found.topic:
        lines.append(f"topic = {_quoted(found.topic)}")
    if found.driver in WIRED and any(LIVE_PARTS.intersection(points) for points in fitting.values()):
        lines.append(f"# isolated = true   # {_ISOLATED}")
    return "\n".join([*lines, "[instrument.channels]", *_channels(fitting)]) + "\n"


def _channels(fitting: Mapping[str, Sequence[str]]) -> list[str]:
    if not fitting:
        return [f'# value = "{CHOOSE}"   # a value of its profile, and the point where it measures']
    lines, given = [], set[str]()
    for value, points in fitting.items():
        if len(points) == 1 and points[0] not in given:
            given.add(points[0])
            lines.append(f'{value} = "{points[0]}"')
        elif points:
            lines.append(f'# {value} = "{CHOOSE}"   # remove the # and choose: {", ".join(points)}')
        else:
            lines.append(f"# {value}: no point measures this")
    return lines


def _fitting(found: Found, profiles: Profiles) -> dict[str, list[str]]:
    """Points that each value of its profile may be, in the units that it said or else in the profile's."""
    try:
        values = profiles(found.profile).measures() if found.profile else ()
    except LightoffError:
        values = ()
    said = {one.name: one.unit for one in found.measures}
    fitting: dict[str, list[str]] = {}
    for value in values:
        if said and value.name not in said:
            continue
        own = (value.unit,) if value.unit else tuple(value.units.values())
        units = (said[value.name],) if said else own
        points = dict.fromkeys(point for unit in units for point in points_for(unit))
        fitting[value.name] = [point for point in points if reaches(value, point)]
    return fitting


def _name(found: Found, taken: set[str]) -> str:
    name = clean(found.name)
    if not name or origin_of(name):
        name = NAMED.get(found.driver, found.driver)
    number, wanted = 1, name
    while name in taken:
        number += 1
        name = f"{wanted} {number}"
    taken.add(name)
    return name


def _quoted(text: str) -> str:
    """As a basic string of TOML, which those of JSON are, but for the character DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
