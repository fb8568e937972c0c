"""Cases of the library: what simulated visits to invented units showed, each with the cause that it had."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.seen import Seen
from analysis.model import Plate

Array = NDArray[np.float64]
KINDS = ("natural gas, one stage", "natural gas, two stages", "propane, one stage", "propane, two stages")
"""Units of one kind are compared with each other."""
UNTOLD = -1
"""A flag that nothing told."""
VERSION = "1"
"""Of features and flags; a library of another one cannot be read."""


def kind_of(plate: Plate) -> int | None:
    """Place in `KINDS`; None where the plate does not say."""
    if plate.fuel is None or not (plate.input or plate.manifold):
        return None
    return 2 * (plate.fuel == "propane") + (max(len(plate.input), len(plate.manifold)) > 1)


@dataclass(frozen=True, slots=True, eq=False)
class Cases:
    """Many of them."""

    values: Array
    """(n, features) scaled, NaN where nothing tells. [1]"""
    cause: NDArray[np.int64]
    """(n,) place in `causes.CAUSES`."""
    severity: Array
    """(n,) 0 none to 1 total. [1]"""
    kind: NDArray[np.int64]
    """(n,) place in `KINDS`."""
    flags: NDArray[np.int64]
    """(n, flags) place in what the flag may say, or `UNTOLD`."""

    def __post_init__(self) -> None:
        """Refuse shapes that do not fit each other."""
        n = self.cause.size
        shapes = (self.values.shape, self.severity.shape, self.kind.shape, self.flags.shape)
        if shapes != ((n, len(FEATURES)), (n,), (n,), (n, len(FLAGS))):
            raise ValueError(f"a library of cases of other shapes: {shapes}")

    def __getitem__(self, chosen: NDArray[np.bool_]) -> "Cases":
        """Some of them."""
        return Cases(*(getattr(self, name)[chosen] for name in Cases.__slots__))

    @classmethod
    def of(
        cls, seen: Sequence[Seen], causes: Sequence[str], severities: Sequence[float], kinds: Sequence[int]
    ) -> "Cases":
        """Cases from what was seen."""
        return cls(
            np.array([one.values for one in seen]).reshape(len(seen), len(FEATURES)),
            np.array([CAUSES.index(cause) for cause in causes], np.int64),
            np.array(severities, np.float64),
            np.array(kinds, np.int64),
            np.array([places(one.flags) for one in seen], np.int64).reshape(len(seen), len(FLAGS)),
        )

    def arrays(self) -> dict[str, NDArray[np.generic]]:
        """To be written to a file, small."""
        return {
            "version": np.array(VERSION),
            "features": np.array([feature.name for feature in FEATURES]),
            "values": self.values.astype(np.float16),
            "cause": self.cause.astype(np.int8),
            "severity": self.severity.astype(np.float16),
            "kind": self.kind.astype(np.int8),
            "flags": self.flags.astype(np.int8),
        }

    @classmethod
    def read(cls, arrays: Mapping[str, NDArray[np.generic]]) -> "Cases":
        """From what was read; ValueError in one sentence where it is no library of this version."""
        try:
            version, names = str(arrays["version"]), [str(name) for name in arrays["features"]]
            floats = [np.asarray(arrays[name], np.float64) for name in ("values", "severity")]
            whole = [np.asarray(arrays[name], np.int64) for name in ("cause", "kind", "flags")]
        except KeyError as error:
            raise ValueError(f"no library of cases: {error.args[0]} is missing") from None
        if version != VERSION or names != [feature.name for feature in FEATURES]:
            raise ValueError(f"a library of cases of version {version}, this program has {VERSION}: build it anew")
        return cls(floats[0], whole[0], floats[1], whole[1], whole[2])


def places(flags: Mapping[str, str]) -> list[int]:
    """Flags as numbers."""
    return [values.index(flags[flag]) if flag in flags else UNTOLD for flag, values in FLAGS.items()]
