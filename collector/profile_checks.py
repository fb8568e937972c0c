"""What a profile's keys have to do with each other, beyond what each of them says."""

from collections.abc import Mapping
from typing import Any

from collector.job_values import shown
from collector.profile_sections import DRIVERS, ProfileFile, ValueTable
from collector.profile_values import path
from collector.serial_checks import Found, serial
from drivers.codecs.characteristics import full_uuid
from drivers.profile import Role

_COMMON = frozenset(
    "name role unit units unit_from accuracy response_time low high scale offset missing over_range words states bits"
    " about counter_bits counter_last".split()
)
_BYTES = frozenset({"at", "type", "order"})
_PLACES: Mapping[tuple[str, str], frozenset[str]] = {
    ("serial", "line"): frozenset({"group"}),
    ("serial", "separated"): frozenset({"field"}),
    ("serial", "columns"): frozenset({"columns"}),
    ("serial", "query"): frozenset({"query", "field", "group"}),
    ("serial", "frame"): _BYTES,
    ("ble", "characteristics"): _BYTES | {"characteristic", "every"},
    ("ble", "environmental"): frozenset({"every"}),
    ("ble", "bthome"): frozenset(),
    ("modbus", ""): frozenset({"register", "table", "type", "word_order", "order"}),
    ("mqtt", ""): frozenset({"topic", "path"}),
}
"""Keys that say where a value stands, by driver and format."""
_UNITS_BY_NAME = frozenset({("serial", "frame"), ("ble", "characteristics"), ("modbus", "")})
"""Where the unit of a value is the number of another one."""
_UNITS_FIXED = frozenset({("ble", "environmental"), ("ble", "bthome")})
"""Where it is in the standard."""
_NEEDED: Mapping[tuple[str, str], tuple[str, ...]] = {
    ("serial", "separated"): ("field",),
    ("serial", "columns"): ("columns",),
    ("serial", "query"): ("query",),
    ("serial", "frame"): ("at", "type"),
    ("ble", "characteristics"): ("characteristic", "type"),
    ("modbus", ""): ("register",),
}


def further(file: ProfileFile, tables: Mapping[str, Any]) -> Found:
    """Mistakes of a file whose keys are right each by itself."""
    way = (file.driver, getattr(getattr(file, file.driver), "format", ""))
    found: Found = [
        ((section,), f"'driver' is '{file.driver}', so this section is never read; remove it")
        for section in DRIVERS
        if section in tables and section != file.driver
    ]
    if not file.values:
        found.append((("value",), "expected a [[value]] for each value that the instrument gives"))
    if file.driver == "mqtt":
        found += _mqtt(file)
    if file.driver == "serial":
        found += serial(file, tables)
    names: dict[str, int] = {}
    measured = {value.name for value in file.values if value.role is Role.MEASURE}
    units_from = {value.unit_from for value in file.values}
    for index, value in enumerate(file.values):
        given = tables["value"][index]
        found += [(("value", index, *key), why) for key, why in _value(value, given, way, units_from)]
        found += [
            (("value", index, "about"), f"there is no value {shown(name)} that is measured")
            for name in value.about
            if name not in measured
        ]
        if names.setdefault(value.name, index) != index:
            what = f"{shown(value.name)} is already the name of value {names[value.name] + 1}; give it another"
            found.append((("value", index, "name"), what))
    found += _units(file, way)
    found += _examples(file)
    return found


def _value(
    value: ValueTable, given: Mapping[str, Any], way: tuple[str, str], units_from: set[str | None]
) -> list[tuple[tuple[str, ...], str]]:
    found: list[tuple[tuple[str, ...], str]] = []
    words = " ".join(part for part in way if part)
    for key in given:
        if key not in _COMMON | _PLACES[way]:
            places = ", ".join(sorted(_PLACES[way])) or "none"
            found.append(((key,), f"says nothing in a {words} profile; a value's place is given there by: {places}"))
    missing = (key for key in _NEEDED.get(way, ()) if key not in given)
    found += [((), f"'{key}' is needed in a {words} profile and missing") for key in missing]
    if value.role is Role.MEASURE and not value.unit and not value.units and "unit" not in given:
        found.append(((), "'unit' is missing; write for example unit = 'inH2O', or '1' for a contact"))
    if value.role is Role.STATUS and not value.bits and not value.words and value.name not in units_from:
        found.append(((), "a status needs 'bits' or 'words' that say what it means"))
    if value.about and value.role is not Role.STATUS:
        found.append((("about",), "says nothing here: only a status is about other values"))
    if value.role is Role.BATTERY and value.unit != "%":
        found.append((("unit",) if "unit" in given else (), "a battery is a charge in per cent; write unit = '%'"))
    if value.units and not value.unit_from:
        found.append((("units",), "'unit_from' is missing: where does the message say the unit?"))
    if value.unit_from and not value.units:
        found.append((("unit_from",), "'units' is missing: which unit is what the message says?"))
    if value.counter_last is not None and "counter_bits" in given:
        found.append((("counter_last",), "'counter_bits' is given too; keep one of the two"))
    if value.low is not None and value.high is not None and value.low >= value.high:
        found.append((("high",), "is not above 'low'"))
    return found


def _units(file: ProfileFile, way: tuple[str, str]) -> Found:
    """Units that would be looked for where none are, so that their values would be taken for those of another."""
    words = " ".join(part for part in way if part)
    others = {value.name: value for value in file.values}
    found: Found = []
    for index, value in enumerate(file.values):
        if value.unit_from is None:
            continue
        other = others.get(value.unit_from)
        what = ""
        if way in _UNITS_FIXED:
            what = f"says nothing in a {words} profile: its standard says the units; give 'unit'"
        elif way in _UNITS_BY_NAME and (other is None or other is value):
            what = f"there is no other value {shown(value.unit_from)}; name the value that says the unit"
        elif other and way == ("ble", "characteristics") and _uuid(other) != _uuid(value):
            what = f"{shown(other.name)} is in another characteristic, and so in another message; give a fixed 'unit'"
        if what:
            found.append((("value", index, "unit_from"), what))
    return found


def _uuid(value: ValueTable) -> str:
    return full_uuid(value.characteristic or "")


def _mqtt(file: ProfileFile) -> Found:
    found: Found = []
    section = file.mqtt
    if (section.time_path is None) != (section.old_after is None):
        given, missing = ("old_after", "time_path") if section.time_path is None else ("time_path", "old_after")
        found.append((("mqtt", given), f"says nothing without '{missing}'; give both or none"))
    for index, value in enumerate(file.values):
        if value.unit_from is None:
            continue
        place = ("value", index, "unit_from")
        if value.path is None:
            found.append((place, "needs a 'path': a message that is only a number says no unit"))
            continue
        try:
            path(value.unit_from)
        except ValueError as error:
            found.append((place, str(error)))
    return found


def _examples(file: ProfileFile) -> Found:
    known = {value.name for value in file.values}
    found: Found = []
    for index, example in enumerate(file.examples):
        if (example.text is None) == (example.data is None):
            found.append((("example", index), "expected exactly one of 'text' and 'hex'"))
        if known:
            found += [
                (("example", index, key, name), f"there is no value {shown(name)}")
                for key, names in (("values", example.values), ("units", example.units))
                for name in names
                if name not in known
            ]
        if example.refused and (example.values or example.units or example.conditions):
            found.append((("example", index, "refused"), "a message that is refused says nothing; keep one of the two"))
    return found
