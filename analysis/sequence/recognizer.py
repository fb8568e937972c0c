"""The ignition sequence, reading by reading."""

from analysis.model import Plate, Quality, Timing
from analysis.sequence.attempts import Attempt, Progress


class Recognizer:
    """Follows the sequence; a time that goes back begins anew."""

    def __init__(self, timing: Timing | None = None, plate: Plate | None = None) -> None:
        self.timing = timing or Timing()
        self.plate = plate or Plate()

    def step(self, point: str, time: float, value: float, quality: Quality) -> Progress:
        """Take a value [inside unit] of a point at `time` [s]."""
        raise NotImplementedError

    def look(self, now: float) -> Progress:
        """Where the sequence stands `now` [s]."""
        raise NotImplementedError

    def forget(self, point: str) -> None:
        """Nothing measures a point any more."""
        raise NotImplementedError

    @property
    def attempts(self) -> tuple[Attempt, ...]:
        """What was found so far, the newest last."""
        raise NotImplementedError
