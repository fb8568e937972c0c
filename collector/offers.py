"""What the page may offer for a new meter: ways to reach one, profiles, and the points that fit each value."""

from collections.abc import Mapping

from analysis.points import MEASURES, POINTS
from analysis.units import UnitError, to_inside
from collector.arguments import Answer
from collector.instruments import CAUTION, LINES_OF_MANY, LIVE_PARTS, WIRED
from collector.profiles import available, load
from drivers.base import InputError
from drivers.profile import Profile, Value
from drivers.registry import KINDS, Kind

TITLES = {
    "serial": "USB or serial port",
    "ble": "Bluetooth",
    "modbus": "Modbus, on a line or the network",
    "mqtt": "messages of a gateway (MQTT)",
}
"""How a meter is reached, in words; a way that is not here goes by its name."""

WITH_SECRET = ("ble", "mqtt")
"""Ways on which a meter may need a key or a password."""


def titles_of(kinds: Mapping[str, Kind]) -> dict[str, str]:
    """Each way in words."""
    return {name: TITLES.get(name, name) for name in kinds}


def offers(kinds: Mapping[str, Kind] = KINDS) -> Answer:
    """Ways, profiles and points; a profile that has mistakes is a sentence in `troubles`."""
    profiles: list[dict[str, object]] = []
    troubles: list[str] = []
    for path in available().values():
        try:
            profiles.append(_told(load(path)))
        except InputError as error:
            troubles.append(str(error))
    ways = [
        {
            "name": name,
            "title": title,
            "example": kinds[name].needs_address,
            "device": name == "modbus",
            "topic": name == "mqtt",
            "shared": name in LINES_OF_MANY,
            "secret": name in WITH_SECRET,
        }
        for name, title in titles_of(kinds).items()
    ]
    data = {
        "ways": ways,
        "profiles": profiles,
        "troubles": troubles,
        "caution": CAUTION,
        "live": sorted(LIVE_PARTS),
        "wired": list(WIRED),
    }
    return Answer("what there is", data)


def points_for(value: Value) -> list[str]:
    """Points that a value may be, by its unit."""
    units = [value.unit] if value.unit else [*dict.fromkeys(value.units.values())]
    return [name for name, point in POINTS.items() if any(_fits(unit, point.measure) for unit in units)]


def _fits(unit: str, measure: str) -> bool:
    try:
        to_inside(unit, MEASURES[measure])
    except UnitError:
        return False
    return True


def _told(profile: Profile) -> dict[str, object]:
    values = [
        {
            "name": value.name,
            "unit": value.unit or next(iter(value.units.values()), ""),
            "points": points_for(value),
            "accuracy": value.accuracy,
        }
        for value in profile.measures()
    ]
    return {"name": profile.name, "title": profile.title, "driver": profile.driver, "values": values}
