"""Accuracy statements as instruments' sheets give them; and the face of everything about measurement uncertainty."""

import math
import re
from dataclasses import dataclass, replace

from analysis.conformity import Conformity, coverage_factor, verdict
from analysis.points import MEASURES, nearest
from analysis.propagation import Drawn, Propagated, correlation, effective_freedom, monte_carlo, propagate
from analysis.quantity import Error, Quality, Quantity
from analysis.units import UnitError, conversion

__all__ = [
    "Accuracy",
    "AccuracyError",
    "Conformity",
    "Drawn",
    "Limit",
    "Propagated",
    "Term",
    "combine",
    "correlation",
    "coverage_factor",
    "effective_freedom",
    "monte_carlo",
    "propagate",
    "verdict",
]

LONGEST = 300
"""Longest statement. [characters]"""

_EXAMPLE = "write for example '0.5 % + 0.01 inH2O'"
_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?"
_PLUS_MINUS = re.compile(r"\+\s?/\s?[-−]|\+[-−]")  # noqa: RUF001
_BRACKETS = re.compile(r"(?<![/*\w])(?<![/*] )\(([^()]*)\)")
_EITHER = re.compile(r"\b(of|or)\s*±\s*", re.I)
_WHICHEVER = re.compile(r"([^,+±]{1,60}?)\s+or\s+([^,+±]{1,60}?)\s*,?\s*whichever is (?:the )?(?:greater|larger)", re.I)
_COVERAGE = re.compile(rf"\s*\bk\s*=\s*({_NUMBER})\s*")
_SEPARATOR = re.compile(r"\s*(?:(?:,\s*and\b|,|\band\b|(?<![\d.][eE])\+)\s*±?|±)\s*", re.I)
_RESOLUTION = re.compile(r"resolution(?: of)?\s*[=:]?\s*(?P<after>.+)|(?P<before>.+?)\s*resolution", re.I)
_GREATER = re.compile(r"(?:the )?(?:greater|larger) of\s+(.+?)\s+or\s+(.+)", re.I)
_CLASS = re.compile(rf"class\s+({_NUMBER})\s+of\s+({_NUMBER})\s*(.+)", re.I)
_SIZE = re.compile(rf"({_NUMBER})\s*(.*)")
_READING = re.compile(r"% (?:of )?(?:the )?(?:reading|rdg|measured value|value)", re.I)
_FULL = r"% (?:of )?(?:FS|F\.S\.|full scale|range|span)"
_SCALE = re.compile(rf"(?:{_FULL}(?: of)?|% of) ({_NUMBER})\s*(.+)", re.I)
_POINTS = re.compile(r"% ?RH|% ?vol\.?|vol\.? ?%|percentage points?", re.I)
_DIGITS = re.compile(r"digits?|dgts?|counts?", re.I)
_NO_UNIT = re.compile(r"[(=]|^[\d.]|\s[\d.]")
_PERCENT_IS_ABSOLUTE = ("humidity", "fraction")
"""Measures that are themselves shown in percent: a bare `3 %` means 3 percentage points."""


class AccuracyError(ValueError):
    """An accuracy statement that is not understood or does not fit; the text is one sentence for people."""


@dataclass(frozen=True, slots=True)
class Limit:
    """How far a reading may be off: a percentage of the reading, a percentage of a full scale, or an amount."""

    size: float
    """[% of the reading, % of the full scale, or `unit`]"""
    of: str = "amount"
    """`reading`, `scale` or `amount`."""
    unit: str = ""
    """Unit of the amount or of the full scale; `%` for percentage points."""
    scale: float = 0.0
    """Full scale. [unit]"""

    def __str__(self) -> str:
        """Canonical text."""
        if self.of == "reading":
            return f"{_plain(self.size)} % of reading"
        if self.of == "scale":
            return f"{_plain(self.size)} % of {_plain(self.scale)} {self.unit}"
        return f"{_plain(self.size)} {'percentage points' if self.unit == '%' else self.unit}"

    def width(self, reading: float, per_reading: float, unit: str) -> float:
        """Half width at a reading, whose percentage counts `per_reading` units. [unit]"""
        if self.of == "reading":
            return self.size / 100 * abs(reading) * per_reading
        amount = self.size if self.of == "amount" else self.size / 100 * self.scale
        return amount * conversion(self.unit, unit, difference=True).scale


