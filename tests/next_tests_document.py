"""What `docs/next-tests.md` shows of the catalogue, written anew by `python -m tests.next_tests_document`."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

from analysis.diagnosis.causes import WORDS
from analysis.diagnosis.done import DEEDS
from analysis.diagnosis.situation import CAUTIONS, MARK_CAUTIONS
from analysis.diagnosis.steps.catalogue import ORDERS, STEPS
from analysis.diagnosis.steps.step import MARKS, METERS, PARTS, State, Step

DOCUMENT = Path(__file__).parents[1] / "docs" / "next-tests.md"
MARKED = re.compile(r"<!-- (\w+) -->\n(.*?)<!-- end -->", re.DOTALL)
STATES = {State.REST: "at rest", State.INDUCER: "inducer only", State.FIRING: "firing"}


def _needs(step: Step) -> str:
    named = [*(METERS[one] for one in step.needs), *(PARTS[one] for one in step.parts)]
    named += [f"after {one.replace(':', ' came out as ').replace('_', ' ')}" for one in step.after]
    return "; ".join(named) or "-"


def _catalogue() -> Iterator[str]:
    yield "| test | min | marks | state | needs | results, or what it measures |"
    yield "|---|---|---|---|---|---|"
    for step in STEPS.values():
        told = " · ".join(one.text for one in step.results) or ", ".join(f"`{name}`" for name in step.measures)
        states = ", ".join(STATES[state] for state in step.states)
        yield (
            f"| {step.text} (`{step.name}`) | {step.minutes:g} | {' '.join(step.marks) or '-'} | {states} |"
            f" {_needs(step)} | {told} |"
        )


def _orders() -> Iterator[str]:
    for complaint, names in ORDERS.items():
        yield f"- *{complaint}*: {', '.join(f'`{name}`' for name in names)}"


def _cautions() -> Iterator[str]:
    for state, text in CAUTIONS.items():
        yield f"- *{STATES[state]}*: {text}"
    for mark, text in MARK_CAUTIONS.items():
        yield f"- **{mark}** ({MARKS[mark]}): {text}"


def _deeds() -> Iterator[str]:
    yield "| what I did | causes that are gone afterwards, usually |"
    yield "|---|---|"
    for deed in DEEDS.values():
        repaired = "; ".join(f"{WORDS[cause]} {share:.0%}" for cause, share in deed.repairs.items())
        yield f"| {deed.text} (`{deed.name}`) | {repaired or '-'} |"


PARTS_OF: dict[str, Callable[[], Iterator[str]]] = {
    "catalogue": _catalogue,
    "orders": _orders,
    "cautions": _cautions,
    "deeds": _deeds,
}


def filled(text: str) -> str:
    """The document with what the program says in its places."""
    return MARKED.sub(lambda found: f"<!-- {found[1]} -->\n" + "\n".join(PARTS_OF[found[1]]()) + "\n<!-- end -->", text)


if __name__ == "__main__":
    DOCUMENT.write_text(filled(DOCUMENT.read_text()))
