"""Whether a profile is right: its mistakes, and what its decoder makes of its examples or of a message typed in."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from analysis.units import parse
from collector import job_lines
from collector.job_lines import Mistake
from collector.profiles import available, examined, own_folder, place_of
from drivers.codecs.lines import LineFramer, Unreadable
from drivers.codecs.pattern_fit import fitting
from drivers.codecs.sample import Decoded, Decoder, Sample
from drivers.profile import Condition, Example, Profile, Role
from drivers.registry import KINDS

SEVERAL = "holds {} lines, and a message is one"
"""But for lines of headings before it."""

_CLOSE = 1e-6
"""What a number of 32 bits may be off, and what is typed of it. [1]"""


@dataclass(frozen=True, slots=True)
class Said:
    """What a message says, every number in the unit of its value."""

    values: Mapping[str, float]
    """By name, battery, counter and clock among them; NaN: no value, infinite: beyond the range."""
    units: Mapping[str, str]
    """By name; empty where there is none, or where a standard says it."""
    conditions: frozenset[Condition] = frozenset()
    reason: str = ""
    """Why it was not read, or not in full."""
    where: str = ""
    """Where it and the pattern part, in a sentence; empty where there is nothing to say."""

    @property
    def refused(self) -> bool:
        """Whether nothing of it was read."""
        return bool(self.reason) and not self.values and not self.conditions


@dataclass(frozen=True, slots=True)
class Checked:
    """One example, what was read of it, and in sentences what is not as it was expected."""

    number: int
    """Counted from 1."""
    line: int
    """In the file, counted from 1."""
    example: Example
    said: Said
    differences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A profile file as far as it could be checked."""

    path: Path
    profile: Profile | None
    """None where there are mistakes."""
    mistakes: tuple[Mistake, ...] = ()
    checked: tuple[Checked, ...] = ()

    @property
    def right(self) -> bool:
        """Whether there is nothing to correct."""
        return self.profile is not None and not any(one.differences for one in self.checked)


@dataclass(frozen=True, slots=True)
class Listed:
    """One of the profiles that can be named."""

    name: str
    path: Path
    own: bool
    """The user's own, not one that comes with the program."""
    title: str = ""
    driver: str = ""
    mistakes: int = 0
    """[1]"""


def report(name: str) -> Report:
    """Report on a profile by its name or path; JobError or InputError where it cannot be read."""
    path = place_of(name)
    text = job_lines.read_text(path)
    profile, mistakes = examined(text, path.stem)
    if profile is None:
        return Report(path, None, tuple(mistakes))
    read = job_lines.read_tables(text)
    lines = {} if isinstance(read, Mistake) else read[1]
    decoder = KINDS[profile.driver].decoder(profile)
    checked = []
    for index, example in enumerate(profile.examples):
        said = said_of(profile, decoder, example.data, example.of)
        line = job_lines.line_of(lines, ("example", index))
        checked.append(Checked(index + 1, line, example, said, tuple(differences(example, said))))
    return Report(path, profile, (), tuple(checked))


def said_of(profile: Profile, decoder: Decoder, data: bytes, of: str = "") -> Said:
    """What a message says, which belongs to the characteristic, topic, question or register `of`."""
    *before, last = messages(profile, data) or [b""]
    if any(_says_something(decoder.decode(line, of)) for line in before):
        return Said({}, {}, reason=SEVERAL.format(len(before) + 1))
    sample, reason = decoder.decode(last, of) if last else Decoded(None, "is empty")
    if sample is None:
        where = _where_they_part(profile, last) if reason == Unreadable.NOT_MATCHED else ""
        return Said({}, {}, reason=reason or "says nothing that the profile names", where=where)
    units = {value.name: value.unit for value in profile.values} | dict(sample.units)
    values = {**sample.values, **_about_itself(profile, sample)}
    return Said(values, units, sample.conditions, reason)


def messages(profile: Profile, data: bytes) -> list[bytes]:
    """Bytes as the instrument sends them, as its messages reach the decoder: lines without their ends."""
    if profile.driver != "serial" or profile.serial.format == "frame":
        return [data]
    return [line for line in LineFramer(len(data) + 1).feed(data + b"\n") if line.strip()]


