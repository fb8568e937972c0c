"""Any formula of the trade for numbers as they are typed, generated from the formulas themselves."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.display import in_trade
from analysis.evaluation import Given, call, check, evaluate, plain
from analysis.findings import Severity
from analysis.formulas import Formula, FormulaError, Parameter, formula
from analysis.points import nearest
from analysis.quantity import Quality, Quantity
from analysis.uncertainty import Accuracy, AccuracyError, Conformity, verdict
from analysis.units import UnitError, parse

_ACCURACY = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_AIR = ("temp_return", "temp_air", "temp", "temp_room", "temp_outdoor")
"""Where a relative humidity is taken to be, in this order, when it stands for a humidity ratio."""
_IN_PERCENT = {"relative humidity": "humidity", "oxygen": "fraction", "carbon dioxide": "fraction"}
"""What is itself read in percent, by the words of its description: a bare percentage of accuracy is points of it."""
_YES = {"yes": True, "no": False, "true": True, "false": False}


MISTAKES = (FormulaError, UnitError, AccuracyError)
"""What is raised for what was typed wrong, each with one sentence."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a computation gave: numbers by name, or findings in words."""

    formula: Formula
    results: Mapping[str, Quantity]
    findings: tuple[Any, ...] = ()
    """By severity, the worst first."""
    summary: str = ""
    """What the results mean, in a sentence, where the formula says that itself."""
    judged: Conformity | None = None
    """The result against the limits given."""


def compute(name: str, typed: Iterable[str], same_meter: Sequence[str] = ()) -> Answer:
    """Work out a quantity from `name=value` texts.

    typed : `temp=70degF`, with an accuracy `temp=70degF+-1degF`, a word `over=water`; `altitude=` may stand for the
        barometric pressure, and `humidity=` for a humidity ratio. [-]
    same_meter : `temp_return,temp_supply`: inputs read with one meter, whose offset is common to them. [-]
    returns : results with uncertainty and derivation. Raises FormulaError or UnitError, one sentence. [-]
    """
    wanted = formula(name)
    given = inputs(name, typed, same_meter)
    if not wanted.results:
        return Answer(wanted, {}, _findings(wanted, given))
    conditions = [f"{' and '.join(group.split(','))} read with one meter" for group in same_meter]
    results = evaluate(wanted, given, conditions)
    worded = wanted.uncertain and all(result.quality < Quality.BAD for result in results.values())
    return Answer(wanted, results, summary=call(wanted, plain(given)).sentence() if worded else "")


def judge(answer: Answer, low: str | None, high: str | None) -> Answer:
    """The answer with its one result judged against limits as they are typed; FormulaError or UnitError."""
    if low is None and high is None:
        return answer
    if len(answer.results) != 1:
        raise FormulaError(f"{answer.formula.name} has no single result to judge; leave out --low and --high")
    ((name, result),) = answer.results.items()
    trade = in_trade(name or answer.formula.name, result)
    lower, upper = (None if text is None else _limit(text, trade.unit, result.unit) for text in (low, high))
    if lower is not None and upper is not None and lower > upper:
        raise FormulaError(f"--low {low} is above --high {high}")
    return replace(answer, judged=verdict(trade, lower, upper))


def _limit(text: str, unit: str, inside: str) -> float:
    return parse(text, unit, difference=inside == "K")


def inputs(name: str, typed: Iterable[str], same_meter: Sequence[str] = ()) -> dict[str, Given]:
    """The inputs of a formula from `name=value` texts, as `compute` takes them; FormulaError or UnitError."""
    wanted = formula(name)
    texts = _split(typed)
    meters = _meters(same_meter, texts)
    names = {parameter.name for parameter in wanted.parameters}
    found = _read(wanted, {name: text for name, text in texts.items() if name in names}, meters)
    _stand_in(wanted, found, {name: text for name, text in texts.items() if name not in names}, meters)
    _spread(wanted, found)
    return found


def _split(typed: Iterable[str]) -> dict[str, str]:
    texts: dict[str, str] = {}
    for text in typed:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise FormulaError(f"'{text}' is not name=value, such as temp=70degF")
        if name.strip() in texts:
            raise FormulaError(f"'{name.strip()}' is given twice")
        texts[name.strip()] = value.strip()
    return texts


