"""What a small net says of a recording: how probable each cause makes everything that was seen, taken together.

The mixture takes groups of features as apart once the cause is known; a net that learned from the same cases, seen
through many kits of meters, does not. It is a few matrices (`make library` makes them) and says nothing of why.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.cases import KINDS
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES
from analysis.diagnosis.flags import FLAGS

Array = NDArray[np.float64]
Index = NDArray[np.int64]

FAR = 5.0
"""Deviation from the mean of all cases beyond which a feature counts no more. [standard deviations]"""
VERSION = "1"
_HALF = ("mean", "scale", "weight_in", "bias_in", "weight_out", "bias_out")
_WHOLE = ("log_share", "mixture_counts", "net_counts")


@dataclass(frozen=True, slots=True, eq=False)
class Net:
    """Several nets of one hidden layer whose logarithms are averaged.

    A logarithm counts less than it says where two of them speak of the same readings, as opinions that are pooled do
    (Genest and Zidek 1986, Statistical Science 1:114, on the logarithmic pool; from memory).
    """

    mean: Array
    """(features,) of all cases. [scaled]"""
    scale: Array
    """(features,) their standard deviation. [scaled]"""
    weight_in: Array
    """(nets, inputs, hidden)"""
    bias_in: Array
    """(nets, hidden)"""
    weight_out: Array
    """(nets, hidden, causes)"""
    bias_out: Array
    """(nets, causes)"""
    log_share: Array
    """(causes,) logarithm of the share of each among the cases that it learned from. [1]"""
    mixture_counts: float
    """Share of its logarithm that the mixture's likelihood counts beside it. [1]"""
    net_counts: float
    """Share of its logarithm that its own counts. [1]"""

    def log_likelihood(self, values: Array, flags: Index, kind: Index) -> Array:
        """(n, causes) logarithm of how probable each cause makes what was seen, up to a constant of each row.

        values : (n, features) scaled, NaN where nothing tells. [1]
        flags : (n, flags) place in what the flag may say, -1 where nothing told. [1]
        kind : (n,) place in `cases.KINDS`, -1 where it is not known. [1]
        """
        given = inputs(values, flags, kind, self.mean, self.scale)
        found = np.zeros((given.shape[0], len(CAUSES)))
        for number in range(self.bias_in.shape[0]):
            hidden = np.maximum(given @ self.weight_in[number] + self.bias_in[number], 0.0)
            found += log_softmax(hidden @ self.weight_out[number] + self.bias_out[number])
        return np.asarray(found / self.bias_in.shape[0] - self.log_share)

    def arrays(self) -> dict[str, NDArray[np.generic]]:
        """To be written to a file, small."""
        return {
            "version": np.array(VERSION),
            "features": np.array([feature.name for feature in FEATURES]),
            **{name: np.asarray(getattr(self, name), np.float16) for name in _HALF},
            **{name: np.asarray(getattr(self, name), np.float64) for name in _WHOLE},
        }

    @classmethod
    def read(cls, arrays: Mapping[str, NDArray[np.generic]]) -> "Net":
        """From what was read; ValueError in one sentence where it is no net of this version."""
        try:
            version, names = str(arrays["version"]), [str(name) for name in arrays["features"]]
            found = {name: np.asarray(arrays[name], np.float64) for name in (*_HALF, *_WHOLE)}
        except KeyError as error:
            raise ValueError(f"no net: {error.args[0]} is missing") from None
        if version != VERSION or names != [feature.name for feature in FEATURES]:
            raise ValueError(f"a net of version {version}, this program has {VERSION}: build it anew")
        counts = {name: float(found.pop(name)) for name in ("mixture_counts", "net_counts")}
        return cls(**found, **counts)  # type: ignore[arg-type]


def inputs(values: Array, flags: Index, kind: Index, mean: Array, scale: Array) -> Array:
    """(n, inputs) what a net is given: numbers, which of them are there, what flags say, and the kind of unit."""
    there = np.isfinite(values)
    columns = [np.where(there, np.clip((np.nan_to_num(values) - mean) / scale, -FAR, FAR), 0.0), there]
    for place, said in enumerate(FLAGS.values()):
        columns.append(flags[:, place, None] == np.arange(len(said))[None])
    columns.append(kind[:, None] == np.arange(len(KINDS))[None])
    return np.concatenate(columns, axis=1, dtype=np.float64)


def log_softmax(score: Array) -> Array:
    """(n, causes) logarithm of the shares that scores stand for."""
    score = score - score.max(axis=1, keepdims=True)
    return np.asarray(score - np.log(np.sum(np.exp(score), axis=1, keepdims=True)))
