"""What was measured against what the job file says: pass, fail, cannot tell, or not measured and what it would need."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from analysis.check_table import ROWS, Known, Limits, Row
from analysis.findings import Finding, Severity
from analysis.lockouts import judge
from analysis.measures.measured import Measured
from analysis.model import Plate
from analysis.points import DERIVED, POINTS, measure_of
from analysis.quantity import Error, Quality, Quantity
from analysis.sequence.attempts import Attempt
from analysis.uncertainty import verdict
from analysis.units import conversion

__all__ = ["Check", "Known", "checks"]

ORDER = ("fail", "cannot_tell", "pass", "not_measured")
_WORDS = {"fail": "outside", "pass": "inside", "cannot_tell": "too near a limit to tell"}
_REMEDIES = {
    "neither": "it is at the limit itself",
    "a longer reading": "a longer reading would tell",
    "a better meter": "a more accurate meter would tell",
    "the accuracy": "the accuracy of the meter, from its sheet, would tell",
}
_BURNED = frozenset({"blower_on_delay", "run_low", "run_high"})
_NEXT = {
    "prepurge": {"igniter_warmup", "ignition_trial"},
    "igniter_warmup": {"ignition_trial"},
    "ignition_trial": {"blower_on_delay", "interpurge", "lockout", "post_purge", "run_low", "run_high"},
    "blower_on_delay": {"run_low", "run_high"},
    "post_purge": {"blower_off_delay"},
}
"""What follows a phase that has run its course; one that was cut short says nothing of the control's times."""


@dataclass(frozen=True, slots=True)
class Check:
    """One judgement; of several attempts with the same one, that which is nearest to another."""

    check: str
    """Key of the job file that is judged."""
    quantity: Quantity | None
    """What was measured; None where nothing was."""
    low: float | None
    """Smallest value allowed, None where there is none. [unit of the quantity]"""
    high: float | None
    verdict: str
    """`pass`, `fail`, `cannot_tell` or `not_measured`."""
    why: str
    """What was compared with what, or what it would need: one sentence."""
    attempt: int | None = None
    """Number of the attempt that it is of; None where of none."""


@dataclass(frozen=True, slots=True)
class _Judged:
    measure: Measured
    quantity: Quantity
    """As it is compared."""
    limits: Limits
    verdict: str
    place: str
    """Where it lies, in words."""
    probability: float
    remedy: str


def checks(
    measured: Sequence[Measured], attempts: Sequence[Attempt], plate: Plate, known: Known | None = None
) -> tuple[Check, ...]:
    """Every key of the job file that something measured can be judged by, in the order of the file.

    `known` is what the file says besides the plate.
    """
    known = replace(known or Known(), plate=plate)
    by_name: dict[str, list[Measured]] = {}
    for one in measured:
        by_name.setdefault(one.name, []).append(one)
    boxes = {stage: by_name.get(f"draft_burner_box.hot.{stage}", []) for stage in ("high", "low")}
    box = {stage: (each[-1].quantity.value, each[-1].quantity.u) for stage, each in boxes.items() if each}
    known = replace(known, burner_box={stage: pair for stage, pair in box.items() if all(map(math.isfinite, pair))})
    found: list[Check] = []
    for row in ROWS:
        found += _row(row, by_name, attempts, known)
        if row.check == "furnace.timing.blower_off_delay":
            found += _trials(attempts, known)
    return (*found, *_lockouts(known))


def _row(row: Row, by_name: Mapping[str, list[Measured]], attempts: Sequence[Attempt], known: Known) -> Iterator[Check]:
    there = [one for name in row.measures for one in by_name.get(name, ()) if _counts(one, row, attempts)]
    usual = {one.attempt for one in there if not math.isnan(one.quantity.value)}
    for name in row.instead:
        instead = [one for one in by_name.get(name, ()) if one.attempt not in usual]
        usual |= {one.attempt for one in instead}
        there += instead
    values = [one for one in there if not math.isnan(one.quantity.value)]
    if all(row.limits(known, name) is None for name in (*row.measures, *row.instead)):
        missing = f"no `{row.check}` in the job file"
        if values:
            text = f"{row.words} is measured, and there is {missing} to judge it by"
            yield Check(row.check, values[-1].quantity, None, None, "cannot_tell", text, values[-1].attempt)
        else:
            yield Check(row.check, None, None, None, "not_measured", f"{missing}, and {row.words} is not measured")
        return
    if not values:
        reason = next((one.quantity.reason for one in there if one.quantity.reason), "")
        text = f"{row.words} not measured: {reason}" if reason else f"{row.words} not measured: needs {row.needs}"
        yield Check(row.check, None, None, None, "not_measured", text)
        return
    judged: dict[tuple[str, str], list[_Judged]] = {}
    for one in values:
        limits = row.limits(known, one.name)
        if limits is not None:
            result = _judged(one, limits, row)
            judged.setdefault((one.name, result.verdict), []).append(result)
    for (_, _), several in sorted(judged.items(), key=lambda item: ORDER.index(item[0][1])):
        yield _told(row, several)


