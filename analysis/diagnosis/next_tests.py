"""Which test tells most for its time, among those that are safe here: gates first, then bits a minute."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from analysis.diagnosis.causes import WORDS
from analysis.diagnosis.result import Beliefs, NotRuledOut
from analysis.diagnosis.situation import (
    AFTER_A_STOP,
    GAS_SMELL,
    LEAVE,
    NO_CO,
    OUT,
    Situation,
    marks_for,
    refusals,
    safely,
    state_for,
)
from analysis.diagnosis.steps.catalogue import STEPS
from analysis.diagnosis.steps.step import State, Step
from analysis.diagnosis.updating import chances, expected_information, information_on, updated

LEAST = 0.02
"""A test that tells less is not proposed; our choice. [bit]"""
LEAST_RATE = 0.004
"""Nor one that takes so long for what it tells: 0.36 bit for 90 min; our choice. [bit/min]"""
MOST = 8
"""Tests proposed at a time, and withheld ones named; our choice. [1]"""
SAID = 0.01
"""A cause below this is not named in a reason; our choice. [1]"""


@dataclass(frozen=True, slots=True)
class Expected:
    """A result that a test may have, and what it would make of the causes."""

    name: str
    text: str
    meaning: str
    probability: float
    """[1]"""
    first: str
    """The most probable cause after it."""
    first_probability: float
    """[1]"""


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test that may be done here and now."""

    test: str
    """Name in `STEPS`."""
    bits: float
    """Expected information about the cause. [bit]"""
    minutes: float
    """[min]"""
    marks: str
    """Letters of `analysis.diagnosis.steps.step.MARKS`."""
    state: State
    text: str
    safely: str
    """Cautions, then how it is done."""
    results: tuple[Expected, ...]
    """Empty for a measurement, whose result is a number."""
    reason: str

    @property
    def rate(self) -> float:
        """[bit/min]"""
        return self.bits / self.minutes


@dataclass(frozen=True, slots=True)
class Withheld:
    """A test that would tell, and why it is not offered."""

    test: str
    bits: float
    """[bit]"""
    minutes: float
    """[min]"""
    text: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Proposals:
    """What to do next."""

    before: tuple[str, ...]
    """What comes before any test, the gravest first."""
    tests: tuple[NextTest, ...]
    """The one that tells most a minute first."""
    withheld: tuple[Withheld, ...] = ()
    """What would tell at least `LEAST` bits and is not offered, the one that would tell most a minute first."""
    says: str = ""
    """Where nothing is proposed: why, and what would tell."""


def next_tests(beliefs: Beliefs, situation: Situation) -> Proposals:
    """Tests that are safe here, by what they tell a minute.

    beliefs : causes and what is known. [-]
    situation : stops, licences, instruments, ports, what is open and done. [-]
    returns : proposals; never a firing test under a stop or with a cover, a vent joint or the trap open. [-]

    Method: of a table the exact expected fall of the entropy over single causes; of a measurement what the beliefs say
        it tells. Of tests that tell the same a minute the one with fewer marks, then the shorter one.
    """
    if situation.stops & LEAVE:
        return Proposals((OUT, GAS_SMELL), (), says=OUT)
    worth = [
        (step, bits) for step in open_steps(beliefs, situation) if (bits := told(step, beliefs, situation)) >= LEAST
    ]
    offered: list[NextTest] = []
    withheld: list[Withheld] = []
    for step, bits in worth:
        why, state = refusals(step, situation), state_for(step, situation)
        if bits / step.minutes < LEAST_RATE:
            why = (*why, f"it takes {step.minutes:.0f} min, long for what it tells now")
        if why or state is None:
            withheld.append(Withheld(step.name, bits, step.minutes, step.text, why))
        else:
            offered.append(_proposal(step, bits, state, beliefs, situation))
    offered.sort(key=lambda one: (-round(one.rate, 6), len(one.marks), one.minutes, one.test))
    withheld.sort(key=lambda one: (-one.bits / one.minutes, one.test))
    return Proposals(before(situation), tuple(offered[:MOST]), tuple(withheld[:MOST]), _says(offered, withheld))


