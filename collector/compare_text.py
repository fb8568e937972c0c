"""A comparison for people: stops first, then attempts, measures by verdict, and the chain of evidence."""

import math
from collections.abc import Iterator
from dataclasses import replace

from analysis.comparison import Compared, Item
from analysis.comparison.corrections import Correction
from analysis.comparison.outcomes import Share
from analysis.quantity import Quantity
from collector.analysis_json import began, origins
from collector.analysis_layout import KEEP, wrapped
from collector.analysis_measures import label_of
from collector.analysis_run import Analysis
from collector.analysis_units import in_units, labelled
from collector.compare_json import DIFFERENCE, apart, figure_in, instruments
from collector.compare_run import Compare
from collector.compare_safety import lines as safety
from collector.sequence_words import OUTCOME_WORDS

VERDICTS = {
    "worse": "WORSE",
    "better": "BETTER",
    "changed": "CHANGED, and no way is known to be better by itself or both are as far off",
    "cannot tell": "CANNOT TELL",
    "no change": "NO CHANGE that these instruments can see",
}
"""Sections of the measures, those that need somebody first."""
KEEP_CHECKING = "Keep checking: one fault found is not the only one, and one that comes and goes needs more attempts."
SMALL = 0.1
"""Corrections below this share of the standard uncertainty are not told in text. [1]"""
COMES_AND_GOES = "What comes and goes with water, ice or wind needs longer runs too."
_STATES = {"shown": "SHOWN", "excluded": "excluded", "cannot tell": "cannot tell", "not measured": "not measured"}


def lines(found: Compare, *, every: bool = False) -> list[str]:
    """The comparison, no line above `analysis_layout.WIDTH`; with `every`, also what was not compared and why."""
    one = found.found
    rows = [
        *_head("BEFORE", found.before),
        *_head("AFTER ", found.after),
        "± is twice the standard uncertainty; of several attempts the mean, what they differ by in its ±.",
        *_section("SAFETY", safety(found)),
    ]
    if one.nothing:
        return [*rows, "", *wrapped(f"Nothing to compare: {one.nothing}.", 2, first=0), *_lacking(found)]
    rows += _section("CONDITIONS", list(_conditions(found)))
    rows += _section("ATTEMPTS", list(_outcomes(found)))
    for verdict, title in VERDICTS.items():
        same = [each for each in one.measures if each.verdict == verdict]
        rows += _section(title, [row for each in same for row in _measure(each, found.units)])
    rows += _section("ONLY ON ONE VISIT", _lacking(found))
    if every:
        told = [row for name, why in one.not_compared for row in wrapped(f"{label_of(name)}: {why}", 4, first=2)]
        rows += _section("NOT COMPARED", told)
    links = [row for each in found.chain for row in _link(each, found.units)]
    rows += _section("CHAIN OF EVIDENCE for a claim on a heat exchanger", links)
    return [*rows, "", *wrapped(KEEP_CHECKING, 0)]


def _section(title: str, body: list[str]) -> list[str]:
    return ["", title, *body] if body else []


def _head(which: str, analysis: Analysis) -> Iterator[str]:
    opened = analysis.opened
    when = (began(opened) or "times counted from the start").replace("T", " ").replace("Z", " UTC")
    made = "".join(f", {origin}" for origin in origins(opened.series))
    job = f"job {opened.job_from}" if opened.job_from else "no job file"
    yield from wrapped(f"{which} {opened.name}: {when}, {job}{made}", 7, first=0)


def _conditions(found: Compare) -> Iterator[str]:
    around = found.found.conditions
    pairs = (
        ("outdoor air", "temp_outdoor", around.outdoor, around.outdoor_u),
        ("return air at the end of a stage", "temp_return", around.returns, around.returns_u),
    )
    for words, name, pair, u in pairs:
        if pair is None:
            continue
        first, second = (_plain(name, value, found.units) for value in pair)
        sure = apart(name, Quantity(pair[1] - pair[0], "degC", u), found.units)
        yield f"  {words}: {first} before, {second} after (difference {labelled(DIFFERENCE, sure, found.units)})"
    for note in found.notes:
        yield from wrapped(note, 4, first=2)


def _plain(name: str, value: float, units: str) -> str:
    shown = labelled(f"{name}.mean", in_units(name, Quantity(value, "degC"), units), units)
    return f"{shown.value:.1f}{KEEP}{'°F' if units == 'trade' else '°C'}"


def _outcomes(found: Compare) -> Iterator[str]:
    one = found.found.outcomes
    yield f"  before: {_share(one.before)}"
    yield f"  after:  {_share(one.after)}"
    yield from wrapped(f"{one.verdict}: {one.why}", 4, first=2)
    if one.needed is not None:
        yield from wrapped(f"{_clean(one.needed, one.needed_surely)} {COMES_AND_GOES}", 4, first=2)


