"""What a function of the trade says of itself: its docstring, read by a program, is the one description there is."""

import inspect
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from functools import cache
from types import ModuleType, NoneType, UnionType
from typing import Any, get_args, get_type_hints

from analysis import airflow, combustion, draft, gas, heatpump, humidity, lag, psychrometrics
from analysis.points import nearest
from analysis.quantity import Quantity

SUBJECTS: tuple[ModuleType, ...] = (psychrometrics, airflow, gas, combustion, draft, heatpump, humidity, lag)
"""Modules whose public functions are the quantities that can be computed."""

_LINE = re.compile(r"(?P<name>\w+) : (?:(?P<shape>\([^)]*\)) )?(?P<text>.*?)(?: \[(?P<unit>[^\]]+)\])?")
_PART = re.compile(r"(Valid|Method|Source): (.*)")
_NUMBER = r"(-?\d+(?:\.\d+)?(?:e-?\d+)?)"
_BETWEEN = re.compile(rf"{_NUMBER} (<=|<) value (<=|<) {_NUMBER}")
_FROM = re.compile(rf"value (>=|>) {_NUMBER}")
_UP_TO = re.compile(rf"value (<=|<) {_NUMBER}")
_AS = re.compile(r"[Aa]s `(\w+)`")
_WORDS = re.compile(r"`([^`]+)`")


class FormulaError(ValueError):
    """A function that does not describe itself, or a name that is none: one sentence for people."""


@dataclass(frozen=True, slots=True)
class Range:
    """Where a parameter may lie; an end that is None is open."""

    low: float | None = None
    high: float | None = None
    low_belongs: bool = True
    high_belongs: bool = True

    def holds(self, value: float) -> bool:
        """Whether a value lies inside; NaN does not."""
        above = self.low is None or (value >= self.low if self.low_belongs else value > self.low)
        below = self.high is None or (value <= self.high if self.high_belongs else value < self.high)
        return above and below and value == value  # noqa: PLR0124

    def __str__(self) -> str:
        left = "" if self.low is None else f"{self.low:g} {'<=' if self.low_belongs else '<'} "
        right = "" if self.high is None else f" {'<=' if self.high_belongs else '<'} {self.high:g}"
        return f"{left}value{right}"


@dataclass(frozen=True, slots=True)
class Parameter:
    """One input, or one number of the result, as the docstring has it."""

    name: str
    text: str
    unit: str
    """Inside unit; `-` for words."""
    shape: str
    """`(...)` for arrays, empty for words."""
    range: Range
    words: tuple[str, ...] = ()
    """Words in backticks: what may be written where the unit is `-`."""
    default: Any = inspect.Parameter.empty
    kind: Any = None
    """Annotated type."""
    group: str = ""
    """Name of the parameter that is a dataclass of which this is a field; empty otherwise."""
    field: str = ""
    """Name within that dataclass."""

    @property
    def barometric(self) -> bool:
        """Whether it is the pressure of the air, for which an altitude may stand."""
        return "barometric pressure" in self.text

    @property
    def optional(self) -> bool:
        """Whether it may be left out."""
        return self.default is not inspect.Parameter.empty


@dataclass(frozen=True, slots=True)
class Formula:
    """A function and what its docstring says."""

    name: str
    function: Callable[..., Any]
    subject: str
    """Name of the module."""
    text: str
    """First sentence."""
    parameters: tuple[Parameter, ...]
    """Inputs, the fields of dataclasses flat."""
    groups: dict[str, type]
    """Parameters that are dataclasses."""
    results: tuple[Parameter, ...]
    """One with an empty name for a number; the numbers of a dataclass; none for findings in words."""
    valid: str
    method: str
    source: str

    @property
    def uncertain(self) -> bool:
        """Whether the function itself gives quantities with their uncertainty, instead of plain numbers."""
        return any(result.kind is Quantity for result in self.results)


def formulas() -> dict[str, Formula]:
    """All quantities that can be computed, by name, in the order of their subjects."""
    return dict(_formulas())


def formula(name: str) -> Formula:
    """The formula of that name; FormulaError with the nearest names when there is none."""
    known = dict(_formulas())
    if name not in known:
        raise FormulaError(f"unknown quantity '{name[:60]}'{nearest(name, known)}; lightoff compute --list shows all")
    return known[name]


@cache
def _formulas() -> tuple[tuple[str, Formula], ...]:
    found = [function for subject in SUBJECTS for function in functions_of(subject)]
    described = {function.__name__: describe(function) for function in found}
    return tuple((name, _spelled_out(one, described)) for name, one in described.items())


def _spelled_out(known: Formula, described: dict[str, Formula]) -> Formula:
    """The formula with what it says to be `as` in another one in that other one's words."""
    found = {}
    for part in ("valid", "method", "source"):
        text = getattr(known, part)
        while (match := _AS.match(text)) and match[1] in described and match[1] != known.name:
            text = f"{getattr(described[match[1]], part).rstrip('.')}{text[match.end() :]}"
        found[part] = text
    return replace(known, valid=found["valid"], method=found["method"], source=found["source"])


def functions_of(module: ModuleType) -> list[Callable[..., Any]]:
    """Public functions of a module: those that it names in `__all__`, or else defines itself."""
    named = getattr(module, "__all__", None)
    functions = {name: thing for name, thing in vars(module).items() if inspect.isfunction(thing)}
    if named is not None:
        return [function for name, function in functions.items() if name in named]
    own = [function for function in functions.values() if function.__module__ == module.__name__]
    return [function for function in own if not function.__name__.startswith("_")]


