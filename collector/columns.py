"""The columns of a sealed block as bytes: times and values, each in the smaller of two forms, both to the last bit.

The seam to the compression of numbers (pcodec). docs/recording-format.md has the forms in a stranger's words. Whatever
is packed is unpacked once before it is used, and where it did not come out bit for bit the plain form is taken.
"""

import struct
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pcodec import ChunkConfig, DeltaSpec, standalone

GRID, DECIMAL = b"g", b"d"
"""First byte of the forms of our own; a plain one is a pcodec file, which begins with `p`."""
MOST_PLACES = 9
"""Digits after the decimal point that are looked for. [1]"""
FINE = 16
"""The spacing of times is kept to this power of two of their unit. [1]"""
FEWEST = 8
"""Times of which no spacing is looked for. [1]"""

_LEVEL = 8
_AS_THEY_ARE = ChunkConfig(compression_level=_LEVEL, delta_spec=DeltaSpec.no_op())
_DIFFERENCES = ChunkConfig(compression_level=_LEVEL, delta_spec=DeltaSpec.try_consecutive(1))
_BY_ITSELF = ChunkConfig(compression_level=_LEVEL)
_GRID = struct.Struct("<qqqI")
_DECIMAL = struct.Struct("<III")
_HALF = 1 << FINE - 1
_LARGEST = 1 << 62
_WHOLE = 2.0**53
"""Up to here a double holds every whole number."""

Times = NDArray[np.int64]
Values = NDArray[np.float64]


def packed_times(time: Times) -> bytes:
    """One or more times [ns] that rise."""
    plain = _file(time, _DIFFERENCES)
    grid = _on_a_grid(time)
    if grid is None or len(grid) >= len(plain) or not np.array_equal(unpacked_times(grid), time):
        return plain
    return grid


def unpacked_times(content: bytes) -> Times:
    """Times that were packed [ns]; RuntimeError, TypeError, ValueError or struct.error where they are damaged."""
    time: Times
    if content[:1] != GRID:
        time = _numbers(content)
        return time
    first, unit, step, size = _GRID.unpack_from(content, 1)
    begin = 1 + _GRID.size
    off = _numbers(content[begin + size :])
    place = np.cumsum(_numbers(content[begin : begin + size])) if size else np.arange(off.size)
    time = first + unit * ((place * step + _HALF >> FINE) + off)
    return time


def _on_a_grid(time: Times) -> bytes | None:
    """The times as places on a grid of even spacing and how far each is off; None where that cannot be.

    A meter's clock is off by a little each time, and not by more and more: the difference of two times has the error
    of both, what a time is off by only its own.
    """
    if time.size < FEWEST or int(time[-1]) - int(time[0]) >= _LARGEST:
        return None
    since = time - time[0]
    unit = int(np.gcd.reduce(since))
    tick = since // unit
    apart = np.diff(tick)
    steps = np.append(0, np.maximum(np.rint(apart / np.median(apart)), 1).astype(np.int64))
    place = np.cumsum(steps)
    middle = place - place.mean()
    fit = [float(np.einsum("i,i", middle, one)) for one in (tick, middle)]  # not @: BLAS would wake every core for it
    step = round(fit[0] / fit[1] * (1 << FINE))
    if step <= 0 or int(place[-1]) * step >= _LARGEST:
        return None
    off = tick - (place * step + _HALF >> FINE)
    places = b"" if (steps[1:] == 1).all() else _file(steps, _AS_THEY_ARE)
    head = GRID + _GRID.pack(int(time[0]), unit, step, len(places))
    return head + places + _file(off, _AS_THEY_ARE)


def packed_values(value: Values) -> bytes:
    """One or more values of any bits."""
    value = np.ascontiguousarray(value)
    decimal, others = _decimal(value)
    if decimal and not np.array_equal(unpacked_values(decimal).view(np.int64), value.view(np.int64)):
        decimal = b""
    if decimal and not others:
        return decimal
    plain = _file(value, _BY_ITSELF)
    return decimal if decimal and len(decimal) < len(plain) else plain


def unpacked_values(content: bytes) -> Values:
    """Values that were packed; RuntimeError, TypeError, ValueError, IndexError or struct.error where damaged."""
    value: Values
    if content[:1] != DECIMAL:
        value = _numbers(content)
        return value
    places, where, what = _DECIMAL.unpack_from(content, 1)
    begin = 1 + _DECIMAL.size
    value = _numbers(content[begin + where + what :]) / 10.0**places
    if where:
        value[_numbers(content[begin : begin + where])] = _numbers(content[begin + where : begin + where + what])
    return value


def _decimal(value: Values) -> tuple[bytes, int]:
    """The values as whole numbers of the last digit that the meter shows, and how many are none; empty where most."""
    number, exact, places = _digits(value)
    others = np.flatnonzero(~exact)
    if 2 * others.size > value.size:
        return b"", others.size
    where = what = b""
    if others.size:
        number = number[np.maximum.accumulate(np.where(exact, np.arange(value.size), 0))]  # the one before it
        where = _file(others.astype(np.uint32), _DIFFERENCES)
        what = _file(value[others], _BY_ITSELF)
    numbers = min((_file(number, way) for way in (_AS_THEY_ARE, _DIFFERENCES)), key=len)
    return DECIMAL + _DECIMAL.pack(places, len(where), len(what)) + where + what + numbers, others.size


def _digits(value: Values) -> tuple[Times, NDArray[np.bool_], int]:
    """Whole numbers, which of them divided by that power of ten are the values to the last bit, and the power."""
    bits, found = value.view(np.int64), None
    for places in range(MOST_PLACES + 1):
        scale = 10.0**places
        with np.errstate(over="ignore", invalid="ignore"):
            number = np.rint(value * scale)
            number = np.where(np.abs(number) < _WHOLE, number, 0.0).astype(np.int64)
        exact = (number / scale).view(np.int64) == bits
        if found is None or np.count_nonzero(exact) > np.count_nonzero(found[1]):
            found = number, exact, places
        if exact.all():
            break
    assert found is not None
    return found


def _file(numbers: NDArray[Any], way: ChunkConfig) -> bytes:
    content: bytes = standalone.simple_compress(np.ascontiguousarray(numbers), way)
    return content


def _numbers(content: bytes) -> Any:
    return standalone.simple_decompress(content)


_numbers(_file(np.zeros(1), _BY_ITSELF))  # it takes up numpy the first time, and ends in a panic if interrupted in that
