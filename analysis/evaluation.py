"""A formula worked out for numbers that know their uncertainty: the result can explain itself."""

import inspect
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.display import shown, unit_of
from analysis.formulas import Formula, FormulaError, Parameter
from analysis.points import nearest
from analysis.propagation import propagate
from analysis.quantity import Derivation, Quality, Quantity

Given = Quantity | str | bool
"""An input: a number with its unit, or a word."""

_ANYWHERE = (-math.inf, math.inf)
_NEGLIGIBLE = 1e-12
_CANCELLED = (
    "not known, because the accuracies given cancel; what one meter does not share between two readings is missing,"
    " such as its resolution or the difference of two probes"
)


def evaluate(formula: Formula, inputs: Mapping[str, Given], conditions: Sequence[str] = ()) -> dict[str, Quantity]:
    """Work a formula out; each result carries its uncertainty, its inputs, source and validity.

    formula : what `analysis.formulas.formula` gives. [-]
    inputs : by the names of the formula's parameters, in their inside units; optional ones may be left out. [-]
    conditions : what else the result rests on, in words. [-]
    returns : results by name, an empty name for a formula of one number; no value and a reason where an input is
        outside its range. Raises FormulaError for a name that is none, a word that is none, or a missing input. [-]
    """
    check(formula, inputs)
    reason = _outside(formula, inputs)
    solved = call(formula, plain(inputs)) if formula.uncertain and not reason else None
    results = {}
    for result in formula.results:
        if reason:
            found, way = Quantity(math.nan, result.unit, quality=Quality.BAD, reason=reason), ""
        elif solved is not None:
            found, way = _taken(getattr(solved, result.name), result.unit), "as the method says"
        else:
            found, way = _propagated(formula, inputs, result)
        how = Derivation(
            formula=formula.name,
            text=f"{formula.text.rstrip('.')} ({result.text})" if result.name else formula.text,
            inputs=tuple((name, _word(value)) for name, value in inputs.items()),
            valid=formula.valid,
            method=formula.method,
            source=formula.source,
            conditions=(*conditions, *_defaults(formula, inputs)),
            propagation=way,
        )
        results[result.name] = replace(found, how=how)
    return results


def call(formula: Formula, inputs: Mapping[str, Any]) -> Any:
    """Call a formula with its parameters flat: the fields of a dataclass are gathered into it; FormulaError."""
    direct: dict[str, Any] = {}
    gathered: dict[str, dict[str, Any]] = {}
    for parameter in formula.parameters:
        if parameter.name not in inputs:
            continue
        value = inputs[parameter.name]
        if parameter.group:
            gathered.setdefault(parameter.group, {})[parameter.field] = value
        else:
            direct[parameter.name] = value
    signature = inspect.signature(formula.function)
    try:
        for group, kind in formula.groups.items():
            if group in gathered or signature.parameters[group].default is inspect.Parameter.empty:
                direct[group] = kind(**gathered.get(group, {}))
        return formula.function(**direct)
    except ValueError as error:  # a request that makes no sense
        raise FormulaError(f"{formula.name}: {error}") from error


def plain(inputs: Mapping[str, Given]) -> dict[str, float | str | bool]:
    """The inputs without their uncertainty."""
    return {name: value.value if isinstance(value, Quantity) else value for name, value in inputs.items()}


def _taken(value: Any, unit: str) -> Quantity:
    return value if isinstance(value, Quantity) else Quantity(float(value), unit)


def _propagated(formula: Formula, inputs: Mapping[str, Given], result: Parameter) -> tuple[Quantity, str]:
    """A result and how its uncertainty was found; an input of unknown accuracy counts as exact, and is named."""
    sure = {name: value for name, value in inputs.items() if isinstance(value, Quantity) and math.isfinite(value.u)}
    exact = {name: value.value for name, value in inputs.items() if isinstance(value, Quantity) and name not in sure}
    words = {name: value for name, value in inputs.items() if not isinstance(value, Quantity)}
    ends = {p.name: _physical(p) for p in formula.parameters if p.name in sure}

    def number(**values: Any) -> Any:
        possible = {name: np.clip(value, *ends.get(name, _ANYWHERE)) for name, value in values.items()}
        worked_out = call(formula, {**possible, **words})
        return getattr(worked_out, result.name) if result.name else worked_out

    found = propagate(number, {**sure, **exact}, unit=result.unit, name=formula.name)
    if math.isnan(found.quantity.value):
        return replace(found.quantity, u=math.nan, reason=_nothing(formula, inputs, result)), ""
    if not sure:
        return replace(found.quantity, u=math.nan), ""
    taken = f"; taken as exact: {', '.join(exact)}" if exact else ""
    if abs(found.quantity.u) <= _NEGLIGIBLE * abs(found.quantity.value):
        return replace(found.quantity, u=math.nan, budget=()), f"{_CANCELLED}{taken}"
    return found.quantity, f"{found.way}{taken}"


