"""What the harness of bad messages is for: a codec that forgets a check is found out."""

import math

import pytest

from drivers.codecs.sample import Decoded, Sample
from tests.drivers.fuzz import survives

GOOD = Decoded(Sample({"pressure": 1.0}))


def test_a_codec_that_keeps_what_it_read_is_found_out():
    kept: list[bytes] = []

    def leaky(data: bytes) -> Decoded:
        kept.append(bytes(data) + b"!")
        return GOOD

    with pytest.raises(AssertionError, match="blocks more are held"):
        survives(leaky, [b"P=1"], count=5_000)


def test_an_error_that_escapes_a_value_that_is_no_float_and_silence_are_found_out():
    def raising(data: bytes) -> Decoded:
        return Decoded(Sample({"pressure": float(data)}))

    with pytest.raises(AssertionError, match="let an error escape"):
        survives(raising, [b"1.5"], count=500)
    with pytest.raises(AssertionError, match="neither read nor refused"):
        survives(lambda _: Decoded(None), [b"1.5"], count=10)
    with pytest.raises(AssertionError, match="Sample"):
        survives(lambda _: Decoded(Sample({"pressure": 1})), [b"1.5"], count=10)
    with pytest.raises(AssertionError, match="Sample"):
        survives(lambda _: Decoded(Sample({}, battery=math.nan)), [b"1.5"], count=10)
    assert survives(lambda _: GOOD, [b"1.5"], count=100) == 100
