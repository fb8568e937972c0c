"""What a diagnosis looks at in simulated calls, kept in a file beside this module so that nobody has to wait for it.

python -m tests.diagnosis.kept FOLDER      gathers it from calls that `tests.diagnosis.calls` has put there
"""

import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.diagnosis.cases import UNTOLD, kind_of, places
from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.features import FEATURES
from analysis.diagnosis.flags import FLAGS
from analysis.diagnosis.seen import Seen
from drivers.simulate.causes import COURSES
from tests.diagnosis.calls import SETS, VERSION, Call, kept

FILE = Path(__file__).with_name("calls.npz")
UNKNOWN = -1
"""A kind of unit that the papers do not say."""


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """One call."""

    which: str
    number: int
    cause: str
    severity: float
    course: str
    kind: int | None
    seen: Seen


def of(which: str, number: int, call: Call) -> Kept:
    """What is kept of a call."""
    return Kept(which, number, call.cause, call.severity, call.course, kind_of(call.known.plate), call.seen)


def save(calls: Sequence[Kept], path: Path = FILE) -> None:
    """Write them, the numbers as half floats."""
    courses = ("", *COURSES)
    np.savez_compressed(
        path,
        features=np.array([feature.name for feature in FEATURES]),
        which=np.array([list(SETS).index(one.which) for one in calls], np.int8),
        number=np.array([one.number for one in calls], np.int16),
        cause=np.array([CAUSES.index(one.cause) for one in calls], np.int8),
        severity=np.array([one.severity for one in calls], np.float16),
        course=np.array([courses.index(one.course) for one in calls], np.int8),
        kind=np.array([UNKNOWN if one.kind is None else one.kind for one in calls], np.int8),
        values=np.array([one.seen.values for one in calls], np.float16),
        u=np.array([one.seen.u for one in calls], np.float16),
        flags=np.array([places(one.seen.flags) for one in calls], np.int8),
    )


def load(path: Path = FILE) -> list[Kept]:
    """Read them; ValueError where they were made for other features."""
    with np.load(path) as file:
        arrays = {name: file[name] for name in file.files}
    names = [str(name) for name in arrays["features"]]
    if names != [feature.name for feature in FEATURES]:
        raise ValueError(f"{path.name} was made for other features: gather it anew")
    return [_kept(arrays, row) for row in range(arrays["cause"].size)]


def _kept(arrays: dict[str, np.ndarray], row: int) -> Kept:
    values, u = arrays["values"][row].astype(np.float64), arrays["u"][row].astype(np.float64)
    said = {
        flag: words[int(place)]
        for (flag, words), place in zip(FLAGS.items(), arrays["flags"][row], strict=True)
        if place != UNTOLD
    }
    raw = {
        feature.name: feature.unscaled(float(value))
        for feature, value in zip(FEATURES, values, strict=True)
        if np.isfinite(value)
    }
    kind = int(arrays["kind"][row])
    return Kept(
        list(SETS)[int(arrays["which"][row])],
        int(arrays["number"][row]),
        CAUSES[int(arrays["cause"][row])],
        float(arrays["severity"][row]),
        ("", *COURSES)[int(arrays["course"][row])],
        None if kind == UNKNOWN else kind,
        Seen(values, u, {}, said, raw),
    )


def _gathered(folder: Path) -> Iterable[Kept]:
    for which in SETS:
        numbers = sorted(int(path.name.split(".")[1]) for path in folder.glob(f"{which}.*.v{VERSION}"))
        yield from (of(which, number, kept(folder, which, number)) for number in numbers)


if __name__ == "__main__":
    save(list(_gathered(Path(sys.argv[1]))))
