"""A recognizer that knows what is true: it plays the attempts of a truth file, whatever it is told."""

import json
from collections.abc import Sequence
from importlib.resources import files

from analysis.model import Plate, Quality, Timing
from analysis.sequence.attempts import Attempt, PhaseSpan, Progress

TRIED = {"ignition_trial", "blower_on_delay", "run_low", "run_high"}


def attempts_of(name: str, began: float) -> tuple[Attempt, ...]:
    """What was true in a bundled recording of a simulated unit that began then. [s]"""
    truth = json.loads((files("replay_data") / f"{name}.truth.json").read_text())
    return tuple(
        Attempt(
            number,
            one["call"],
            began + one["start"],
            began + one["end"],
            0.1,
            0.1,
            one["stage"],
            one["outcome"],
            1.0,
            began + one["deciding_time"],
            0.1,
            tuple(
                PhaseSpan(span["phase"], began + span["start"], began + span["end"], 0.1, 0.1) for span in one["phases"]
            ),
        )
        for number, one in enumerate(truth["attempts"], start=1)
    )


class Scripted:
    """Says what was true up to the newest time it was told of."""

    def __init__(self, script: Sequence[Attempt], timing: Timing | None = None, plate: Plate | None = None) -> None:
        self.given, self.timing, self.plate = timing, timing or Timing(), plate
        self._script = script
        self._now = 0.0
        self.stepped: list[tuple[str, float, float]] = []
        """Points, times [s] and values it was told."""

    def step(self, point: str, time: float, value: float, quality: Quality) -> Progress:
        """Take a reading."""
        assert time >= self._now, "times rise"
        self.stepped.append((point, time, value))
        self._now = time
        return self.look(time)

    def look(self, now: float) -> Progress:
        """Where it stands."""
        one = next((one for one in self._script if one.start <= now < one.end), None)
        if one is None:
            return Progress(settled=True)
        span = next(span for span in one.phases if span.start <= now < span.end)
        decided = now >= one.deciding_time
        return Progress(
            span.phase,
            span.start,
            self.timing.prepurge if span.phase == "prepurge" else None,
            one.number,
            one.call,
            self._trial(one) if span.phase in TRIED else 0,
            one.outcome if decided else "",
            one.deciding_time if decided else 0.0,
            settled=now >= span.start + 1.0,
        )

    def _trial(self, attempt: Attempt) -> int:
        same = [one for one in self._script if one.call == attempt.call and one.number <= attempt.number]
        return sum(bool(one.spans("ignition_trial")) for one in same)

    def forget(self, point: str) -> None:
        """Nothing measures a point any more."""

    @property
    def attempts(self) -> tuple[Attempt, ...]:
        """Those that began, with their phases so far."""
        return tuple(self._so_far(one) for one in self._script if one.start <= self._now)

    def _so_far(self, one: Attempt) -> Attempt:
        if one.end <= self._now:
            return one
        spans = tuple(span for span in one.phases if span.start <= self._now)
        return Attempt(
            one.number,
            one.call,
            one.start,
            self._now,
            0.1,
            0.1,
            one.stage,
            one.outcome,
            1.0,
            one.deciding_time,
            0.1,
            spans,
        )
