"""Small libraries whose answer can be worked out by hand."""

import math

import numpy as np

from analysis.diagnosis.cases import Cases
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES, NUMBER
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.mixture import Mixture, fitted
from analysis.diagnosis.seen import Seen

EACH = 60
"""Cases of each cause."""


def world(shifts: dict[str, dict[str, float]], scatter: float = 1.0, seed: int = 1) -> Cases:
    """A library in which each cause moves features by so much of their scatter; `none` moves nothing. [scaled]"""
    random = np.random.default_rng(seed)
    names = sorted({name for moved in shifts.values() for name in moved})
    causes = ["none", *shifts]
    values = np.full((EACH * len(causes), len(FEATURES)), np.nan)
    for row in range(values.shape[0]):
        moved = shifts.get(causes[row // EACH], {})
        for name in names:
            values[row, NUMBER[name]] = scatter * (random.standard_normal() + moved.get(name, 0.0))
    cause = np.repeat([CAUSES.index(one) for one in causes], EACH)
    n = cause.size
    return Cases(values, cause, np.where(cause > 0, 0.5, 0.0), np.zeros(n, np.int64), np.full((n, len(FLAGS)), -1))


def mixture(shifts: dict[str, dict[str, float]], scatter: float = 1.0) -> Mixture:
    """Fitted to such a library."""
    return fitted(world(shifts, scatter))


def seen(**values: float) -> Seen:
    """What was seen; a double underscore stands for a dot. [scaled]"""
    array, u = np.full(len(FEATURES), np.nan), np.full(len(FEATURES), np.nan)
    raw = {}
    for key, value in values.items():
        name = key.replace("__", ".")
        array[NUMBER[name]], u[NUMBER[name]] = value, 0.0
        raw[name] = FEATURES[NUMBER[name]].unscaled(value)
    return Seen(array, u, {}, {}, raw)


def alike(**shares: float) -> dict[str, float]:
    """Priors over a few causes; the others are all but impossible."""
    rest = 1e-12
    return {cause: shares.get(cause, rest) for cause in CAUSES}


def close(first: float, second: float, within: float) -> bool:
    """Whether two numbers are within so much."""
    return math.isclose(first, second, abs_tol=within)
