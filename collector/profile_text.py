"""What `lightoff check-profile` prints: for people, and as JSON."""

import json
import math
from typing import Any

from collector.profile_report import Checked, Listed, Report, Said, number, spoken, words
from drivers.profile import Profile, Role, Value


def told(found: Report) -> str:
    """A report without mistakes, for people."""
    assert found.profile is not None
    lines = [f"{found.path}: {_heading(found.profile)}"]
    lines += [f"  {value.name}: {_meaning(value)}" for value in found.profile.values]
    for one in found.checked:
        shown = f"example {one.number} (line {one.line}), {_message(found.profile, one)}"
        if one.differences:
            lines += [f"{shown}: WRONG", *(f"  {difference}" for difference in one.differences)]
        elif one.example.refused:
            lines.append(f"{shown}: refused, as expected: it {one.said.reason}")
        else:
            lines.append(f"{shown}: {spoken(one.said)}; as expected")
    return "\n".join([*lines, _sum(found)])


def typed(profile: Profile, said: Said) -> str:
    """What a message typed in says, for people: every value, also one that is not in it."""
    if said.refused:
        return "\n".join([f"not read: the message {said.reason}", *([said.where] if said.where else [])])
    lines = [f"{name}: {number(value, said.units.get(name, ''))}" for name, value in said.values.items()]
    absent = [value.name for value in profile.values if value.name not in said.values and value.role is not Role.STATUS]
    lines += [f"{name}: not in this message" for name in absent]
    lines += [f"the instrument says: {words(one)}" for one in sorted(said.conditions)]
    return "\n".join([*lines, *([f"not read in full: the message {said.reason}"] if said.reason else [])])


def table(profiles: list[Listed]) -> str:
    """Profiles that can be named, one a line."""
    widths = [max((len(str(getattr(one, key))) for one in profiles), default=0) for key in ("name", "driver")]
    return "\n".join(
        f"{one.name:<{widths[0]}}  {one.driver:<{widths[1]}}  {_note(one)}{f'  (own: {one.path})' if one.own else ''}"
        for one in profiles
    )


def as_json(found: Report) -> str:
    """A report as one JSON object."""
    content: dict[str, Any] = {
        "file": str(found.path),
        "right": found.right,
        "mistakes": [{"line": one.line, "key": one.key, "text": one.text} for one in found.mistakes],
        "profile": _facts(found.profile) if found.profile else None,
        "examples": [
            {
                "number": one.number,
                "line": one.line,
                "hex": one.example.data.hex(" "),
                "of": one.example.of,
                "expected": {
                    "values": {name: _plain(value) for name, value in one.example.values.items()},
                    "units": dict(one.example.units),
                    "conditions": [str(condition) for condition in one.example.conditions],
                    "refused": one.example.refused,
                },
                "read": said_plain(one.said),
                "differences": list(one.differences),
            }
            for one in found.checked
        ],
    }
    return json.dumps(content, indent=2, ensure_ascii=False)


def said_plain(said: Said) -> dict[str, Any]:
    """What a message says, as plain JSON values; a value beyond its range is `above range` or `below range`."""
    return {
        "values": {
            name: {"value": _plain(value), "unit": said.units.get(name, "")} for name, value in said.values.items()
        },
        "conditions": [str(condition) for condition in sorted(said.conditions)],
        "refused": said.refused,
        "reason": said.reason,
    }


def listed_plain(profiles: list[Listed]) -> list[dict[str, Any]]:
    """Profiles that can be named, as plain JSON values."""
    return [
        {
            "name": one.name,
            "title": one.title,
            "driver": one.driver,
            "own": one.own,
            "file": str(one.path),
            "mistakes": one.mistakes,
        }
        for one in profiles
    ]


def _heading(profile: Profile) -> str:
    section = getattr(profile, profile.driver)
    way = " ".join(filter(None, (profile.driver, getattr(section, "format", ""))))
    speed = f", {section.baud} baud" if profile.driver == "serial" else ""
    return f"{profile.title} ({way}{speed})"


def _meaning(value: Value) -> str:
    if value.role is Role.STATUS:
        said = [f"bit {bit} {words(condition)}" for bit, condition in value.bits.items()]
        said += [f"{text!r} {words(condition)}" for text, condition in value.words.items()]
        return f"status: {', '.join(said)}"
    unit = value.unit or f"in the unit that the message says ({', '.join(dict.fromkeys(value.units.values()))})"
    role = "" if value.role is Role.MEASURE else f"{value.role}, "
    return f"{role}{unit}".removesuffix(", ") if value.unit or value.units else str(value.role)


def _message(profile: Profile, one: Checked) -> str:
    text = profile.driver == "mqtt" or (profile.driver == "serial" and profile.serial.format != "frame")
    data = one.example.data
    shown = repr(data.decode("utf-8", "backslashreplace")) if text else data.hex(" ")
    shown = shown if len(shown) <= 100 else f"{shown[:97]}..."
    return f"{shown} of {one.example.of}" if one.example.of else shown


def _sum(found: Report) -> str:
    count, wrong = len(found.checked), sum(bool(one.differences) for one in found.checked)
    if not count:
        return "nothing to correct; it has no [[example]] yet: add a message as the manual or the instrument shows it"
    if wrong:
        return f"examples read otherwise than expected: {wrong} of {count}"
    return f"nothing to correct; {'its example is' if count == 1 else f'all {count} examples are'} read as expected"


def _note(one: Listed) -> str:
    if not one.mistakes:
        return one.title
    return f"{'1 mistake' if one.mistakes == 1 else f'{one.mistakes} mistakes'}; run: lightoff check-profile {one.name}"


def _facts(profile: Profile) -> dict[str, Any]:
    return {
        "name": profile.name,
        "title": profile.title,
        "driver": profile.driver,
        "values": [
            {"name": one.name, "role": str(one.role), "unit": one.unit, "units": dict(one.units)}
            for one in profile.values
        ],
    }


def _plain(value: float) -> float | str | None:
    if math.isfinite(value):
        return value
    return None if math.isnan(value) else "above range" if value > 0 else "below range"