def _counts(one: Measured, row: Row, attempts: Sequence[Attempt]) -> bool:
    """Whether a phase ran its course, where that is asked."""
    if not row.completed:
        return True
    attempt = next((each for each in attempts if each.number == one.attempt), None)
    if attempt is None:
        return False
    for place, span in enumerate(attempt.phases):
        if span.phase == row.completed and abs(span.start - one.start) < 1e-3:
            if place + 1 < len(attempt.phases):
                return attempt.phases[place + 1].phase in _NEXT.get(row.completed, ())
            later = [each.start for each in attempts if each.start >= span.end - 1e-3]
            return (
                row.completed == "blower_off_delay"
                and attempt.outcome != "cut_off"
                and (not later or min(later) - span.end > 1.0)
            )
    return False


def _judged(one: Measured, limits: Limits, row: Row) -> _Judged:
    quantity = one.quantity
    if limits.u > 0 and math.isfinite(quantity.u):
        budget = (*quantity.budget, (Error("the figure of the switch", "rectangular"), limits.u))
        widened = math.hypot(quantity.u, limits.u)
        freedom = quantity.freedom * (widened / quantity.u) ** 4 if quantity.u > 0 else math.inf
        quantity = replace(quantity, u=widened, budget=budget, interval=None, freedom=freedom)
    quantity = replace(quantity, value=quantity.value + limits.shift)
    result = verdict(quantity, limits.low, limits.high)
    found, remedy = str(result.verdict), _remedy(result.remedy)
    place = _WORDS.get(found, found)
    rises = limits.high is not None and quantity.value > limits.high
    if row.settled and quantity.quality is Quality.SUSPECT and not (found == "fail" and rises):
        found, place, remedy = "cannot_tell", "that cannot be told yet", "a longer run at this stage would tell"
    return _Judged(one, quantity, limits, found, place, result.probability, remedy)


def _inside(one: _Judged) -> float:
    """How far inside its limits a value is, in standard uncertainties."""
    value, limits = one.quantity.value, one.limits
    ends = [
        *([] if limits.low is None else [value - limits.low]),
        *([] if limits.high is None else [limits.high - value]),
    ]
    return min(ends) / (one.quantity.u if one.quantity.u > 0 else 1.0)


def _remedy(text: str) -> str:
    """What would tell, in few words."""
    for begin, words in _REMEDIES.items():
        if text.startswith(begin):
            return words
    return text


def _told(row: Row, several: Sequence[_Judged]) -> Check:
    """The one of several with the same verdict that is nearest to another one, and how many they are."""
    pick = max if several[0].verdict == "fail" else min
    one = pick(several, key=_inside)
    measure, limits = one.measure, one.limits
    value = _shown(measure.name, one.quantity)
    ends = " to ".join(_shown_limit(measure.name, end) for end in (limits.low, limits.high) if end is not None)
    bound = "" if None not in (limits.low, limits.high) else "at least " if limits.high is None else "at most "
    place = "no accuracy is known for it" if math.isnan(one.probability) else one.place
    extra = [text for text in (limits.note, one.quantity.reason, one.remedy) if text]
    numbers = list(dict.fromkeys(each.measure.attempt for each in several if each.measure.attempt is not None))
    which = f", attempt{'s' if len(numbers) > 1 else ''} {_listed(numbers)}" if numbers else ""
    stage = f" in {measure.name.rpartition('.')[2]} stage" if measure.name.endswith((".high", ".low")) else ""
    why = f"{_name(row, measure)}{stage} {value} against {bound}{ends}: {place}{which}"
    if extra:
        why += f" ({'; '.join(extra)})"
    return Check(row.check, one.quantity, limits.low, limits.high, one.verdict, why, measure.attempt)


