"""Every ignition attempt of a recording."""

from collections.abc import Sequence

from analysis.model import Plate, Series, Timing
from analysis.sequence.attempts import Recognition


def recognize(series: Sequence[Series], timing: Timing | None = None, plate: Plate | None = None) -> Recognition:
    """Attempts in what was recorded, from whatever channels there are."""
    raise NotImplementedError
