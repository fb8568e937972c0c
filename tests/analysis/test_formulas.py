"""Every formula describes itself, and does what its description says: ranges, shapes, NaN."""

from collections.abc import Callable, Iterator, Mapping
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from analysis import conformity, propagation, steady, uncertainty
from analysis.evaluation import call
from analysis.formulas import (
    SUBJECTS,
    Formula,
    FormulaError,
    Parameter,
    Range,
    describe,
    formula,
    formulas,
    functions_of,
)
from analysis.quantity import Quantity
from analysis.units import conversion
from tests.analysis.checks import read, subjects
from tests.analysis.inputs import inputs_of

NUMERIC = {name: known for name, known in formulas().items() if known.results and not known.uncertain}
OTHERS: tuple[ModuleType, ...] = (uncertainty, propagation, conformity, steady)
"""Modules of functions that work on quantities and series, not on plain numbers."""
NEEDED_ONLY_SOMETIMES = {
    ("switch_margin", "closing"): "the set-point that does not count may be missing",
    ("switch_margin", "opening"): "the set-point that does not count may be missing",
}


FUNCTIONS = list(dict.fromkeys(function for module in (*SUBJECTS, *OTHERS) for function in functions_of(module)))


@pytest.fixture(scope="module")
def examples() -> dict[str, Mapping[str, Any]]:
    """For each formula the inputs of the first row of its table."""
    found: dict[str, Mapping[str, Any]] = {}
    for subject in subjects():
        for check in read(subject):
            if check.function not in found:
                found[check.function] = inputs_of(check.function, check.row["inputs"].split())
    return found


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: function.__name__)
def test_a_public_function_says_unit_shape_validity_and_source(function: Callable[..., Any]) -> None:
    described = describe(function)
    assert described.text
    assert len(described.source) > 10
    assert len(described.valid) > 3
    for parameter in (*described.parameters, *described.results):
        assert parameter.text, parameter.name
        if parameter.unit != "-":
            assert parameter.shape, f"{parameter.name} has no shape"
            assert conversion(parameter.unit, parameter.unit).scale == 1
        else:
            assert not parameter.shape, f"{parameter.name} has a shape and no unit"


def test_a_name_means_one_thing() -> None:
    units: dict[str, set[str]] = {}
    for known in NUMERIC.values():
        for parameter in known.parameters:
            units.setdefault(parameter.field, set()).add(parameter.unit)
    assert {name: found for name, found in units.items() if len(found) > 1} == {}


def test_names_are_told_apart() -> None:
    names = [function.__name__ for function in FUNCTIONS]
    assert len(set(names)) == len(names)


def ranged(known: Formula) -> Iterator[tuple[Parameter, float]]:
    """Parameters with values just outside their range as it is written."""
    for parameter in known.parameters:
        if parameter.unit == "-":
            continue
        bounds = parameter.range
        span = 1.0 if bounds.low is None or bounds.high is None else bounds.high - bounds.low
        step = 1e-6 * max(span, 1e-3)
        if bounds.low is not None:
            yield parameter, bounds.low - step
            if not bounds.low_belongs:
                yield parameter, bounds.low
        if bounds.high is not None:
            yield parameter, bounds.high + step
            if not bounds.high_belongs:
                yield parameter, bounds.high


def values(known: Formula, inputs: Mapping[str, Any]) -> list[Any]:
    worked_out = call(known, inputs)
    return [getattr(worked_out, result.name) if result.name else worked_out for result in known.results]


@pytest.mark.parametrize("name", NUMERIC)
def test_an_example_has_a_value(name: str, examples: dict[str, Mapping[str, Any]]) -> None:
    found = values(NUMERIC[name], examples[name])
    assert np.all([np.ndim(value) == 0 for value in found])
    assert np.any(np.isfinite(np.array(found, float)))


@pytest.mark.parametrize("name", NUMERIC)
def test_outside_a_written_range_there_is_no_value(name: str, examples: dict[str, Mapping[str, Any]]) -> None:
    known = NUMERIC[name]
    for parameter, outside in ranged(known):
        found = values(known, {**examples[name], parameter.name: outside})
        assert np.all(np.isnan(found)), (
            f"{parameter.name} = {outside!r} is outside {parameter.range}, and gives {found}"
        )


