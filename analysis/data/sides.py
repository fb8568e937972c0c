"""Signs that are wrong over a stretch of a recording: hoses, probes or leads on the wrong side."""

from collections.abc import Iterator
from itertools import product

import numpy as np

from analysis.data.course import Course, Mask
from analysis.data.problem import DataProblem, keys, span_of_time
from analysis.model import Plate, Series
from analysis.signs import AFTERWARDS, PROBES, SIGNS, Part, Sign, limits_of


def wrong_sides(course: Course, plate: Plate) -> Iterator[DataProblem]:
    """What the live page would suspect, and what only several points together tell afterwards."""
    for name, sign in (SIGNS | AFTERWARDS).items():
        for series in product(*(course.of(point) for point in sign.points)):
            span = _wrong(sign, dict(zip(sign.points, series, strict=True)), course, plate)
            if span is not None:
                exchanged = len(sign.points) > 1
                instruments = ", ".join(dict.fromkeys(one.channel.instrument for one in series))
                what, _, hint = sign.text.rpartition(": ")
                text = f"{instruments}: {what} ({span_of_time(span[0] - course.start)} after the start)"
                kind = "exchanged" if exchanged or sign.word == PROBES else "wrong_sign"
                yield DataProblem(kind, keys(series), text, _sentence(hint), *span)
                if name == "boxes_exchanged":
                    break


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}; no value was changed."


def _wrong(sign: Sign, series: dict[str, Series], course: Course, plate: Plate) -> tuple[float, float] | None:
    """Start and end [s] of the stretches in which it was wrong for long enough; None where it was right as long."""
    goes_on = course.goes_on(sign.when, sign.contact)
    wrong, right = goes_on.copy(), goes_on.copy()
    for part in sign.parts:
        is_wrong, is_right = _side(part, series, course, plate)
        wrong &= is_wrong
        right &= is_right
    if not wrong.any():
        return None
    found = course.stretches(wrong, sign.hold)
    if not found:
        return None
    return float(course.time[found[0][0]]), float(course.time[found[-1][1]])


def _side(part: Part, series: dict[str, Series], course: Course, plate: Plate) -> tuple[Mask, Mask]:
    value = course.values(series[part.point])
    if part.less:
        value = value - course.values(series[part.less])
    wrong, right = limits_of(part, plate)
    with np.errstate(invalid="ignore"):
        return (value <= wrong, value >= right) if wrong < right else (value >= wrong, value <= right)