@dataclass(frozen=True, slots=True)
class Term:
    """One part of a statement, independent of the others; of several limits the greatest holds."""

    limits: tuple[Limit, ...]
    factor: float | None = None
    """Coverage factor of an expanded uncertainty, 1 for a standard one (both normal); None: limits (rectangular)."""
    resolution: bool = False
    """The limit is the step of the display: the error is at most half of it."""

    def __str__(self) -> str:
        """Canonical text."""
        one = str(self.limits[0]) if len(self.limits) == 1 else f"greater of {self.limits[0]} or {self.limits[1]}"
        if self.resolution:
            return f"resolution {one}"
        if self.factor is None:
            return one
        return f"u {one}" if self.factor == 1 else f"{one} k={_plain(self.factor)}"

    @property
    def part(self) -> str:
        """What kind of error it is, in a word."""
        if self.resolution or self.factor is not None:
            return "resolution" if self.resolution else "stated uncertainty"
        if len(self.limits) > 1:
            return "tolerance"
        return {"reading": "gain", "scale": "linearity", "amount": "offset"}[self.limits[0].of]

    @property
    def divisor(self) -> float:
        """Limit over standard uncertainty. [1]"""
        return self.factor or math.sqrt(12 if self.resolution else 3)


@dataclass(frozen=True, slots=True)
class Accuracy:
    """An instrument's accuracy statement: `str` of it parses to the same again."""

    terms: tuple[Term, ...]

    def __str__(self) -> str:
        """Canonical text."""
        return " + ".join(map(str, self.terms))

    @classmethod
    def parse(cls, text: str, measure: str = "") -> "Accuracy":
        """Accuracy statement as an instrument's sheet or certificate gives it; AccuracyError in one sentence.

        text : parts separated by `+`, `±`, `and` or commas, decimals with a point, each of them one of
            `0.5 %`, `0.5 % of reading` (gain) · `0.01 inH2O` (offset) · `2 % FS of 10 inH2O`, `2 % of 10 inH2O`,
            `class 1.0 of 10 inH2O` (full scale) · `2 digits` (with a resolution) · `resolution 0.01 inH2O` ·
            `greater of 2.2 degC or 0.75 %` · `u 0.02 inH2O` (standard uncertainty) · `0.05 inH2O k=2` (expanded). [-]
        measure : name in `analysis.points.MEASURES` of what the instrument reads, or empty. A bare percentage is one of
            the reading, but for `humidity` and `fraction` (oxygen, carbon dioxide), which are shown in percent, it is
            percentage points: write `3 % of reading` there for the other; `%RH`, `vol %` and `percentage points` are
            always points. [-]
        returns : Accuracy. [-]

        Valid: a percentage of a temperature counts from zero of the scale of the statement's first temperature, and in
            degC where there is none; all amounts of temperature are differences.
        Method: limits are taken as certain (rectangular); stated uncertainties as normal; `U` needs its `k`.
        Source: JCGM 100:2008, 4.3.3, 4.3.7 and F.2.2.1; percent in degC: ASTM E230/E230M, note to table 1, from public
            reproductions. What a bare percentage means: common practice, no published source.
        """
        if measure and measure not in MEASURES:
            raise ValueError(f"unknown measure '{measure}'{nearest(measure, MEASURES)}")
        shown = " ".join(text.split())
        if len(text) > LONGEST:
            raise AccuracyError(f"accuracy '{shown[:40]}...' is longer than {LONGEST} characters; {_EXAMPLE}")
        try:
            accuracy = cls(_terms(shown, measure))
            _check_units(accuracy, measure)
        except AccuracyError as error:
            raise AccuracyError(f"accuracy '{shown}': {error}") from error
        return accuracy

    def quantity(self, value: float, unit: str, *, meter: str, reading: str) -> Quantity:
        """A reading with the standard uncertainty that the statement gives it, and what that is made of.

        value : the reading. [-]
        unit : unit of the reading; `K` for a difference of temperatures that the meter itself gives. [-]
        meter : name of the meter: gain, offset and tolerance are common to its readings, so that a difference of two
            readings cancels the offset. [-]
        reading : what tells this reading from others of the same meter (point, time): full scale (linearity),
            resolution and a stated uncertainty, of which nobody says what is common, are each reading's own. [-]
        returns : Quantity with budget in the same unit; no value and BAD for a reading that is NaN. [-]

        Valid: the meter within its range, warmed up and zeroed as its sheet asks.
        Method: limit / sqrt(3), resolution / sqrt(12), expanded / k; root of squares; a gain has the reading's sign.
        Source: JCGM 100:2008, 4.3.7, F.2.2.1 and 5.1.2. What is common to one meter's readings: our choice.
        """
        if math.isnan(value):
            return Quantity(value, unit, quality=Quality.BAD, reason=f"{meter} gives no value for {reading}")
        try:
            budget = self._budget(value, unit, meter, reading)
        except UnitError as error:
            raise AccuracyError(f"accuracy '{self}' is not one for a value in '{unit}': {error}") from error
        return Quantity(value, unit, math.hypot(*(share for _, share in budget)), budget=budget)

    def u(self, value: float, unit: str) -> float:
        """Standard uncertainty of a reading, NaN for one that is NaN. [unit]"""
        return self.quantity(value, unit, meter="meter", reading="reading").u

    def _budget(self, value: float, unit: str, meter: str, reading: str) -> tuple[tuple[Error, float], ...]:
        counted, per_reading = self._counted(value, unit)
        budget: dict[Error, float] = {}
        for term in self.terms:
            widths = [limit.width(counted, per_reading, unit) for limit in term.limits]
            common = term.part in ("gain", "offset", "tolerance")
            name = f"{meter}: {term.part}" if common else f"{meter}: {term.part}, {reading}"
            shape = "rectangular" if term.factor is None else "normal"
            error, number = Error(name, shape), 1
            while error in budget:
                number += 1
                error = Error(f"{name} {number}", shape)
            sign = math.copysign(1.0, counted) if term.part == "gain" else 1.0
            budget[error] = sign * max(widths) / term.divisor
        return tuple((error, share) for error, share in budget.items() if share)

    def _counted(self, value: float, unit: str) -> tuple[float, float]:
        """The reading as a percentage of it counts, and how many of its own units one of these is."""
        if not any(limit.of == "reading" for term in self.terms for limit in term.limits):
            return value, 1.0
        try:
            conversion(unit, "degC")
        except UnitError:
            return value, 1.0
        if unit.strip() in ("K", "kelvin"):
            return value, 1.0
        named = [limit.unit for term in self.terms for limit in term.limits if limit.of != "reading"]
        scale = next((name for name in named if name not in ("K", "kelvin")), "degC")
        factor, offset = conversion(unit, scale)
        return value * factor + offset, conversion(scale, unit, difference=True).scale