def _name(row: Row, measure: Measured) -> str:
    special = {
        "dew_point_margin.smallest": "coldest surface over the dew point",
        "gas_inlet.static": "inlet pressure at rest",
        "draft_margin_high.smallest": f"{row.words} of the high-stage switch",
        "draft_margin_high.to_close.hot.high": f"{row.words} of the high-stage switch",
    }
    return special.get(measure.name, row.words)


def _listed(numbers: Sequence[int]) -> str:
    """Numbers in words, three or more that follow each other as a range."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    texts: list[str] = []
    for run in runs:
        texts += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}"


def _scale(name: str) -> tuple[float, float, str, int]:
    point = name.partition(".")[0]
    if point not in POINTS and point not in DERIVED:
        return 1.0, 0.0, "s", 1
    measure = measure_of(point)
    scale, offset = conversion(measure.inside, measure.trade, difference=measure.difference)
    return scale, offset, measure.trade_label, measure.trade_decimals + (measure.trade_decimals == 0)


def _shown(name: str, quantity: Quantity) -> str:
    scale, offset, label, digits = _scale(name)
    value = f"{round(quantity.value * scale + offset, digits) + 0.0:.{digits}f}"
    spread = f" ± {2 * quantity.u * abs(scale):.{digits}f}" if math.isfinite(quantity.u) else ""
    return f"{value}{spread} {label}".rstrip()


def _shown_limit(name: str, limit: float) -> str:
    scale, offset, label, digits = _scale(name)
    return f"{limit * scale + offset:.{digits}f} {label}".rstrip()


def _trials(attempts: Sequence[Attempt], known: Known) -> Iterator[Check]:
    check = "furnace.timing.trials"
    tries = _in_a_row(attempts)
    if "trials" not in known.stated or not tries:
        what = "ignition trials not measured: needs gas_valve, or gas_manifold"
        missing = f"no `{check}` in the job file" + ("" if tries else f", and {what}")
        value = Quantity(float(max(tries.values())), "1", 0.0) if tries else None
        stated = "trials" in known.stated
        yield Check(check, value, None, None, "cannot_tell" if tries else "not_measured", what if stated else missing)
        return
    call, most = max(tries.items(), key=lambda item: item[1])
    allowed = known.timing.trials
    kept = most <= allowed
    words = "ignition trial" if most == 1 else "ignition trials"
    why = f"{most} {words} in call {call} against at most {allowed}: {'inside' if kept else 'outside'}"
    yield Check(check, Quantity(float(most), "1", 0.0), None, float(allowed), "pass" if kept else "fail", why)


def _in_a_row(attempts: Sequence[Attempt]) -> dict[int, int]:
    """Most trials of each call without a flame in between: a control counts again after it has burned."""
    most: dict[int, int] = {}
    call, row = 0, 0
    for one in attempts:
        row = row if one.call == call else 0
        call = one.call
        if one.spans("ignition_trial"):
            row += 1
            most[call] = max(most.get(call, 0), row)
        if one.outcome == "flame_lost" or any(span.phase in _BURNED for span in one.phases):
            row = 0
    return most


_LOCKOUT_KEYS = {
    "no_heat_band": "compressor_lockout",
    "compressor_lockout_unknown": "compressor_lockout",
    "both_at_once": "compressor_lockout",
    "coil_place_unknown": "compressor_lockout",
}


def _lockouts(known: Known) -> Iterator[Check]:
    settings = known.lockouts
    if settings is None or (settings.compressor_lockout is None and settings.auxiliary_lockout is None):
        return
    found = judge(settings, settings.balance_point)
    both = settings.compressor_lockout is not None and settings.auxiliary_lockout is not None
    if both and not any(one.name == "no_heat_band" for one in found):
        why = "the furnace may run below a temperature above which the compressor may: nowhere nothing may heat"
        yield Check("heat_pump.compressor_lockout", None, None, None, "pass", why)
    for one in found:
        key = f"heat_pump.{_LOCKOUT_KEYS.get(one.name, 'auxiliary_lockout')}"
        result = "fail" if one.severity is Severity.FAULT else "cannot_tell"
        yield Check(key, None, None, None, result, _with_values(one))


def _with_values(one: Finding) -> str:
    parts = []
    for words, value, unit in one.values:
        if unit in ("degC", "K"):
            scale, offset = conversion(unit, "degF", difference=unit == "K")
            parts.append(f"{words} {value * scale + offset:.0f} °F")
    return f"{one.text.rstrip('.')} ({', '.join(parts)})" if parts else one.text.rstrip(".")
