"""How well the recognizer does over many recordings: a table, and those in which it did worst.

python -m tests.sequence.scores FOLDER [--from N] [--to N] [--seed N] [-v]
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.sequence.attempts import Attempt, Recognition
from tests.sequence.matching import Boundary, Score, score
from tests.sequence.recordings import VERSION, Recorded, kept

MEDIAN_SQUARE = 0.4549
"""Median of the square of a normal deviate: of chi-squared with one degree of freedom. [1]"""

Found = Callable[[Recorded], Sequence[Attempt]]


@dataclass(frozen=True, slots=True)
class Totals:
    """Many recordings of one group added up; shares are NaN where there is nothing."""

    group: str
    recordings: int
    attempts: int
    precision: float
    recall: float
    outcomes: float
    """Share of right outcomes. [1]"""
    median: float
    """Of the boundaries that can be told. [s]"""
    p95: float
    all_median: float
    """Of all boundaries, those included that nothing tells. [s]"""
    all_p95: float
    missing: float
    """Phases that are not found, by phases that are told. [1]"""
    extra: float
    """The same of phases that are not true. [1]"""
    covered: float
    """Share of boundary errors within two standard uncertainties. [1]"""
    spread: float
    """Mean square of error by uncertainty, from its median, so that few bad ones do not rule it. [1]"""
    seconds: float
    """For one recording. [s]"""


def offline(recorded: Recorded) -> Sequence[Attempt]:
    """What the recognizer finds in the whole recording."""
    from analysis.sequence.recognize import recognize

    found: Recognition = recognize(recorded.series, recorded.timing, recorded.plate)
    return found.attempts


def scores(recordings: Iterable[Recorded], finds: Found = offline) -> list[Score]:
    """Score of each recording."""
    done = []
    for recorded in recordings:
        began = time.process_time()
        found = finds(recorded)
        seconds = time.process_time() - began
        done.append(score(recorded, found))
        done[-1].seconds = seconds
    return done


def totals(done: Sequence[Score], group: str) -> Totals:
    """Those of a group (`A`, `B`) added up; `AB` for all."""
    own = [one for one in done if one.group in group]
    boundaries = [boundary for one in own for boundary in one.boundaries]
    told = [boundary for boundary in boundaries if boundary.told]
    outcomes = [right for one in own for *_, right in one.outcomes]
    needed, phases = sum(one.needed for one in own), sum(one.phases for one in own)
    found = sum(one.found for one in own)
    squares = [(one.error / one.u) ** 2 if one.u else np.inf for one in told if one.u or one.error]
    return Totals(
        group=group,
        recordings=len(own),
        attempts=needed,
        precision=_share(found - sum(len(one.wrong) for one in own), found),
        recall=_share(needed - sum(len(one.missed) for one in own), needed),
        outcomes=_share(sum(outcomes), len(outcomes)),
        median=_quantile(told, 0.5),
        p95=_quantile(told, 0.95),
        all_median=_quantile(boundaries, 0.5),
        all_p95=_quantile(boundaries, 0.95),
        missing=_share(sum(len(one.missing) for one in own), phases),
        extra=_share(sum(len(one.extra) for one in own), phases),
        covered=_share(sum(abs(one.error) <= 2 * one.u for one in told), len(told)),
        spread=float(np.median(squares)) / MEDIAN_SQUARE if squares else np.nan,
        seconds=_share(sum(one.seconds for one in own), len(own)),
    )


def _share(part: float, whole: float) -> float:
    return part / whole if whole else np.nan


def _quantile(boundaries: Sequence[Boundary], share: float) -> float:
    return float(np.quantile([abs(one.error) for one in boundaries], share)) if boundaries else np.nan


HEAD = (
    "group  recordings attempts precision recall outcomes | told: median   p95 | all: median   p95"
    " | missing extra | in 2u  z^2 | s each"
)


def table(done: Sequence[Score]) -> str:
    """The groups side by side: times in seconds, all else as shares."""
    return "\n".join([HEAD, *(_row(totals(done, group)) for group in ("A", "B", "AB"))])


def _row(one: Totals) -> str:
    return (
        f"{one.group:6} {one.recordings:10d} {one.attempts:8d}"
        f" {one.precision:9.4f} {one.recall:6.4f} {one.outcomes:8.4f}"
        f" | {one.median:12.2f} {one.p95:5.2f} | {one.all_median:11.2f} {one.all_p95:5.2f}"
        f" | {one.missing:7.3f} {one.extra:5.3f} | {one.covered:5.2f} {one.spread:4.1f} | {one.seconds:6.2f}"
    )


def by_phase(done: Sequence[Score]) -> str:
    """Boundary errors and missing phases, phase by phase."""
    lines = ["phase             told   bias median   p95 | missing extra"]
    missing = Counter(phase for one in done for _, phase in one.missing)
    extra = Counter(phase for one in done for _, phase in one.extra)
    told = [boundary for one in done for boundary in one.boundaries if boundary.told]
    for phase in dict.fromkeys([*(one.phase for one in told), *missing, *extra]):
        own = [one for one in told if one.phase == phase]
        bias = float(np.median([one.error for one in own])) if own else np.nan
        sizes = f"{bias:6.2f} {_quantile(own, 0.5):6.2f} {_quantile(own, 0.95):5.2f}"
        lines.append(f"{phase:16} {len(own):5d} {sizes} | {missing[phase]:7d} {extra[phase]:5d}")
    return "\n".join(lines)


def by_outcome(done: Sequence[Score]) -> str:
    """Which true outcomes were called what, the wrong ones."""
    wrong = Counter(
        (one.group, true.outcome, seen.outcome) for one in done for true, seen, right in one.outcomes if not right
    )
    return "\n".join(
        f"{count:5d} {group}: {true} called {seen}" for (group, true, seen), count in wrong.most_common(30)
    )


def badness(one: Score) -> float:
    """How bad a recording was: mistakes, and boundaries that are far off."""
    far = sum(min(abs(boundary.error) / 10.0, 1.0) for boundary in one.boundaries if boundary.told)
    wrong = sum(not right for *_, right in one.outcomes)
    return 3.0 * (len(one.missed) + len(one.wrong)) + 2.0 * wrong + far + 0.2 * (len(one.missing) + len(one.extra))


def details(one: Score, found: Sequence[Attempt] = (), *, everything: bool = False) -> str:
    """What was found and what was true in a recording, for whoever works on the recognizer."""
    recorded = one.recorded
    about = recorded.about
    causes = ", ".join(f"{each['cause']} {each['severity']} {each['course']}" for each in about["causes"]) or "healthy"
    spoiled = "; ".join(about["spoiled"]) or "as read"
    lines = [
        f"seed {recorded.seed}: group {one.group}, {about['kit']}, job {about['job']}; {causes}; {spoiled};"
        f" {recorded.start - EPOCH:.0f} to {recorded.end - EPOCH:.0f} s",
        f"    measured: {' '.join(sorted(recorded.points))}",
    ]
    most = None if everything else 6
    for name, those in (("MISSED", one.missed), ("WRONG", one.wrong)):
        lines += [f"    {name:7} {_told(each)}" for each in those[:most]]
        lines += [f"    {name:7} and {len(those) - 6} more"] if most and len(those) > most else []
    for true, seen, right in one.outcomes:
        if not right:
            lines.append(f"    OUTCOME {_told(true)} called {seen.outcome} ({seen.probability:.2f}): {seen.why}")
    for name, gone in (("MISSING", one.missing), ("EXTRA", one.extra)):
        counted = Counter((round(true.start - EPOCH, 1), phase) for true, phase in gone)
        lines += [f"    {name} {phase} in the attempt of {start} s" for (start, phase), _ in counted.items()]
    far = sorted((each for each in one.boundaries if each.told), key=lambda each: -abs(each.error))
    lines += [
        f"    {each.phase} off by {each.error:.2f} s, u {each.u:.2f} s"
        for each in far[: 5 + 100 * everything]
        if abs(each.error) > 1.0
    ]
    if everything:
        lines += [f"    true  {_told(each)}" for each in recorded.truth]
        lines += [f"    found {_told(each)}" for each in found]
    return "\n".join(lines)


EPOCH = 1_768_372_200.0


def _told(one: Attempt) -> str:
    phases = " ".join(f"{span.phase} {span.start - EPOCH:.1f}" for span in one.phases)
    return (
        f"{one.start - EPOCH:.1f} to {one.end - EPOCH:.1f} s, {one.outcome} at {one.deciding_time - EPOCH:.1f} s"
        f" [{one.stage}]: {phases}"
    )


def main(arguments: Sequence[str]) -> None:
    """Print the table, or one recording."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, help="only this recording, with everything about it")
    parser.add_argument("--from", dest="first", type=int, default=0)
    parser.add_argument("--to", dest="last", type=int, default=400)
    parser.add_argument("-v", dest="verbose", action="store_true", help="with the 30 worst recordings")
    parser.add_argument("--streaming", action="store_true", help="what the streaming recognizer settles, instead")
    wanted = parser.parse_args(arguments)
    finds: Found = offline
    if wanted.streaming:
        from tests.sequence.streaming import settled as finds
    if wanted.seed is not None:
        recorded = kept(wanted.seed, wanted.folder)
        found = finds(recorded)
        print(details(score(recorded, found), found, everything=True))  # noqa: T201
        return
    there = [seed for seed in range(wanted.first, wanted.last) if (wanted.folder / f"{seed}.v{VERSION}.npz").exists()]
    done = scores((kept(seed, wanted.folder) for seed in there), finds)
    print(table(done), by_phase(done), by_outcome(done), sep="\n\n")  # noqa: T201
    worst = sorted(done, key=badness, reverse=True)[: 30 if wanted.verbose else 0]
    print(*(details(one) for one in worst if badness(one) > 1.0), sep="\n")  # noqa: T201


if __name__ == "__main__":
    main(sys.argv[1:])
