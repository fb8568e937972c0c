"""What the keys of a profile for a serial line have to do with each other."""

from collections.abc import Mapping
from typing import Any

from collector.job_lines import Path
from collector.profile_sections import ProfileFile
from drivers.codecs.binary import TYPES
from drivers.codecs.checksums import CHECKSUMS

Found = list[tuple[Path, str]]

_COMMON = frozenset({"baud", "data_bits", "parity", "stop_bits", "format", "send"})
_KEYS: Mapping[str, frozenset[str]] = {
    "line": frozenset({"pattern", "decimal"}),
    "separated": frozenset({"separator", "decimal"}),
    "columns": frozenset({"decimal"}),
    "query": frozenset({"every", "within", "ending", "pattern", "separator", "decimal"}),
    "frame": frozenset({"start", "length", "length_at", "checksum", "checksum_order", "checksum_from"}),
}
"""Keys of the section `serial` by format."""


def serial(file: ProfileFile, tables: Mapping[str, Any]) -> Found:
    """What a format needs and what says nothing in it."""
    form = file.serial.format
    found: Found = [
        (("serial", key), f"says nothing in the format '{form}'; remove it, or correct 'format'")
        for key in tables.get("serial", {})
        if key not in _COMMON | _KEYS[form]
    ]
    if form == "line" and not file.serial.pattern:
        found.append((("serial",), "'pattern' is needed for this format and missing"))
    if form == "query":
        found += _asked(file, tables)
    if form == "frame":
        found += _framed(file)
    return found


def _asked(file: ProfileFile, tables: Mapping[str, Any]) -> Found:
    section = file.serial
    found: Found = []
    if file.silence <= section.every + section.within:
        given = next((key for key in ("every", "within") if key in tables.get("serial", {})), "format")
        place: Path = ("silence",) if "silence" in tables else ("serial", given)
        what = "'silence' is no longer than 'every' and 'within' together, so that it would be lost between two rounds"
        found.append((place, what))
    for index, value in enumerate(file.values):
        if value.group is not None and not section.pattern:
            found.append((("value", index, "group"), "needs the 'pattern' of the answer in [serial]"))
        if isinstance(value.field, str):
            found.append((("value", index, "field"), "an answer has no headings; give the number of the column"))
        if value.field is not None and value.group is not None:
            found.append((("value", index, "group"), "'field' is given too; keep one of them"))
    return found


def _framed(file: ProfileFile) -> Found:
    section = file.serial
    size = CHECKSUMS[section.checksum].size
    found: Found = []
    if not section.start:
        found.append((("serial",), "'start' is missing: the bytes with which each frame begins, such as 'AA 55'"))
    if (section.length is None) == (section.length_at is None):
        what = "expected either 'length', or 'length_at' where a byte of the frame says its length"
        found.append((("serial",), what))
    if section.length_at is not None and section.length_at < len(section.start):
        found.append((("serial", "length_at"), "is within the bytes of 'start'"))
    if section.checksum == "none":
        found += [
            (("serial", key), "says nothing without a 'checksum'")
            for key in ("checksum_order", "checksum_from")
            if getattr(section, key)
        ]
    if section.length is not None:
        room = section.length - size
        found += [
            (("value", index, "at"), f"the value ends behind the {room} bytes that the frame has before its checksum")
            for index, value in enumerate(file.values)
            if value.type and (value.at or 0) + TYPES[value.type] > room
        ]
    return found