def combine(plateau: Quantity, accuracy: Accuracy | None, *, meter: str, reading: str) -> Quantity:
    """A value found over some time with the accuracy of the meter that gave it.

    plateau : value with what its scatter and drift contribute, in its budget or as `u`. [-]
    accuracy : statement of the meter; None where there is none: then the uncertainty is not known. [-]
    meter : as in `Accuracy.quantity`. [-]
    reading : as in `Accuracy.quantity`. [-]
    returns : Quantity with both in its budget, in the unit of the plateau; no interval. [-]

    Valid: scatter and drift independent of the errors of the statement, which do not change while the value is taken.
    Method: root of the squares; effective degrees of freedom after Welch and Satterthwaite.
    Source: JCGM 100:2008, 4.3.10 (neither counted twice), 5.1.2 and equation G.2b.
    """
    if accuracy is None or math.isnan(plateau.value) or not (plateau.budget or math.isfinite(plateau.u)):
        return replace(plateau, u=math.nan, freedom=math.inf, budget=(), interval=None)
    own = plateau.budget
    if not own and plateau.u > 0:
        own = ((Error(f"{meter}: scatter, {reading}", freedom=plateau.freedom, statistical=True), plateau.u),)
    budget = (*own, *accuracy.quantity(plateau.value, plateau.unit, meter=meter, reading=reading).budget)
    shares = [share for _, share in budget]
    freedom = float(effective_freedom(shares, [error.freedom for error, _ in budget])) if budget else math.inf
    return replace(plateau, u=math.hypot(*shares), freedom=freedom, budget=budget, interval=None)


