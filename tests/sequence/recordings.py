"""Simulated recordings in memory, each with what was true: `recording(seed)`; filled into a folder to be kept.

LIGHTOFF_RECORDINGS_FOLDER=FOLDER     recordings are taken from there, and put there once made
python -m tests.sequence.recordings FOLDER FROM TO      makes those from one seed up to another, one not included
"""

import json
import os
import random
import sys
import time as clocks
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analysis.model import Channel, Plate, Quality, Series, Timing
from analysis.points import measure_of
from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.units import to_inside
from drivers.simulate.instruments import Observer
from tests.sequence.scenarios import scenario
from tests.sequence.spoiling import Read, clock, spoiled, spoiling
from tests.sequence.truths import attempts_of, cut

EPOCH = 1_768_372_200.0
"""Where the run begins, UTC since 1970. [s]"""
VERSION = 1
"""Of what is drawn: files of another one are made anew."""


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """A recording as the recognizer gets it, and apart from that what was true."""

    seed: int
    series: tuple[Series, ...]
    """Inside units, NaN where a reading had no good value, time UTC since 1970. [s]"""
    timing: Timing | None
    """What the job file states; None where it says nothing of them."""
    plate: Plate | None
    truth: tuple[Attempt, ...]
    """Cut to what was recorded."""
    start: float
    """Of what was recorded, UTC since 1970. [s]"""
    end: float
    about: Mapping[str, Any]
    """What was drawn, in words."""

    @property
    def points(self) -> frozenset[str]:
        """What is measured."""
        return frozenset(one.channel.point for one in self.series)

    def readings(self) -> Iterator[tuple[str, float, float, Quality]]:
        """Point, time [s], value [inside unit] and quality of every reading, in the order of time."""
        times = np.concatenate([one.time for one in self.series] or [np.empty(0)])
        values = np.concatenate([one.value for one in self.series] or [np.empty(0)])
        owner = np.repeat(np.arange(len(self.series)), [one.time.size for one in self.series])
        order = np.argsort(times, kind="stable")
        names = [one.channel.point for one in self.series]
        for which, time, value in zip(
            owner[order].tolist(), times[order].tolist(), values[order].tolist(), strict=True
        ):
            quality = Quality.BAD if value != value else Quality.GOOD  # noqa: PLR0124 - NaN
            yield names[which], time, value, quality


def recording(seed: int) -> Recorded:
    """The recording of a seed, always the same; kept in the folder that `LIGHTOFF_RECORDINGS_FOLDER` names."""
    folder = os.environ.get("LIGHTOFF_RECORDINGS_FOLDER")
    return made(seed) if not folder else kept(seed, Path(folder))


def kept(seed: int, folder: Path) -> Recorded:
    """The recording of a seed from a folder; made and put there where it is missing or of another version."""
    path = folder / f"{seed}.v{VERSION}.npz"
    if path.exists():
        return _load(path)
    found = made(seed)
    folder.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(f".{os.getpid()}.part")
    with part.open("wb") as file:
        _save(found, file)
    part.replace(path)
    return found


def made(seed: int) -> Recorded:
    """The recording of a seed, made anew."""
    drawn = scenario(seed)
    plant = drawn.plant
    block = plant.advance(drawn.seconds)
    plant.finish()
    observed = Observer(drawn.meters, seed).observe(block)
    read: Read = []
    for one in observed.readings:
        scale, offset = to_inside(one.channel.unit, measure_of(one.channel.point))
        read.append((one.channel, one.time / 1e9, one.value * scale + offset))
    chance, generator = random.Random(f"spoiling {seed}"), np.random.default_rng([seed, 7])
    spans = [(one["start"], one["end"]) for one in plant.attempts]
    how = spoiling(read, drawn.seconds, spans, chance)
    says = clock(how.step)

    def place(time: float) -> float:
        return EPOCH + float(says(np.array(time)))

    first, last = place(max(how.window[0], 0.0)), place(min(how.window[1], drawn.seconds))
    series = tuple(Series(one.channel, one.time + EPOCH, one.value) for one in spoiled(read, how, generator))
    about = {
        "kit": drawn.kit,
        "causes": [asdict(cause) | {"until": None} for cause in plant.causes],
        "spoiled": how.done,
        "job": "none" if drawn.timing is None else "timing left out" if drawn.timing == Timing() else "whole",
    }
    truth = cut(attempts_of(plant.attempts, place), first, last)
    return Recorded(seed, series, stated(drawn.timing), drawn.plate, truth, first, last, about)


def stated(timing: Timing | None) -> Timing | None:
    """The timing, None where it is what is taken without a statement."""
    return None if timing == Timing() else timing


def _save(found: Recorded, file: Any) -> None:
    arrays: dict[str, Any] = {}
    for number, one in enumerate(found.series):
        arrays[f"t{number}"], arrays[f"v{number}"] = one.time, one.value
    head = {
        "seed": found.seed,
        "channels": [asdict(one.channel) for one in found.series],
        "timing": found.timing and asdict(found.timing),
        "plate": found.plate and asdict(found.plate),
        "truth": [asdict(one) for one in found.truth],
        "start": found.start,
        "end": found.end,
        "about": found.about,
    }
    np.savez(file, head=np.array(json.dumps(head)), **arrays)


def _load(path: Path) -> Recorded:
    with np.load(path) as arrays:
        head = json.loads(str(arrays["head"]))
        series = tuple(
            Series(Channel(**channel), arrays[f"t{number}"], arrays[f"v{number}"])
            for number, channel in enumerate(head["channels"])
        )
    plate = head["plate"] and _plate(head["plate"])
    truth = tuple(
        Attempt(**{**one, "phases": tuple(PhaseSpan(**span) for span in one["phases"])}) for one in head["truth"]
    )
    timing = head["timing"] and Timing(**head["timing"])
    return Recorded(head["seed"], series, stated(timing), plate, truth, head["start"], head["end"], head["about"])


def _plate(told: dict[str, Any]) -> Plate:
    given: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value for name, value in told.items()}
    return Plate(**given)


def _fill(folder: Path, first: int, last: int) -> None:
    began = clocks.monotonic()
    for seed in range(first, last):
        kept(seed, folder)
    print(f"{last - first} recordings in {clocks.monotonic() - began:.0f} s")  # noqa: T201


if __name__ == "__main__":
    _fill(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