@pytest.mark.parametrize("name", NUMERIC)
def test_ends_of_a_written_range_belong_to_it(name: str, examples: dict[str, Mapping[str, Any]]) -> None:
    """The range as written is the range in force: an end that belongs gives what a hair inside gives."""
    known = NUMERIC[name]
    for parameter in known.parameters:
        bounds = parameter.range
        span = 1.0 if bounds.low is None or bounds.high is None else bounds.high - bounds.low
        for end, belongs, inward in ((bounds.low, bounds.low_belongs, 1), (bounds.high, bounds.high_belongs, -1)):
            if end is None or not belongs or parameter.unit == "-":
                continue
            at = np.isnan(values(known, {**examples[name], parameter.name: end}))
            near = np.isnan(values(known, {**examples[name], parameter.name: end + inward * 1e-9 * span}))
            assert np.all(at <= near), f"{parameter.name} = {end} belongs to {bounds} and gives no value"


@pytest.mark.parametrize("name", NUMERIC)
def test_nan_and_infinity_give_nan(name: str, examples: dict[str, Mapping[str, Any]]) -> None:
    known = NUMERIC[name]
    for parameter in known.parameters:
        if parameter.unit == "-" or (name, parameter.name) in NEEDED_ONLY_SOMETIMES:
            continue
        for wrong in (np.nan, np.inf, -np.inf):
            found = values(known, {**examples[name], parameter.name: wrong})
            assert np.any(np.isnan(found)), f"{parameter.name} = {wrong} gives {found}"
            if parameter.shape and not known.results[0].name:
                assert np.all(np.isnan(found))


@pytest.mark.parametrize("name", NUMERIC)
def test_arrays_of_any_shape(name: str, examples: dict[str, Mapping[str, Any]]) -> None:
    """Empty in gives empty out; a column against a row gives the table, each cell as the plain numbers give it."""
    known = NUMERIC[name]
    numbers = [p.name for p in known.parameters if p.unit != "-" and p.name in examples[name]]
    alone = np.array(values(known, examples[name]), float)
    if not numbers:
        return
    first, rest = numbers[0], numbers[1:]
    empty = values(known, {**examples[name], first: np.empty((0, 2))})
    assert [np.shape(value) for value in empty if np.size(value) == 0], "nothing is empty"
    column = {first: np.full((3, 1), examples[name][first])}
    row = {other: np.full(4, examples[name][other]) for other in rest}
    for found, plain, result in zip(
        values(known, {**examples[name], **column, **row}), alone, known.results, strict=True
    ):
        assert np.shape(found) in ((3, 4), (3, 1), (4,)), (result.name, np.shape(found))
        if rest and not result.name:
            assert np.shape(found) == (3, 4)
        np.testing.assert_allclose(found, np.full(np.shape(found), plain), rtol=1e-9)


def test_nobody_is_sent_to_another_formula_to_read_what_holds() -> None:
    sent = [name for name, known in formulas().items() for text in (known.valid, known.method, known.source)
            if text.lower().startswith("as `")]  # fmt: skip
    assert sent == []


def test_an_unknown_name_brings_the_nearest() -> None:
    with pytest.raises(FormulaError, match=r"unknown quantity 'humidity_ration'; nearest known: humidity_ratio"):
        formula("humidity_ration")


@pytest.mark.parametrize(
    ("document", "complaint"),
    [
        (
            "Sum.\n\n    first : (...) one. [K]\n    returns : (...) sum. [K]\n\n    Valid: all.\n    Method: m.",
            "Source",
        ),
        (
            "It.\n\n    first : (...) one.\n    returns : (...) it. [K]\n\n    Valid: v\n    Method: m\n    Source: s",
            "unit",
        ),
        (
            "Sum.\n\n    other : (...) one. [K]\n    returns : (...) sum. [K]\n\n    Valid: v.\n    Source: s.",
            "describes",
        ),
        ("", "no docstring"),
    ],
)
def test_what_does_not_describe_itself_is_refused(document: str, complaint: str) -> None:
    def total(first: float) -> float:
        return first

    total.__doc__ = document
    with pytest.raises(FormulaError, match=complaint):
        describe(total)


def test_ranges_as_they_are_written() -> None:
    def share(first: float) -> float:
        """Share.

        first : (...) one,
            -1.5 < value <= 2e-3, and so on. [K]
        returns : (...) share. [1]

        Valid: v.
        Method: m.
        Source: s.
        """
        return first

    found = describe(share).parameters[0].range
    assert found == Range(-1.5, 2e-3, low_belongs=False, high_belongs=True)
    assert [found.holds(value) for value in (-1.5, -1.4, 2e-3, 3e-3, float("nan"))] == [False, True, True, False, False]
    assert str(found) == "-1.5 < value <= 0.002"


def test_a_quantity_read_alone_says_so() -> None:
    assert Quantity(1.25, "Pa", u=0.01).explain() == "1.250 ± 0.020 Pa, as read or typed in."