def _terms(text: str, measure: str) -> tuple[Term, ...]:
    if re.search(r"\d,\d", text):
        raise AccuracyError("a comma separates parts and stands in no number; write decimals with a point")
    text = _EITHER.sub(r"\1 ", _BRACKETS.sub(r" \1 ", _PLUS_MINUS.sub("±", text)))
    text = re.sub(r",\s*(?=k\s*=)", " ", _WHICHEVER.sub(r"greater of \1 or \2", text)).strip()
    pieces = [" ".join(piece.split()) for piece in _SEPARATOR.split(text.removeprefix("±").strip())]
    if not all(pieces):
        missing = "a part is missing before or after a separator" if text else "nothing is stated"
        raise AccuracyError(f"{missing}; {_EXAMPLE}")
    found = [_term(piece, measure) for piece in pieces]
    steps = [term.limits[0] for term in found if term.resolution]
    if not steps and any(limit.of == "digits" for term in found for limit in term.limits):
        raise AccuracyError("it counts digits and does not say what one is; add for example ', resolution 0.01 inH2O'")
    return tuple(replace(term, limits=tuple(_in_steps(limit, steps) for limit in term.limits)) for term in found)


def _in_steps(limit: Limit, steps: list[Limit]) -> Limit:
    return replace(steps[0], size=_positive(repr(limit.size * steps[0].size))) if limit.of == "digits" else limit


def _term(piece: str, measure: str) -> Term:
    if match := _RESOLUTION.fullmatch(piece):
        limit = _limit(match["after"] or match["before"], "humidity")
        if limit.of != "amount":
            raise AccuracyError(f"'{piece}' is not a step of the display; write for example 'resolution 0.01 inH2O'")
        return Term((limit,), resolution=True)
    rest, factor = piece, None
    if match := _COVERAGE.search(piece):
        rest, factor = f"{piece[: match.start()]} {piece[match.end() :]}".strip(), _positive(match[1])
    if re.match(r"[uU]\b", rest):
        if (factor is None) == (rest[0] == "U"):
            raise AccuracyError(f"'{piece}' is neither 'u 0.02 inH2O' (standard) nor 'U 0.05 inH2O k=2' (expanded)")
        rest, factor = rest[1:].lstrip(" ="), factor or 1.0
    if match := _GREATER.fullmatch(rest):
        return Term((_limit(match[1], measure), _limit(match[2], measure)), factor)
    return Term((_limit(rest, measure),), factor)


def _limit(text: str, measure: str) -> Limit:
    if match := _CLASS.fullmatch(text):
        return Limit(_positive(match[1]), "scale", match[3], _positive(match[2]))
    match = _SIZE.fullmatch(text)
    if match is None:
        raise AccuracyError(f"'{text}' is not understood; {_EXAMPLE}")
    size, unit = _positive(match[1]), re.sub(r"^(?:%|percent\b)\s*", "% ", match[2]).strip()
    if not unit:
        raise AccuracyError(f"'{text}' has no unit; {_EXAMPLE}")
    if _READING.fullmatch(unit) or (unit == "%" and measure not in _PERCENT_IS_ABSOLUTE):
        return Limit(size, "reading")
    if match := _SCALE.fullmatch(unit):
        return Limit(size, "scale", match[2], _positive(match[1]))
    if re.fullmatch(_FULL, unit, re.I):
        raise AccuracyError(f"'{text}' does not say what full scale is; write for example '2 % FS of 10 inH2O'")
    if _DIGITS.fullmatch(unit):
        return Limit(size, "digits")
    return Limit(size, unit="%" if unit == "%" or _POINTS.fullmatch(unit) else unit)


def _positive(number: str) -> float:
    value = float(number)
    if not (0 < value < math.inf):
        raise AccuracyError(f"'{number}' is not a number above zero")
    return value


def _check_units(accuracy: Accuracy, measure: str) -> None:
    units = [limit.unit for term in accuracy.terms for limit in term.limits if limit.of != "reading"]
    for unit in units:
        try:
            conversion(unit, unit)
            scale = conversion(unit, MEASURES[measure].inside if measure else units[0], difference=True).scale
            if not 0 < scale < math.inf or _NO_UNIT.search(unit):
                raise ValueError("no size, or leftovers of something that was not understood")
        except Exception as error:  # unknown, of another measure, and those that pint trips over
            words = str(error) if isinstance(error, UnitError) else f"'{unit}' is no unit for an accuracy"
            if measure and f"unit '{unit}'" in words and "measure" in words:
                words = f"'{unit}' is not a unit of {measure.replace('_', ' ')}"
            raise AccuracyError(f"{words}; {_EXAMPLE}") from error


def _plain(number: float) -> str:
    return repr(number).removesuffix(".0")
