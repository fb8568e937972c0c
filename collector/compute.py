"""Any formula of the trade for numbers as they are typed, generated from the formulas themselves."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from analysis.combustion import CO_LIMIT, CO_STOP
from analysis.display import in_trade, unit_of
from analysis.evaluation import Given, call, check, evaluate, plain
from analysis.findings import Severity
from analysis.formulas import Formula, FormulaError, Parameter, formula
from analysis.points import nearest
from analysis.quantity import Quality, Quantity
from analysis.uncertainty import Accuracy, AccuracyError, Conformity, verdict
from analysis.units import UnitError, parse

_BARE = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?")
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
    wanted = formula(name.lower())
    given = inputs(wanted.name, typed, same_meter)
    if not wanted.results:
        return Answer(wanted, {}, _findings(wanted, given))
    conditions = [f"{' and '.join(group.split(','))} read with one meter" for group in same_meter]
    results = evaluate(wanted, given, conditions)
    stop = CO_STOP if wanted.name.startswith("co_air_free") and results[""].value > CO_LIMIT else ""
    worded = wanted.uncertain and all(result.quality < Quality.BAD for result in results.values())
    return Answer(wanted, results, summary=call(wanted, plain(given)).sentence() if worded else stop)


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
    meters = _meters(wanted, same_meter, texts)
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
            raise FormulaError(f"'{text[:60]}' is not name=value, such as temp=70degF")
        if name.strip() in texts:
            raise FormulaError(f"'{name.strip()}' is given twice")
        texts[name.strip()] = value.strip()
    return texts


def _meters(wanted: Formula, same_meter: Sequence[str], texts: Mapping[str, str]) -> dict[str, str]:
    """Name of the meter for each input that shares one."""
    meters = {}
    for group in same_meter:
        names = [name.strip() for name in group.split(",")]
        if len(set(names)) < 2:
            raise FormulaError(f"--same-meter names two or more inputs, such as temp_return,temp_supply, not '{group}'")
        for name in names:
            if name not in texts:
                raise FormulaError(f"--same-meter names '{name}', which is not given{nearest(name, texts)}")
            if name in meters:
                raise FormulaError(f"--same-meter names '{name}' twice; give one list for each meter")
            meters[name] = f"meter of {' and '.join(names)}"
        both = " and ".join(names)
        if len({parameter.unit for parameter in wanted.parameters if parameter.name in names}) > 1:
            raise FormulaError(f"{both} are not read with one meter: they have different units")
        stated = {" ".join(_ACCURACY.split(texts[name], maxsplit=1)[1:]) for name in names}
        if len(stated) > 1 or not all(stated):
            raise FormulaError(f"{both} are read with one meter: give both the same accuracy")
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
        default = known[barometric].default if barometric else None
        if pressure is None and isinstance(default, float):
            pressure = Quantity(default, "Pa")
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
    value = _number(parameter, number)
    if not accuracy:
        return Quantity(value, parameter.unit)
    measure = next((measure for words, measure in _IN_PERCENT.items() if words in parameter.text), "")
    stated = Accuracy.parse(accuracy[0], measure)
    if parameter.unit == "degC" and "%" in accuracy[0] and "deg" not in accuracy[0]:
        raise FormulaError(f"{parameter.name}: a percentage of a temperature depends on its scale; write it in degF")
    return stated.quantity(value, parameter.unit, meter=meter, reading=parameter.name)


def _number(parameter: Parameter, text: str) -> float:
    """A number as it is typed, in the inside unit; FormulaError or UnitError with what to write."""
    if parameter.unit == "1" and text.lower() in _YES:
        return float(_YES[text.lower()])
    trade = unit_of(parameter.name, parameter.unit)
    bare = float(text) if _BARE.fullmatch(text) else None
    if parameter.unit == "kg/kg" and ("%" in text or (bare is not None and abs(bare) >= 1)):
        raise FormulaError(f"{parameter.name}: '{text}' is no mass of water for a mass of air; write 38gr/lb, say")
    if bare is not None and parameter.unit not in ("1", "kg/kg"):
        if bare == 0 and parameter.unit != "degC":
            return 0.0
        raise FormulaError(f"{parameter.name}: '{text}' has no unit; write for example {text}{trade}")
    if bare is not None and trade in ("%", "ppm") and abs(bare) > 1:
        of = f" or {bare * 100:g}%" if trade == "%" else ""
        raise FormulaError(f"{parameter.name}: '{text}' has no unit; write {text}{trade}{of}")
    inside = "1" if parameter.unit == "kg/kg" else parameter.unit
    try:
        return parse(text, inside, difference=parameter.unit == "K")
    except UnitError as error:
        raise UnitError(f"{parameter.name}: {error}") from error


def _findings(wanted: Formula, inputs: Mapping[str, Given]) -> tuple[Any, ...]:
    check(wanted, inputs)
    return tuple(sorted(call(wanted, plain(inputs)), key=lambda finding: list(Severity).index(finding.severity)))
