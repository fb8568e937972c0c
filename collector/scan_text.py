"""What `lightoff scan` shows: a table, the lines for the job file, what could not look; for people and as JSON."""

from collections.abc import Iterable, Mapping
from typing import Any

from collector.profiles import Profiles, named
from collector.scan import Search
from collector.scan_entries import clean, entries
from drivers.found import Found
from drivers.registry import KINDS, Kind

TITLES = {"serial": "serial ports", "ble": "Bluetooth", "modbus": "Modbus", "mqtt": "MQTT"}
"""Transports, for people."""

TRY = {
    "serial": "Serial: plug the instrument in, switch it on, and see that its cable carries data, not power alone.",
    "ble": "Bluetooth: switch it on within a few steps; one that is connected to a telephone does not show.",
    "modbus": "Modbus: an instrument answers only where it is asked; say where with --modbus {}.",
    "mqtt": "MQTT: say with --mqtt {} where the broker is, and see that the gateway is sending.",
}
"""What to try where nothing was found; with an address as it may look."""

_HEAD = ("transport", "address", "name", "signal", "profile", "shows")


def table(found: Iterable[Found], *, width: int = 0, height: int = 0) -> str:
    """Instruments, one a line, the likeliest first; cut to `width` and `height` [characters, lines] where given."""
    rows: list[tuple[str, ...]] = [_HEAD]
    notes: dict[int, str] = {}
    for one in ordered(found):
        rows.append(_row(one))
        if one.note:
            notes[len(rows) - 1] = f"    {clean(one.note, longest=300)}"
    widths = [max(len(row[column]) for row in rows) for column in range(len(_HEAD))]
    lines = []
    for number, row in enumerate(rows):
        lines.append("  ".join(cell.ljust(size) for cell, size in zip(row, widths, strict=True)).rstrip())
        if number in notes:
            lines.append(notes[number])
    if height and len(lines) > height:
        lines = [*lines[: height - 1], f"... and {len(lines) - height + 1} more lines"]
    return "\n".join(line[:width] if width else line for line in lines)


def ordered(found: Iterable[Found]) -> list[Found]:
    """Those with a profile first, then by transport, the strongest signal first."""
    return sorted(found, key=_likelihood)


def line(found: Found) -> str:
    """One instrument with its values, where there is no terminal to show a table on."""
    shown = [part for part in (found.driver, _place(found), clean(found.name)) if part]
    return f"{' '.join(shown)}: {shows(found) or 'no value yet'}"


def shows(found: Found) -> str:
    """What an instrument measures, with the last values."""
    return ", ".join(
        f"{one.name} {'-' if one.value is None else f'{one.value:.6g}'} {one.unit}".strip() for one in found.measures
    )


def answer(search: Search, seconds: float, *, kinds: Mapping[str, Kind] = KINDS, profiles: Profiles = named) -> str:
    """Everything that a search brought, for people."""
    found = ordered(search.found.values())
    parts = [table(found)] if found else []
    if search.dropped:
        parts.append(f"More than there is room for: {search.dropped} times something gave way.")
    if search.troubles:
        parts.append("\n".join(search.troubles.values()))
    if found:
        offered = [one for one in found if one.profile or one.measures or one.driver != "ble"]
        parts.append(_lines(offered, len(found) - len(offered), profiles))
    else:
        parts.append(_nothing(search, seconds, kinds))
    return "\n\n".join(parts)


def plain(search: Search, *, profiles: Profiles = named) -> dict[str, Any]:
    """The same as plain JSON values."""
    found = ordered(search.found.values())
    return {
        "found": [
            {**found_plain(one), "entry": entry}
            for one, entry in zip(found, entries(found, profiles=profiles), strict=True)
        ],
        "looked": list(search.transports),
        "troubles": dict(search.troubles),
        "dropped": search.dropped,
    }


def found_plain(found: Found) -> dict[str, Any]:
    """An instrument as plain JSON values."""
    return {
        "driver": found.driver,
        "address": found.address,
        "device": found.device,
        "topic": found.topic,
        "name": found.name,
        "signal": found.signal,
        "profile": found.profile,
        "measures": [{"name": one.name, "unit": one.unit, "value": one.value} for one in found.measures],
        "note": found.note,
        "facts": dict(found.facts),
    }


def _row(found: Found) -> tuple[str, ...]:
    signal = f"{found.signal} dBm" if found.signal is not None else "-"
    return found.driver, _place(found), clean(found.name) or "-", signal, found.profile or "-", shows(found) or "-"


def _place(found: Found) -> str:
    parts = [found.address, "" if found.device is None else f"unit {found.device}", found.topic]
    return clean(" ".join(part for part in parts if part))


def _likelihood(found: Found) -> tuple[object, ...]:
    signal = found.signal if found.signal is not None else 0
    device = -1 if found.device is None else found.device
    return found.profile is None, not found.measures, found.driver, -signal, found.address, device, found.topic


def _lines(offered: list[Found], others: int, profiles: Profiles) -> str:
    parts = []
    if offered:
        parts.append("For the job file; what is left open there is yours to say:\n")
        parts += entries(offered, profiles=profiles)
    if others:
        parts.append(
            f"{others} Bluetooth transmitters in reach say nothing that a shipped profile knows; if one of them is your"
            " instrument, docs/profiles.md shows how to describe it.\n"
        )
    return "\n".join(parts).rstrip("\n")


def _nothing(search: Search, seconds: float, kinds: Mapping[str, Kind]) -> str:
    looked = ", ".join(TITLES.get(name, name) for name in search.transports if name not in search.troubles)
    lines = [f"Nothing was found. Looked for {seconds:g} s at: {looked}." if looked else "Nothing could be looked at."]
    for name, kind in kinds.items():
        if (name in search.transports or kind.probe) and name not in search.troubles and name in TRY:
            lines.append(TRY[name].format(kind.needs_address))
    lines.append("docs/connecting.md says what each system needs. A profile and an address can be typed in too.")
    return "\n".join(lines)
