"""Simulated calls as a technician records them: random units, channels, meters and papers, each with its truth.

python -m tests.diagnosis.calls FOLDER SET FROM TO      makes those of a set (`faulty`, `healthy`, `shifted`, `spare`)
"""

import os
import pickle
import random
import sys
import time as clocks
import zlib
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from analysis.data import DataProblem, problems
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.known import Known
from analysis.diagnosis.seen import Seen, seen
from analysis.measures import measures
from analysis.measures.measured import Measured
from analysis.model import Baseline, Plate, Series, Timing
from analysis.sequence.attempts import Attempt
from analysis.sequence.recognize import recognize
from collector.diagnosing import UNTRUE
from drivers.simulate import unit as units
from drivers.simulate.draws import KINDS, Draw, drawn
from drivers.simulate.instruments import Observer
from drivers.simulate.library import known_of, observed
from drivers.simulate.meters import standard_meters
from drivers.simulate.visits import visit

SETS = {"faulty": 2_000_000, "healthy": 3_000_000, "shifted": 4_000_000, "spare": 5_000_000}
"""First seed of each set; those of the library begin at 10,000,000."""
LEAST = 0.65
"""Least severity of a fault that somebody is called for; our choice. [1]"""
FULL = 0.5
"""Share of calls with a meter at every point; the others have what technicians own; our choice. [1]"""
LEFT_ALONE = 0.05
"""Share of calls in which the thermostat calls. [1]"""
VERSION = 3


@dataclass(frozen=True, slots=True, eq=False)
class Call:
    """One call recorded, and apart from that what was true."""

    seed: int
    cause: str
    severity: float
    course: str
    known: Known
    series: tuple[Series, ...]
    attempts: tuple[Attempt, ...]
    measures: tuple[Measured, ...]
    problems: tuple[DataProblem, ...]

    @property
    def seen(self) -> Seen:
        """What a diagnosis looks at: channels that cannot be true left out."""
        untrue = {key for one in self.problems if one.kind in UNTRUE for key in one.channels}
        kept = [one for one in self.series if one.channel.key not in untrue]
        return seen(kept, self.attempts, [one for one in self.measures if not untrue & set(one.channels)], self.known)


def call(which: str, number: int) -> Call:
    """The call of a set and number, always the same."""
    seed = SETS[which] + number
    chance = random.Random(f"call {seed}")
    cause = "none" if which == "healthy" else CAUSES[1:][number % (len(CAUSES) - 1)]
    made = stretched if which == "shifted" else units.random_unit
    found = visit(seed, (cause,), least=LEAST, by_house=LEFT_ALONE, made=made)
    papers = found.plant.unit.papers
    known: Known = known_of(papers)
    timing: Timing | None = papers.timing
    if chance.random() < 0.15:
        known = replace(known, plate=Plate())
    if chance.random() < 0.5:
        known = replace(known, baseline=Baseline())
    if chance.random() < 0.3:
        timing = None
    meters = standard_meters(found.plant.points, "full" if chance.random() < FULL else chance)
    series = observed(found, Observer(meters, seed))
    attempts = recognize(series, timing, known.plate).attempts
    computed = measures(series, attempts, known.plate, known.baseline, timing)
    doubts = problems(series, attempts, known.plate)
    wrong = found.causes[0] if found.causes else None
    return Call(
        seed,
        cause,
        wrong.severity if wrong else 0.0,
        wrong.course if wrong else "",
        known,
        series,
        attempts,
        computed,
        tuple(doubts),
    )


def stretched(seed: int) -> units.Unit:
    """A unit beyond the population of the library: each number past either end of its range, by up to a third."""
    chance = random.Random(f"shifted {seed}")

    def outside(low: float, high: float) -> float:
        beyond = chance.uniform(0.0, 0.33) * (high - low)
        return max(low - beyond, 0.5 * low) if chance.random() < 0.5 else high + beyond

    kind = chance.choices([kind for kind, _ in KINDS], [share for _, share in KINDS])[0]
    while True:
        with suppress(ValueError):  # numbers that no furnace can have together are drawn again
            return units.random_unit(seed, design=drawn(Draw(outside, chance.choice), kind))


def kept(folder: Path, which: str, number: int) -> Call:
    """The call from a folder; made and put there where it is missing."""
    path = folder / f"{which}.{number}.v{VERSION}"
    if path.exists():
        found: Call = pickle.loads(zlib.decompress(path.read_bytes()))
        return found
    made = call(which, number)
    folder.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(f".{os.getpid()}.part")
    part.write_bytes(zlib.compress(pickle.dumps(made, protocol=5), 1))
    part.replace(path)
    return made


def _fill(folder: Path, which: str, first: int, last: int) -> None:
    began = clocks.monotonic()
    for number in range(first, last):
        kept(folder, which, number)
    print(f"{last - first} calls in {clocks.monotonic() - began:.0f} s")  # noqa: T201


if __name__ == "__main__":
    from tests.diagnosis.calls import kept  # so that what is kept belongs to this module by its name

    _fill(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