def differences(example: Example, said: Said) -> list[str]:
    """In a sentence each, what was read and is not what was expected."""
    if example.refused:
        return [] if said.refused else [f"had to be refused, and was read: {spoken(said)}"]
    if said.refused:
        return [f"was not read: it {said.reason}", *([said.where] if said.where else [])]
    found = [f"was not read in full: it {said.reason}"] if said.reason else []
    found += [_value(name, want, said) for name, want in example.values.items() if not _same(want, said, name)]
    found += [
        f"{name}: read in {said.units.get(name) or 'no unit'}, expected in {unit}"
        for name, unit in example.units.items()
        if said.units.get(name) != unit
    ]
    found += [f"says '{words(one)}', which was not expected" for one in sorted(said.conditions - {*example.conditions})]
    missing = sorted({*example.conditions} - said.conditions)
    return found + [f"does not say '{words(one)}', which was expected" for one in missing]


def spoken(said: Said) -> str:
    """Everything that a message says, in words."""
    parts = [f"{name} {number(value, said.units.get(name, ''))}" for name, value in said.values.items()]
    return ", ".join(parts + [words(one) for one in sorted(said.conditions)]) or "nothing"


def number(value: float, unit: str) -> str:
    """A value with its unit, or why there is none."""
    if math.isfinite(value):
        return f"{value:.10g} {unit}".strip() if unit != "1" else f"{value:.10g}"
    return "no value" if math.isnan(value) else f"{'above' if value > 0 else 'below'} its range"


def words(condition: Condition) -> str:
    """A condition in words."""
    return condition.replace("_", " ")


def listed() -> list[Listed]:
    """Every profile that can be named, with what it says of itself."""
    found = []
    for name, path in available().items():
        profile, mistakes = examined(job_lines.read_text(path), name)
        title, driver = (profile.title, profile.driver) if profile else ("", "")
        found.append(Listed(name, path, path.parent == own_folder(), title, driver, len(mistakes)))
    return found


def _where_they_part(profile: Profile, line: bytes) -> str:
    """How much of a line and of the pattern fit, and what stands behind that in both."""
    pattern, text = profile.serial.pattern or "", line.decode("utf-8", errors="replace").strip()
    fits, taken = fitting(pattern, text) or ("", "")
    if not taken:
        return ""
    wants, stands = pattern[len(fits) :], text[len(taken) :]
    ahead = f"the pattern goes on with {wants}" if wants else "the pattern ends"
    return f"it fits as far as {taken!r}; then {ahead}, and the message " + (
        f"with {stands!r}" if stands and wants else f"goes on with {stands!r}" if stands else "ends"
    )


def _says_something(decoded: Decoded) -> bool:
    """Whether a line is more than headings, of which a decoder only takes note."""
    return decoded.sample is None or decoded.sample != Sample({}) or bool(decoded.reason)


def _about_itself(profile: Profile, sample: Sample) -> dict[str, float]:
    """Battery, counter and clock by the names of their values, in their units; a standard may give one without."""
    said: dict[Role, float | None] = {
        Role.BATTERY: None if sample.battery is None else sample.battery * 100,
        Role.COUNTER: sample.counter,
        Role.CLOCK: sample.clock,
    }
    found: dict[str, float] = {}
    for role, value in said.items():
        if value is None:
            continue
        named = next((one for one in profile.values if one.role is role), None)
        unit = parse(f"1 {named.unit}", "s") if named and role is Role.CLOCK else 1.0
        found[named.name if named else str(role)] = value / unit
    return found


def _same(want: float, said: Said, name: str) -> bool:
    got = said.values.get(name)
    if got is None or math.isnan(want) or math.isnan(got):
        return got is not None and math.isnan(want) and math.isnan(got)
    return want == got or math.isclose(want, got, rel_tol=_CLOSE, abs_tol=1e-12)


def _value(name: str, want: float, said: Said) -> str:
    unit = said.units.get(name, "")
    got = number(said.values[name], unit) if name in said.values else "nothing"
    return f"{name}: read {got}, expected {number(want, unit)}"