def _physical(parameter: Parameter) -> tuple[float, float]:
    """Where the true value lies whatever the meter shows: nothing is less than none, no share is more than all."""
    bounds = parameter.range
    low = 0.0 if bounds.low == 0 and bounds.low_belongs else -math.inf
    high = 1.0 if bounds.high == 1 and bounds.high_belongs and parameter.unit == "1" else math.inf
    return low, high


def _nothing(formula: Formula, inputs: Mapping[str, Given], result: Parameter) -> str:
    """Why there is no result for inputs that each lie in their range."""
    empty = [name for name, value in inputs.items() if isinstance(value, Quantity) and math.isnan(value.value)]
    if empty:
        reasons = {value.reason for value in inputs.values() if isinstance(value, Quantity) and value.reason}
        return f"{' and '.join(empty)} without a value" + "".join(f": {reason}" for reason in sorted(reasons))
    when = result.text.partition("NaN where ")[2]
    return f"{formula.name} has none for these inputs" + (f"; it has none where {when}" if when else "")


def _defaults(formula: Formula, inputs: Mapping[str, Given]) -> list[str]:
    """What was taken because it was not given, where that is a word or a plain number."""
    said = []
    for one in formula.parameters:
        if one.name in inputs or not one.optional or one.group:
            continue
        if isinstance(one.default, str):
            said.append(f"{one.name} {one.default}")
        elif isinstance(one.default, float) and math.isfinite(one.default):
            said.append(f"{one.name} {shown(one.name, Quantity(one.default, one.unit))}")
    return [f"not given, so taken: {', '.join(said)}"] if said else []


def check(formula: Formula, inputs: Mapping[str, Given]) -> None:
    """FormulaError for a name that is none, a word that is none, or a missing input."""
    known = {parameter.name: parameter for parameter in formula.parameters}
    for name, value in inputs.items():
        if name not in known:
            raise FormulaError(f"{formula.name} takes no '{name}'{nearest(name, known)}")
        words = known[name].words
        if isinstance(value, str) and words and value not in words:
            raise FormulaError(f"{formula.name}: {name} cannot be '{value}'; {_known(value, words)}")
    missing = [p for p in formula.parameters if not p.optional and p.name not in inputs]
    if missing:
        raise FormulaError(f"{formula.name} also needs {', '.join(_asked(parameter) for parameter in missing)}")


def _outside(formula: Formula, inputs: Mapping[str, Given]) -> str:
    """Why an input cannot be: which one, its value and its range; empty when all may be."""
    for parameter in formula.parameters:
        value = inputs.get(parameter.name)
        if isinstance(value, Quantity) and not parameter.range.holds(value.value):
            if value.reason:
                return f"{parameter.name} has no value: {value.reason}"
            if not math.isfinite(value.value):
                return f"{parameter.name} is no number"
            said = f"{parameter.name} = {shown(parameter.name, Quantity(value.value, parameter.unit))}"
            return f"{said} cannot be; it has to be {_bounds(parameter)}"
    return ""


def _bounds(parameter: Parameter) -> str:
    """The range of a parameter in words and in the trade's unit."""
    bounds = parameter.range
    low, high = (
        None if end is None else shown(parameter.name, Quantity(end, parameter.unit))
        for end in (bounds.low, bounds.high)
    )
    parts = [f"{'at least' if bounds.low_belongs else 'above'} {low}"] if low else []
    parts += [f"{'at most' if bounds.high_belongs else 'below'} {high}"] if high else []
    return " and ".join(parts)


def _word(value: Given) -> Quantity | str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value


def _known(value: str, words: Sequence[str]) -> str:
    close = nearest(value, words).removeprefix("; ")
    return close or f"known are {', '.join(words)}"


def _asked(parameter: Parameter) -> str:
    if parameter.words:
        return f"{parameter.name} ({' or '.join(parameter.words)})"
    altitude = " or altitude [ft]" if parameter.barometric else ""
    return f"{parameter.name} [{unit_of(parameter.name, parameter.unit)}]{altitude}"
