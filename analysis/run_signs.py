"""Signs of danger in how a run went: carbon monoxide that rises, a late light-off, a step when the blower starts."""

from collections.abc import Iterator, Mapping, Sequence
from statistics import median
from typing import NamedTuple

from analysis.blower_step import LESS, TAPS, WIND, Array, less, step_at
from analysis.blower_step import POINTS as TAPPED
from analysis.measures.measured import Measured
from analysis.measures.sources import bench
from analysis.model import Series
from analysis.points import POINTS
from analysis.quantity import Quality
from analysis.sequence.attempts import Attempt
from analysis.steady import Span

RISE = 10e-6
"""Carbon monoxide in the flue that grows by less over its span is no sign; our choice. [1]"""
LATE = 4.0
"""A flame that comes later than this after its valve opened is late whatever is usual: the trial of most controls is
4 to 7 s; common practice, no published source. [s]"""
LATER = 1.5
"""So much later than the unit's other light-offs is late too; our choice. [s]"""
OTHERS = 2
"""Other light-offs without which none is usual. [1]"""
BESIDE = 30.0
"""What is read to both sides of the blower's start. [s]"""
SECOND_STAGE = 25.0
"""A change of stage so near to the blower's start hides its step; our choice. [s]"""

RISING = (
    "STOP: carbon monoxide in the flue gas rises with the run. Shut the gas cock; no more firing until a licensed"
    " person has found and removed the cause."
)
LIT_LATE = (
    "STOP: the burners lit late. Gas gathers before a late light-off: shut the gas cock; no more firing until a"
    " licensed person has inspected burners, igniter and gas pressure."
)
BREACH = (
    "STOP: possible heat exchanger breach: the suction {where} stepped when the blower started. A blower door that"
    " leaks, a drain in the blower compartment or a sag of the supply can do this too. Make safe, confirm by inspection"
    " and analyser. No step never clears an exchanger."
)


class RunSign(NamedTuple):
    """One sign and when it was."""

    rule: str
    start: float
    """[s]"""
    end: float
    """[s]"""
    text: str


def run_signs(
    series: Sequence[Series], attempts: Sequence[Attempt], measures: Sequence[Measured]
) -> tuple[RunSign, ...]:
    """Every sign that a recording shows.

    series : readings in inside units. [-]
    attempts : what the recognizer found in them. [-]
    measures : what the trade computes of them. [-]
    returns : tuple of RunSign. [-]

    Valid: of points that are measured; nothing here says that a unit is in order.
    Method: each with its uncertainty: twice for a rise and for a delay, three times for a step.
    Source: rising carbon monoxide as a stop: published technician lists; the others: common practice, no published
        source.
    """
    return (*rising(measures), *late(measures), *steps(series, attempts))


def rising(measures: Sequence[Measured]) -> Iterator[RunSign]:
    """Carbon monoxide in the flue that rises by more than its uncertainty over a stage."""
    for one in measures:
        if one.name.startswith("flue_co.trend.") and one.quantity.quality is not Quality.BAD:
            least = one.quantity.value - 2.0 * one.quantity.u
            if least > 0.0 and one.quantity.value * (one.end - one.start) / 60.0 >= RISE:
                yield RunSign("flue_co_rising", one.start, one.end, RISING)


def late(measures: Sequence[Measured]) -> Iterator[RunSign]:
    """Flames that came late for any unit, or for this one."""
    lit = [one for one in measures if one.name == "ignition.light_off_delay"]
    for one in lit:
        others = [other.quantity.value for other in lit if other is not one]
        usual = median(others) if len(others) >= OTHERS else None
        least = one.quantity.value - 2.0 * one.quantity.u
        if least > LATE or (usual is not None and least > usual + LATER):
            yield RunSign("late_light_off", one.start, one.end, LIT_LATE)


def steps(series: Sequence[Series], attempts: Sequence[Attempt]) -> Iterator[RunSign]:
    """Suctions that became weaker at the blower's start in a run, and stayed so."""
    read = bench([one for one in series if one.channel.point in TAPPED])
    for attempt in attempts:
        moment = blower_start(attempt)
        if moment is None:
            continue
        kept: dict[str, tuple[Array, Array]] = {}
        for point in sorted(TAPPED):
            for source in read.at(point)[:1]:
                span = source.within(Span(moment - BESIDE, moment + BESIDE))
                kept[point] = source.time[span], source.value[span]
        shown = max((source.step for point in TAPPED for source in read.at(point)), default=0.0)
        slow = max((source.response_time for point in TAPPED for source in read.at(point)), default=0.0)
        if found := stepped(kept, moment, display=shown, response=slow):
            yield RunSign("breach_sign", moment, moment, breach_text(found))


def stepped(
    read: Mapping[str, tuple[Array, Array]], moment: float, *, display: float, response: float
) -> dict[str, float]:
    """Taps that became weaker at the blower's start, and by how many standard uncertainties.

    read : times and values round the start, by point. [s, Pa]
    moment : start of the blower. [s]
    display : step of the meters' display. [Pa]
    response : time constant of the meters. [s]
    returns : by point; empty where there is no sign. [1]

    Valid: as `step_at`.
    Method: less the burner box where that is read, since a gust moves both alike; else one tap with a gust in its
        uncertainty.
    Source: none published; tried on simulated units.
    """
    tap = next((one for one in TAPS if one in read), None)
    if tap is None:
        return {}
    alone = LESS not in read
    time, value = read[tap] if alone else less(*read[tap], *read[LESS])
    wind = WIND if alone else 0.0
    step = step_at(time, value, moment, display=display, response=response, wind=wind, share=TAPS[tap])
    return {tap: step.size / step.u} if step and step.weaker else {}


def breach_text(found: Mapping[str, float]) -> str:
    """The sign in words, with the point whose step is clearest; sizes in standard uncertainties. [1]"""
    point = max(found, key=lambda one: found[one])
    return BREACH.format(where=f"at the {POINTS[point].text} ({found[point]:.0f} times its uncertainty)")


def blower_start(attempt: Attempt) -> float | None:
    """When the heat blower started in a run; None where it did not, or where the stage changed near to it. [s]"""
    for before, after in zip(attempt.phases, attempt.phases[1:], strict=False):
        if before.phase == "blower_on_delay" and after.phase in {"run_low", "run_high"}:
            settled = before.end - before.start >= 15.0 and after.end - after.start >= SECOND_STAGE
            return after.start if settled and after.start_u < 1.0 else None
    return None
