"""A formula worked out for numbers that know their uncertainty: the result can explain itself."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.formulas import Formula, FormulaError, Parameter
from analysis.points import nearest
from analysis.propagation import propagate
from analysis.quantity import Derivation, Quality, Quantity

Given = Quantity | str | bool
"""An input: a number with its unit, or a word."""


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
            conditions=tuple(conditions),
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
    for group, kind in formula.groups.items():
        if group in gathered:
            direct[group] = kind(**gathered[group])
    try:
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

    def number(**values: Any) -> Any:
        worked_out = call(formula, {**values, **words})
        return getattr(worked_out, result.name) if result.name else worked_out

    found = propagate(number, {**sure, **exact}, unit=result.unit, name=formula.name)
    if not sure or math.isnan(found.quantity.value):
        return replace(found.quantity, u=math.nan), ""
    taken = f"; taken as exact: {', '.join(exact)}" if exact else ""
    return found.quantity, f"{found.way}{taken}"


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
            said = f"{parameter.name} = {value.value:g} {parameter.unit}".removesuffix(" 1")
            return (
                f"{said} cannot be: {parameter.text}" if np.isfinite(value.value) else f"{parameter.name} is no number"
            )
    return ""


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
    altitude = " or altitude [m]" if parameter.barometric else ""
    return f"{parameter.name} [{parameter.unit}]{altitude}"