def _meters(same_meter: Sequence[str], texts: Mapping[str, str]) -> dict[str, str]:
    """Name of the meter for each input that shares one."""
    meters = {}
    for group in same_meter:
        names = [name.strip() for name in group.split(",")]
        for name in names:
            if name not in texts:
                raise FormulaError(f"--same-meter names '{name}', which is not given{nearest(name, texts)}")
            meters[name] = f"meter of {' and '.join(names)}"
    return meters


def _stand_in(wanted: Formula, inputs: dict[str, Given], extra: dict[str, str], meters: Mapping[str, str]) -> None:
    """Take an altitude for a missing barometric pressure, and a relative humidity for a missing humidity ratio."""
    known = {parameter.name: parameter for parameter in wanted.parameters}
    barometric = next((name for name, parameter in known.items() if parameter.barometric), "")
    pressure = inputs.get(barometric)
    wants_ratio = "ratio" not in inputs and "ratio" in known and known["ratio"].unit == "kg/kg"
    accepted = {"altitude"} if barometric or wants_ratio else set()
    accepted |= {"humidity"} if wants_ratio else set()
    for name in extra:
        if name not in accepted:
            raise FormulaError(f"{wanted.name} takes no '{name}'{nearest(name, (*known, *sorted(accepted)))}")
    if "altitude" in extra:
        if pressure is not None:
            raise FormulaError(f"{wanted.name}: give either altitude or {barometric}, not both")
        pressure = _worked_out("pressure_at_altitude", {"altitude": extra["altitude"]}, {}, meters)
        if barometric:
            inputs[barometric] = pressure
    if "humidity" in extra:
        place = next((name for name in _AIR if name in inputs), "")
        if not place or pressure is None:
            raise FormulaError(
                f"{wanted.name}: humidity stands for a humidity ratio together with the temperature of that air"
                f" ({', '.join(name for name in _AIR if name in known) or 'which is not asked here'}) and altitude"
            )
        air = {"temp": inputs[place], "pressure": pressure}
        inputs["ratio"] = _worked_out("humidity_ratio", {"humidity": extra["humidity"]}, air, meters)


def _spread(wanted: Formula, inputs: dict[str, Given]) -> None:
    """Where a formula asks for standard uncertainties by name (`u_collector`), take those of the values given."""
    for parameter in wanted.parameters:
        given = inputs.get(parameter.name)
        for asked in wanted.parameters:
            fits = asked.field == f"u_{parameter.field}" and asked.group == parameter.group
            if fits and asked.name not in inputs and isinstance(given, Quantity) and math.isfinite(given.u):
                inputs[asked.name] = Quantity(given.u, asked.unit)


def _worked_out(name: str, texts: dict[str, str], inputs: dict[str, Given], meters: Mapping[str, str]) -> Quantity:
    wanted = formula(name)
    return evaluate(wanted, {**inputs, **_read(wanted, texts, meters)})[""]


def _read(wanted: Formula, texts: Mapping[str, str], meters: Mapping[str, str]) -> dict[str, Given]:
    known = {parameter.name: parameter for parameter in wanted.parameters}
    inputs: dict[str, Given] = {}
    for name, text in texts.items():
        inputs[name] = _value(known[name], text, meters.get(name, name))
    return inputs


def _value(parameter: Parameter, text: str, meter: str) -> Given:
    if parameter.unit == "-":
        if parameter.kind is bool or text in _YES:
            if text.lower() not in _YES:
                raise FormulaError(f"{parameter.name} is yes or no, not '{text}'")
            return _YES[text.lower()]
        spaced = text.replace("_", " ")
        return spaced if spaced in parameter.words else text
    number, *accuracy = _ACCURACY.split(text, maxsplit=1)
    inside = "1" if parameter.unit == "kg/kg" else parameter.unit
    value = parse(number, inside, difference=parameter.unit == "K")
    if not accuracy:
        return Quantity(value, parameter.unit)
    measure = next((measure for words, measure in _IN_PERCENT.items() if words in parameter.text), "")
    return Accuracy.parse(accuracy[0], measure).quantity(value, parameter.unit, meter=meter, reading=parameter.name)


def _findings(wanted: Formula, inputs: Mapping[str, Given]) -> tuple[Any, ...]:
    check(wanted, inputs)
    return tuple(sorted(call(wanted, plain(inputs)), key=lambda finding: list(Severity).index(finding.severity)))
