"""What a computation says, to people and to programs."""

import json
import math
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from analysis.conformity import Conformity
from analysis.display import in_trade, shown
from analysis.findings import Finding
from analysis.formulas import FormulaError, Parameter, formula, formulas
from analysis.quantity import Quality, Quantity
from collector.compute import Answer, compute, judge

WIDTH = 110
"""Longest line. [characters]"""


def answered(
    name: str | None,
    typed: Sequence[str],
    as_json: bool,  # noqa: FBT001
    *,
    same_meter: Sequence[str] = (),
    low: str | None = None,
    high: str | None = None,
) -> tuple[str, bool]:
    """What `lightoff compute` prints, and whether every number asked for has a value; raises `compute.MISTAKES`."""
    if name is None:
        raise FormulaError("which quantity? lightoff compute --list shows all")
    answer = judge(compute(name, typed, same_meter), low, high)
    text = _json(in_json(answer)) if as_json else "\n".join(lines(answer))
    return text, all(result.quality < Quality.BAD for result in answer.results.values())


def listed(name: str | None, as_json: bool) -> str:  # noqa: FBT001
    """What `lightoff compute --list` prints; raises `compute.MISTAKES`."""
    return _json(listing_in_json(name)) if as_json else "\n".join(listing(name))


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def lines(answer: Answer) -> list[str]:
    """The answer for people."""
    found: list[str] = [answer.summary] if answer.summary else []
    for name, quantity in answer.results.items():
        trade = in_trade(name or answer.formula.name, quantity)
        label = f"{answer.formula.name}.{name}" if name else answer.formula.name
        inside = "" if trade.unit == quantity.unit or math.isnan(trade.value) else f"  ({quantity})"
        found.append(f"{label}: {trade}{inside}")
    found += [f"{finding.severity}: {finding.text}{_figures(finding)}" for finding in answer.findings]
    if answer.judged is not None:
        judged = answer.judged
        found += _wrapped("Verdict", f"{judged.verdict.replace('_', ' ')}: {judged.why.rstrip('.')}.")
        found += _wrapped("What would tell", f"{judged.remedy.rstrip('.')}.") if judged.remedy else []
    first = next(iter(answer.results.values()), None)
    if first is not None:
        found += [line for step in first.steps(shown) for line in _wrapped(*step)]
    return found


def in_json(answer: Answer) -> dict[str, Any]:
    """The answer for programs: in inside units and in the trade's, with all that it rests on; null is no value."""
    return {
        "quantity": answer.formula.name,
        "results": [
            {"name": name} | _plainly(name or answer.formula.name, quantity)
            for name, quantity in answer.results.items()
        ],
        "summary": answer.summary,
        "judged": _judged(answer.judged),
        "findings": [_finding(finding) for finding in answer.findings],
    }


def _wrapped(label: str, text: str) -> list[str]:
    """A step of the explanation on lines of a terminal."""
    head = f"{label}: " if label else ""
    return textwrap.wrap(f"{head}{text}", WIDTH, initial_indent="  ", subsequent_indent="    ", break_on_hyphens=False)


def _figures(finding: Finding) -> str:
    """The numbers that a finding rests on, in brackets."""
    figures = [f"{label} {_figure(value, unit)}" for label, value, unit in finding.values]
    return f" ({', '.join(figures)})" if figures else ""


def _judged(judged: Conformity | None) -> dict[str, Any] | None:
    return asdict(judged) | {"probability": _number(judged.probability)} if judged else None


def _figure(value: float, unit: str) -> str:
    """A number of a finding; one without dimension is a share, all of them humidities."""
    return f"{value * 100:.3g} %" if unit == "1" else shown("", Quantity(value, unit))


def _finding(finding: Finding) -> dict[str, Any]:
    values = [{"label": label, "value": _number(value), "unit": unit} for label, value, unit in finding.values]
    return {"name": finding.name, "severity": finding.severity, "text": finding.text, "values": values}


def _plainly(name: str, quantity: Quantity) -> dict[str, Any]:
    trade = in_trade(name, quantity)
    return {
        "value": _number(quantity.value),
        "unit": quantity.unit,
        "u": _number(quantity.u),
        "freedom": _number(quantity.freedom),
        "interval": list(quantity.interval) if quantity.interval else None,
        "budget": [{"error": error.name, "u": part} for error, part in quantity.budget],
        "trade": {"value": _number(trade.value), "unit": trade.unit, "u": _number(trade.u)},
        "quality": quantity.quality.name.lower(),
        "reason": quantity.reason,
        "how": _how(quantity),
    }


def _how(quantity: Quantity) -> dict[str, Any] | None:
    how = quantity.how
    if how is None:
        return None
    return {
        "formula": how.formula,
        "inputs": {name: value if isinstance(value, str) else _plainly(name, value) for name, value in how.inputs},
        "valid": how.valid,
        "method": how.method,
        "source": how.source,
        "conditions": list(how.conditions),
        "uncertainty": how.propagation,
        "text": quantity.explain(shown),
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def listing(name: str | None) -> list[str]:
    """All quantities by subject with what they are; or one with what it needs and rests on."""
    if name is None:
        found = formulas()
        subjects = dict.fromkeys(known.subject for known in found.values())
        width = max(map(len, found))
        return [
            line
            for subject in subjects
            for line in (
                f"{subject}:",
                *(f"  {known.name:<{width}}  {known.text}" for known in found.values() if known.subject == subject),
                "",
            )
        ][:-1]
    wanted = formula(name)
    rows = [f"{wanted.name}: {wanted.text}"]
    rows += [f"  {_needed(parameter)}" for parameter in wanted.parameters]
    rows += [f"gives {result.name or wanted.name} [{result.unit}]: {result.text}" for result in wanted.results]
    return [*rows, f"Holds: {wanted.valid}", f"Method: {wanted.method}", f"Source: {wanted.source}"]


def listing_in_json(name: str | None) -> list[dict[str, Any]]:
    """The same for programs."""
    wanted = formulas().values() if name is None else [formula(name)]
    return [
        {
            "quantity": known.name,
            "subject": known.subject,
            "text": known.text,
            "inputs": [_described(parameter) | {"optional": parameter.optional} for parameter in known.parameters],
            "results": [_described(result) for result in known.results],
            "valid": known.valid,
            "method": known.method,
            "source": known.source,
        }
        for known in wanted
    ]


def _described(parameter: Parameter) -> dict[str, Any]:
    return {"name": parameter.name, "unit": parameter.unit, "text": parameter.text, "words": list(parameter.words)}


def _needed(parameter: Parameter) -> str:
    optional = "" if not parameter.optional else " (may be left out)"
    return f"{parameter.name} [{parameter.unit}]: {parameter.text}{optional}"
