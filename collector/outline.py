"""A series in fewer points than were read, for a picture."""

from dataclasses import dataclass

from analysis.model import Series
from analysis.thinning import usual_spacing


@dataclass(frozen=True, slots=True, eq=False)
class Outline(Series):
    """Smallest and largest values of short spans; a NaN wherever no line is to be drawn, and nowhere else."""

    spacing: float
    """Usual time between two of the readings that it is of. [s]"""


def spacing_of(series: Series) -> float:
    """Usual time between two readings of a series or of an outline, NaN for fewer than two. [s]"""
    return series.spacing if isinstance(series, Outline) else usual_spacing(series.time)