def describe(function: Callable[..., Any]) -> Formula:
    """Read a function's docstring; FormulaError when a parameter, a unit or a closing line is missing."""
    where = f"{function.__module__}.{function.__name__}"
    text, lines, parts = _read(function, where)
    hints = get_type_hints(function)
    signature = inspect.signature(function)
    wanted = [*signature.parameters, "returns"]
    if [line["name"] for line in lines] != wanted:
        raise FormulaError(f"{where}: its docstring describes {[line['name'] for line in lines]}, not {wanted}")
    missing = [part for part in ("Valid", "Method", "Source") if part not in parts]
    if missing:
        raise FormulaError(f"{where}: its docstring has no line {', '.join(missing)}")
    parameters: list[Parameter] = []
    groups: dict[str, type] = {}
    for line, (name, given) in zip(lines, signature.parameters.items(), strict=False):
        group = _dataclass_in(hints.get(name), line["text"])
        if group is None:
            parameters.append(_parameter(line, where, given.default, hints.get(name)))
        else:
            groups[name] = group
            parameters += [_optional(field, given.default) for field in describe_fields(group, name)]
    parameters = _apart(parameters)
    result = _dataclass_in(hints.get("return"), lines[-1]["text"])
    results = describe_fields(result) if result else (_parameter({**lines[-1], "name": ""}, where),)
    results = tuple(number for number in results if number.shape in ("()", "(...)"))
    subject = function.__module__.rpartition(".")[2].partition("_")[0]
    return Formula(
        function.__name__, function, subject, text, tuple(parameters), groups, tuple(results), **_closing(parts)
    )


def describe_fields(kind: type, group: str = "") -> tuple[Parameter, ...]:
    """The fields of a dataclass as its docstring describes them; FormulaError when one is missing."""
    where = f"{kind.__module__}.{kind.__name__}"
    _, lines, _ = _read(kind, where)
    hints = get_type_hints(kind)
    described = {line["name"]: line for line in lines}
    found = []
    for field in fields(kind):
        if field.name not in described:
            raise FormulaError(f"{where}: its docstring does not describe '{field.name}'")
        default = inspect.Parameter.empty if field.default is MISSING else field.default
        found.append(_parameter(described[field.name], where, default, hints[field.name], group))
    return tuple(found)


def _closing(parts: dict[str, str]) -> dict[str, str]:
    return {"valid": parts["Valid"], "method": parts["Method"], "source": parts["Source"]}


def _read(thing: Any, where: str) -> tuple[str, list[dict[str, str]], dict[str, str]]:
    """First sentence, the lines of parameters, the closing lines by their word."""
    document = inspect.getdoc(thing)
    if not document:
        raise FormulaError(f"{where} has no docstring")
    lines: list[str] = []
    for line in document.splitlines():
        if line.startswith(" ") and lines and lines[-1]:
            lines[-1] = f"{lines[-1]} {line.strip()}"
        else:
            lines.append(line.strip())
    described, parts = [], {}
    for line in lines[1:]:
        if match := _PART.fullmatch(line):
            parts[match[1]] = match[2]
        elif match := _LINE.fullmatch(line):
            described.append({key: value or "" for key, value in match.groupdict().items()})
    return lines[0], described, parts


def _parameter(
    line: dict[str, str], where: str, default: Any = inspect.Parameter.empty, kind: Any = None, group: str = ""
) -> Parameter:
    if not line["unit"]:
        raise FormulaError(f"{where}: '{line['name'] or 'returns'}' has no unit in brackets at its end")
    words = tuple(_WORDS.findall(line["text"])) if line["unit"] == "-" else ()
    text = line["text"].rstrip(". ")
    name = line["name"]
    return Parameter(name, text, line["unit"], line["shape"], _range(text), words, default, kind, group, name)


def _range(text: str) -> Range:
    if match := _BETWEEN.search(text):
        return Range(float(match[1]), float(match[4]), match[2] == "<=", match[3] == "<=")
    if match := _FROM.search(text):
        return Range(low=float(match[2]), low_belongs=match[1] == ">=")
    if match := _UP_TO.search(text):
        return Range(high=float(match[2]), high_belongs=match[1] == "<=")
    return Range()


def _apart(parameters: list[Parameter]) -> list[Parameter]:
    """Fields of one name in two dataclasses get the name of their parameter before them."""
    count = Counter(parameter.name for parameter in parameters)
    return [replace(p, name=f"{p.group}_{p.name}") if p.group and count[p.name] > 1 else p for p in parameters]


def _optional(field: Parameter, default: Any) -> Parameter:
    """A field of a dataclass that may be left out as a whole may be left out too."""
    return field if field.optional or default is inspect.Parameter.empty else replace(field, default=None)


def _dataclass_in(hint: Any, text: str) -> type | None:
    """The dataclass whose fields are the parameters, `see there`; None where it is an array, a word, or one value."""
    if "see there" not in text:
        return None
    choices = get_args(hint) if isinstance(hint, UnionType) else (hint,)
    kinds = [kind for kind in choices if kind is not NoneType]
    return kinds[0] if len(kinds) == 1 and isinstance(kinds[0], type) and is_dataclass(kinds[0]) else None
