"""A comparison as one JSON object; `docs/compare.md` describes it."""

import json
import math
from dataclasses import replace
from typing import Any

from analysis.comparison import Compared, Item, Outcomes
from analysis.comparison.conditions import Conditions
from analysis.comparison.corrections import Correction
from analysis.comparison.link import Figure
from analysis.comparison.outcomes import Share
from analysis.comparison.representative import Representative
from analysis.quantity import Quantity
from collector.analysis_json import recording
from collector.analysis_units import in_units, rounded
from collector.compare_run import Compare
from collector.compare_safety import safety_first

DIFFERENCE = "temp_rise.settled.high"
"""A measure whose values are differences of temperatures: their unit has no zero."""


def text_of(found: Compare) -> str:
    """The object as text; a value that is none is null."""
    return json.dumps(in_json(found), ensure_ascii=False, allow_nan=False)


def in_json(found: Compare) -> dict[str, Any]:
    """The object."""
    one = found.found
    return {
        "before": recording(found.before),
        "after": recording(found.after),
        "units": found.units,
        "stops": safety_first(found),
        "comparable": not one.nothing,
        "notes": list(found.notes),
        "conditions": _conditions(one.conditions, found.units),
        "outcomes": _outcomes(one.outcomes),
        "measures": [_measure(each, found.units) for each in one.measures],
        "only_before": list(one.only_before),
        "only_after": list(one.only_after),
        "not_compared": [{"name": name, "why": why} for name, why in one.not_compared],
        "chain": [_item(each, found.units) for each in found.chain],
    }


def apart(name: str, quantity: Quantity, units: str) -> Quantity:
    """A difference of two values of a measure, in the units of the heads of CSV files."""
    if quantity.unit == "degC":
        return in_units(DIFFERENCE, replace(quantity, unit="K"), units)
    return in_units(name, quantity, units)


def figure_in(figure: Figure, units: str) -> Quantity:
    """The number of a link, in the units of the heads of CSV files."""
    return in_units(figure.name.removeprefix("slope."), figure.quantity, units)


def instruments(channels: tuple[str, ...]) -> list[str]:
    """Names of the instruments of channels, each once."""
    return list(dict.fromkeys(key.partition("@")[2] for key in channels))


def _number(quantity: Quantity) -> dict[str, Any]:
    value, u = rounded(quantity)
    return {"value": value, "unit": quantity.unit, "u": u}


def _conditions(around: Conditions, units: str) -> dict[str, Any]:
    return {
        "temp_outdoor": _pair(around.outdoor, around.outdoor_u, units),
        "temp_return": _pair(around.returns, around.returns_u, units),
        "altitude": [None if one is None else round(one, 1) for one in around.altitudes],
        "pipes": around.pipes,
    }


def _pair(pair: tuple[float, float] | None, u: float, units: str) -> dict[str, Any] | None:
    if pair is None:
        return None
    first, second = (in_units("temp_outdoor", Quantity(value, "degC", u), units) for value in pair)
    return {
        "before": rounded(first)[0],
        "after": rounded(second)[0],
        "unit": first.unit,
        "u_difference": rounded(first)[1],
    }


def _outcomes(one: Outcomes) -> dict[str, Any]:
    return {
        "before": _share(one.before),
        "after": _share(one.after),
        "probability": None if math.isnan(one.probability) else round(one.probability, 6),
        "verdict": one.verdict.replace(" ", "_"),
        "clean_needed": one.needed,
        "clean_to_tell": one.to_tell,
        "clean_needed_at_most": one.needed_surely,
        "why": one.why,
    }


def _share(one: Share) -> dict[str, Any]:
    return {
        "failed": one.failed,
        "count": one.count,
        "low": round(one.low, 4),
        "high": round(one.high, 4),
        "outcomes": dict(one.how),
    }


def _measure(one: Compared, units: str) -> dict[str, Any]:
    sees = replace(one.difference, value=one.sees, u=math.nan, budget=(), interval=None)
    return {
        "name": one.name,
        "before": _mean(one.name, one.before, units),
        "after": _mean(one.name, one.after, units),
        "corrections": [_correction(one.name, each, one.difference.unit, units) for each in one.corrections],
        "difference": _number(apart(one.name, one.difference, units)),
        "sees": rounded(apart(one.name, sees, units))[0],
        "verdict": one.verdict.replace(" ", "_"),
        "better": one.meaning.way,
        "same_meter": one.same_meter,
        "why": one.why,
    }


def _mean(name: str, one: Representative, units: str) -> dict[str, Any]:
    quantity = in_units(name, one.quantity, units)
    doubt = one.quantity.reason or None
    return _number(quantity) | {"attempts": one.count, "doubt": doubt, "instruments": instruments(one.channels)}


def _correction(name: str, one: Correction, unit: str, units: str) -> dict[str, Any]:
    moved = _number(apart(name, Quantity(one.amount, unit, one.u), units))
    return {"what": one.what, "applied": one.applied, "amount": moved["value"], "u": moved["u"], "text": one.text}


def _item(one: Item, units: str) -> dict[str, Any]:
    return {
        "item": one.item,
        "state": one.state.replace(" ", "_"),
        "text": one.text,
        "figures": [
            {"name": each.name, **_number(figure_in(each, units)), "instruments": instruments(each.channels)}
            for each in one.figures
        ],
    }
