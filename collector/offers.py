"""What the page may offer for a new meter: ways to reach one, profiles, and the points that fit each value."""

from collections.abc import Mapping
from pathlib import Path

from analysis.points import MEASURES, POINTS
from analysis.units import UnitError, to_inside
from collector.arguments import Answer
from collector.instruments import CAUTION, LINES_OF_MANY, LIVE_PARTS, WIRED, reaches
from collector.job_sections import BAUD_RATES
from collector.profiles import ENDING, available, load
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

MOST = 100
"""Files of the job's folder that are looked at. [1]"""

WITH_SECRET = ("ble", "mqtt")
"""Ways on which a meter may need a key or a password."""


def titles_of(kinds: Mapping[str, Kind]) -> dict[str, str]:
    """Each way in words."""
    return {name: TITLES.get(name, name) for name in kinds}


def offers(kinds: Mapping[str, Kind] = KINDS, *, beside: Path | None = None) -> Answer:
    """Ways, profiles and points; a profile that has mistakes is a sentence in `troubles`.

    Of the files in the folder `beside` those that are profiles are offered too, as files.
    """
    profiles: list[dict[str, object]] = []
    troubles: list[str] = []
    for path in available().values():
        try:
            profiles.append(_told(load(path)))
        except InputError as error:
            troubles.append(str(error))
    profiles += _profiles_in(beside) if beside else []
    ways = [
        {
            "name": name,
            "title": title,
            "example": kinds[name].needs_address,
            "device": name == "modbus",
            "topic": name == "mqtt",
            "shared": name in LINES_OF_MANY,
            "secret": name in WITH_SECRET,
            "bauds": [str(baud) for baud in BAUD_RATES] if name == "serial" else [],
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
    """Points that a value may be, by its unit and range."""
    units = [value.unit] if value.unit else [*dict.fromkeys(value.units.values())]
    fitting = [name for name, point in POINTS.items() if any(_fits(unit, point.measure) for unit in units)]
    return [name for name in fitting if reaches(value, name)]


def _fits(unit: str, measure: str) -> bool:
    try:
        to_inside(unit, MEASURES[measure])
    except UnitError:
        return False
    return True


def _profiles_in(folder: Path) -> list[dict[str, object]]:
    """Profiles among the files of a folder; what is none, as the job file itself, is left out."""
    found: list[dict[str, object]] = []
    for path in sorted(folder.glob(f"*{ENDING}"))[:MOST]:
        try:
            told = _told(load(path))
        except InputError:
            continue
        found.append({**told, "name": path.name, "title": f"{told['title']} ({path.name})"})
    return found


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
    told = {"name": profile.name, "title": profile.title, "driver": profile.driver, "values": values}
    return {**told, "baud": str(profile.serial.baud) if profile.driver == "serial" else ""}