def keep_checking(
    not_ruled_out: Iterable[NotRuledOut], beliefs: Beliefs, situation: Situation
) -> Mapping[str, tuple[str, ...]]:
    """For each cause that is not ruled out, names of the tests that would do so best for their time, at most two."""
    found: dict[str, tuple[str, ...]] = {}
    for cause in (one.cause for one in not_ruled_out):
        told_of = [
            (_on(cause, step, beliefs, situation) / step.minutes, step.name)
            for step in open_steps(beliefs, situation)
            if not refusals(step, situation)
        ]
        best = sorted((rate, name) for rate, name in told_of if rate > 0.0)[::-1]
        found[cause] = tuple(name for _, name in best[:2])
    return found


def before(situation: Situation) -> tuple[str, ...]:
    """What stands before every test."""
    stop = [AFTER_A_STOP] if situation.stops else []
    room = [] if situation.room_co_measured else [NO_CO]
    return (*stop, GAS_SMELL, *room)


def open_steps(beliefs: Beliefs, situation: Situation) -> Iterator[Step]:
    """Tests that were not made, whose like was not made, and whose measures are not all known."""
    seen = {STEPS[name].like for name in situation.done if name in STEPS} - {""}
    for step in STEPS.values():
        known = bool(step.measures) and not new_measures(step, beliefs, situation)
        if step.name not in situation.done and step.like not in seen and not known:
            yield step


def new_measures(step: Step, beliefs: Beliefs, situation: Situation) -> tuple[str, ...]:
    """Measures that a test yields and that are not known; against a baseline only where there is one."""
    return tuple(
        name
        for name in step.measures
        if name not in beliefs.measured and (situation.baseline or not name.endswith(".against_baseline"))
    )


def told(step: Step, beliefs: Beliefs, situation: Situation) -> float:
    """How much a test would tell of the cause. [bit]"""
    if step.results:
        return expected_information(beliefs.probabilities, step)
    return max(beliefs.information(new_measures(step, beliefs, situation)), 0.0)


def _on(cause: str, step: Step, beliefs: Beliefs, situation: Situation) -> float:
    """How much a test tells of one cause; of a measurement, what it tells of all where it is about that one. [bit]"""
    if step.results:
        return information_on(cause, beliefs.probabilities, step)
    share = beliefs.probabilities.get(cause, 0.0)
    return share * told(step, beliefs, situation) if cause in step.about else 0.0


def _proposal(step: Step, bits: float, state: State, beliefs: Beliefs, situation: Situation) -> NextTest:
    results = tuple(_expected(step, beliefs.probabilities))
    return NextTest(
        step.name,
        bits,
        step.minutes,
        marks_for(step, state),
        state,
        step.text,
        f"{safely(step, state, situation)} {step.how}",
        results,
        _reason(step, results, beliefs.probabilities),
    )


def _expected(step: Step, probabilities: Mapping[str, float]) -> Iterator[Expected]:
    for result, chance in zip(step.results, chances(probabilities, step) if step.results else (), strict=True):
        after = updated(probabilities, step.name, result.name)
        first = max(after, key=lambda cause: after[cause])
        yield Expected(result.name, result.text, result.meaning, chance, first, after[first])


def _reason(step: Step, results: tuple[Expected, ...], probabilities: Mapping[str, float]) -> str:
    if not results:
        about = sorted(step.about, key=lambda cause: -probabilities.get(cause, 0.0))
        named = [WORDS[cause] for cause in about if probabilities.get(cause, 0.0) >= SAID][:3] or [WORDS[about[0]]]
        return f"tells of: {'; '.join(named)}"
    now = max(probabilities, key=lambda cause: probabilities[cause])
    telling = max(
        results, key=lambda one: one.probability * abs(one.first_probability - probabilities.get(one.first, 0.0))
    )
    share = f"{100 * telling.first_probability:.0f} %"
    word = "stays first at" if telling.first == now else "comes first with"
    return f"if '{telling.text}' ({100 * telling.probability:.0f} %): {WORDS[telling.first]} {word} {share}"


def _says(offered: list[NextTest], withheld: list[Withheld]) -> str:
    if offered:
        return ""
    if not withheld:
        return "No test at hand tells more, and none that is known here would."
    return f"No test at hand tells more. What would: {withheld[0].text} ({'; '.join(withheld[0].why)})."
