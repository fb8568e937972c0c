"""Bad bytes for codecs: random ones, and good messages that were damaged; counts come from the environment.

FRAMES of them go through each codec in `make test`; `LIGHTOFF_FRAMES=1000000` is the long form.
"""

import gc
import math
import os
import random
import sys
from collections.abc import Callable, Iterator, Sequence

from drivers.codecs.sample import Decoded

FRAMES = int(os.environ.get("LIGHTOFF_FRAMES", "50000"))
"""Messages for each codec. [1]"""
GROWTH = 2_000
"""What a codec may hold more after all of them than after the first tenth. [blocks of memory]"""


def bad_messages(seeds: Sequence[bytes], count: int, *, seed: int = 1, longest: int = 64) -> Iterator[bytes]:
    """Random bytes, and seeds with bits turned, bytes changed, cut, repeated, put together or left as they are."""
    chance = random.Random(seed)
    for _ in range(count):
        kind = chance.randrange(8)
        data = bytearray(chance.choice(seeds))
        if kind == 0 or not data:
            data = bytearray(chance.randbytes(chance.randrange(longest)))
        elif kind == 1:
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        elif kind == 2:
            data[chance.randrange(len(data))] = chance.randrange(256)
        elif kind == 3:
            data = data[: chance.randrange(len(data) + 1)]
        elif kind == 4:
            data = data[chance.randrange(len(data) + 1) :]
        elif kind == 5:
            at = chance.randrange(len(data) + 1)
            data[at:at] = chance.randbytes(chance.randrange(1, 9))
        elif kind == 6:
            data += chance.choice(seeds)
        yield bytes(data)


def survives(decode: Callable[[bytes], Decoded], seeds: Sequence[bytes], *, count: int = FRAMES) -> int:
    """Put bad messages through a codec; how many gave a value.

    AssertionError where an exception escapes, where nothing is read and no reason given, where a value is no float, or
    where memory grows.
    """
    read = held = 0
    for number, message in enumerate(bad_messages(seeds, count)):
        if number == count // 10:
            held = _held()
        try:
            sample, reason = decode(message)
        except Exception as error:
            raise AssertionError(f"{message.hex()} let an error escape: {error!r}") from error
        assert sample is not None or reason, f"{message.hex()} is neither read nor refused"
        if sample is not None:
            read += bool(sample.values)
            assert all(type(value) is float for value in sample.values.values()), f"{message.hex()}: {sample}"
            assert sample.battery is None or math.isfinite(sample.battery), f"{message.hex()}: {sample}"
    growth = _held() - held
    assert growth < GROWTH, f"{growth} blocks more are held"
    return read


def _held() -> int:
    gc.collect()
    return sys.getallocatedblocks()
