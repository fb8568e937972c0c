"""The library of a diagnosis, made anew: simulated visits, looked at through true meters, recognized and measured.

python -m drivers.simulate.library FILE [CASES]      about a second of one core a case; seeds from `FIRST` on
"""

import os
import sys
import time as clocks
from collections.abc import Iterator, Sequence
from dataclasses import replace
from multiprocessing import Pool
from pathlib import Path

import numpy as np

from analysis.diagnosis.cases import Cases, kind_of
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.known import Known
from analysis.diagnosis.seen import Seen, seen
from analysis.measures import measures
from analysis.model import Series
from analysis.points import measure_of
from analysis.sequence.recognize import recognize
from analysis.units import to_inside
from drivers.simulate.as_if_run import filled
from drivers.simulate.instruments import Observer
from drivers.simulate.papers import Papers
from drivers.simulate.visits import Drawn, true_meters, visit

FIRST = 10_000_000
"""Seed of the first case; benchmarks use seeds below it."""
COUNT = 3440
"""Cases of the library that comes with the program."""
ROUND = 40
"""Of so many cases in a row one has each cause, and the others none."""


def cause_of(number: int) -> str:
    """Cause of a case by its number."""
    place = number % ROUND
    return CAUSES[place] if place < len(CAUSES) else "none"


def known_of(papers: Papers) -> Known:
    """What a diagnosis is told of a unit."""
    return Known(
        papers.plate,
        papers.baseline,
        papers.altitude,
        papers.capacity_47,
        papers.compressor_lockout,
        papers.auxiliary_lockout,
        papers.humidifier_setting,
    )


def observed(drawn: Drawn, observer: Observer) -> tuple[Series, ...]:
    """What meters show of a visit, from beginning to end, in inside units."""
    block = drawn.plant.advance(drawn.seconds)
    drawn.plant.finish()
    found = []
    for one in observer.observe(block).readings:
        scale, offset = to_inside(one.channel.unit, measure_of(one.channel.point))
        found.append(Series(one.channel, one.time / 1e9, one.value * scale + offset))
    return tuple(found)


def seen_of(series: tuple[Series, ...], papers: Papers) -> Seen:
    """What a diagnosis looks at, with everything on paper known."""
    attempts = recognize(series, papers.timing, papers.plate).attempts
    found = measures(series, attempts, papers.plate, papers.baseline, papers.timing)
    return seen(series, attempts, found, known_of(papers))


def case(number: int) -> tuple[Seen, str, float, int]:
    """One case: what was seen, its cause, how severe that is, and the kind of unit."""
    cause = cause_of(number)
    drawn = visit(FIRST + number, (cause,))
    papers = drawn.plant.unit.papers
    found = seen_of(observed(drawn, Observer(true_meters(drawn.plant.points), FIRST + number)), papers)
    severity = drawn.causes[0].severity if drawn.causes else 0.0
    return found, cause, severity, kind_of(papers.plate) or 0


def made(count: int, cores: int) -> Iterator[tuple[Seen, str, float, int]]:
    """Cases in their order."""
    with Pool(cores) as pool:
        yield from pool.imap(case, range(count), chunksize=4)


def gathered(found: Sequence[tuple[Seen, str, float, int]]) -> Cases:
    """The first cases as one table, with what their units would show in states that they did not reach."""
    seeds = [FIRST + number for number in range(len(found))]
    cases = Cases.of(*([one[place] for one in found] for place in range(4)))  # type: ignore[arg-type]
    causes, severities = [one[1] for one in found], [one[2] for one in found]
    return replace(cases, values=filled(cases.values, seeds, causes, severities))


def main(arguments: list[str]) -> int:
    """Make the library."""
    if not 1 <= len(arguments) <= 2:
        sys.stderr.write(f"{__doc__}\n")
        return 2
    path, count = Path(arguments[0]), int(arguments[1]) if len(arguments) > 1 else COUNT
    began, found = clocks.monotonic(), list[tuple[Seen, str, float, int]]()
    for one in made(count, os.cpu_count() or 1):
        found.append(one)
        if sys.stderr.isatty() and len(found) % 20 == 0:
            sys.stderr.write(f"\r{len(found)} of {count} cases, {clocks.monotonic() - began:.0f} s ")
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez_compressed(file, **gathered(found).arrays())  # type: ignore[arg-type]
    part.replace(path)
    sys.stderr.write(f"\n{path}: {count} cases, {path.stat().st_size / 1e6:.1f} MB\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