def _clean(needed: int, surely: int | None) -> str:
    """How many attempts without a failure mean something, by how often it failed before."""
    attempts = "1 clean attempt" if needed == 1 else f"{needed} clean attempts in a row"
    rarely = f" ({surely} if it fails as rarely as the attempts before allow)" if surely and surely > needed else ""
    return f"If it still fails as often as before, {attempts} would come by chance less than 1 time in 20{rarely}."


def _share(one: Share) -> str:
    how = ", ".join(f"{count} {OUTCOME_WORDS[outcome].short}" for outcome, count in one.how)
    if not one.count:
        return how or "no attempt"
    return f"{one.failed} of {one.count} failed (95 %: {100 * one.low:.0f} to {100 * one.high:.0f} %): {how}"


def _measure(one: Compared, units: str) -> Iterator[str]:
    first, second = (_shown(one.name, each.quantity, units) for each in (one.before, one.after))
    counts = "" if one.before.count == one.after.count == 1 else f" (mean of {one.before.count} and {one.after.count})"
    text = f"{label_of(one.name)}: {first} before, {second} after{counts}"
    if one.verdict == "cannot tell":
        yield from wrapped(f"{text}; {one.why}", 4, first=2)
        return
    moved = _apart(one.name, one.difference, units)
    put_right = [_correction(one, each, units) for each in one.corrections if _matters(each, one)]
    if one.verdict == "no change":
        sees = replace(one.difference, value=one.sees, u=math.nan, budget=(), interval=None)
        seen = _apart(one.name, sees, units)
        text = f"{label_of(one.name)}: {first}, then {second}; {moved}, seen from {_rounded(seen)} on"
        yield from wrapped("; ".join([text, *(f"put right: {each}" for each in put_right)]), 4, first=2)
        return
    yield from wrapped(f"{text}; changed by {moved}", 4, first=2)
    if put_right:
        yield from wrapped(f"put right: {'; '.join(put_right)}", 6, first=4)
    yield from wrapped(f"{one.why}{'; same meter' if one.same_meter else ''}", 6, first=4)


def _matters(each: Correction, one: Compared) -> bool:
    """Whether a correction shows beside the uncertainty."""
    return each.applied and abs(each.amount) > SMALL * one.difference.u


def _rounded(text: str) -> str:
    """A number with its unit to two digits."""
    number, _, unit = text.removeprefix("+").partition(KEEP)
    return f"{float(f'{float(number):.2g}'):g}{KEEP}{unit}"


def _correction(one: Compared, each: Correction, units: str) -> str:
    amount = _apart(one.name, Quantity(each.amount, one.difference.unit, each.u), units)
    if each.was is None or each.now is None:
        return f"{each.what} {amount}"
    if each.unit == "m":
        pair = f"{each.now / 0.3048:.0f} ft for {each.was / 0.3048:.0f} ft" if units == "trade" else ""
        return f"{each.what} {amount} ({pair or f'{each.now:.0f} m for {each.was:.0f} m'}: {each.text})"
    now, was = (_plain("temp_outdoor", value, units) for value in (each.now, each.was))
    return f"{each.what} {amount} ({now} for {was}: {each.text})"


def _shown(name: str, quantity: Quantity, units: str) -> str:
    return str(labelled(name, in_units(name, quantity, units), units)).replace(" ", KEEP)


def _apart(name: str, quantity: Quantity, units: str) -> str:
    label = DIFFERENCE if quantity.unit == "degC" else name
    text = str(labelled(label, apart(name, quantity, units), units)).replace(" ", KEEP)
    return text if text.startswith("-") or not quantity.value > 0 else f"+{text}"


def _lacking(found: Compare) -> list[str]:
    rows: list[str] = []
    for words, names in (("only before", found.found.only_before), ("only after", found.found.only_after)):
        if names:
            rows += wrapped(f"{words}: {'; '.join(label_of(name).replace(' ', KEEP) for name in names)}", 4, first=2)
    return rows


def _link(one: Item, units: str) -> Iterator[str]:
    told = []
    for figure in one.figures:
        name = figure.name.removeprefix("ratio.").removeprefix("slope.")
        kind = next((head for head in ("ratio", "slope") if figure.name.startswith(f"{head}.")), "")
        quantity = figure_in(figure, units)
        shown = (
            labelled(name, quantity, units)
            if kind != "ratio" and "." in name and "resistance" not in name
            else quantity
        )
        by = f", {', '.join(instruments(figure.channels))}" if figure.channels else ""
        words = "before over after" if kind == "ratio" else label_of(name)
        told.append(f"{words} {str(shown).replace(' ', KEEP)}{by}")
    numbers = f" [{'; '.join(told)}]" if told else ""
    yield from wrapped(f"{_STATES[one.state]:<12}  {one.text}{numbers}", 16, first=2)
