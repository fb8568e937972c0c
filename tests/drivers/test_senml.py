"""Packs of readings: literal exchanges, exactness of anything, and what strangers may send."""

import math
import random
import re
import zlib
from pathlib import Path

import cbor2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.codecs import cbor
from drivers.codecs.cbor import UnreadableError, packed, tagged, text_map, unpacked
from drivers.codecs.sample import Decoded, Sample
from drivers.codecs.senml import MOST_READINGS, UNITS, Block, decode, encode, unzipped
from tests.drivers.fuzz import FRAMES, survives

SECOND = 1_000_000_000
START = 1_768_372_200 * SECOND


def block(name: str, unit: str, *readings: tuple[int, float] | tuple[int, float, int]) -> Block:
    time, value, quality = zip(*((*reading, 0)[:3] for reading in readings), strict=True) if readings else ((), (), ())
    return Block(name, unit, np.array(time, np.int64), np.array(value, np.float64), np.array(quality, np.int8))


def same(one: Block, other: Block) -> bool:
    """Bit for bit, but that one NaN is like any other."""
    left, right = (np.where(np.isnan(each.value), np.nan, each.value) for each in (one, other))
    return (
        one.name == other.name
        and one.time.tobytes() == other.time.tobytes()
        and left.tobytes() == right.tobytes()
        and one.quality.tobytes() == other.quality.tobytes()
    )


LITERAL = (
    "82"  # two records
    "a6"
    "21" "66" "63616c6c2f31"  # -2, bn: "call/1"
    "22" "1a69673928"  # -3, bt: 1768372520
    "23" "62" "5061"  # -4, bu: "Pa"
    "02" "c48220" "3904df"  # 2, v: 4([-1, -1248]), that is -124.8
    "06" "c48222" "00"  # 6, t: 4([-3, 0])
    "62" "6c6f" "01"  # "lo": 1
    "a3"
    "02" "f97e00"  # v: NaN
    "06" "c48222" "1864"  # t: 4([-3, 100]), 0.1 s later
    "6171" "02"  # "q": 2, bad
)  # fmt: skip


def test_a_pack_by_the_letter():
    time = 1_768_372_520 * SECOND
    given = block("call/1", "Pa", (time, -124.8), (time + SECOND // 10, math.nan, 2))
    assert decode(bytes.fromhex(LITERAL)).blocks[0].time.tolist() == [time, time + SECOND // 10]
    assert same(decode(bytes.fromhex(LITERAL)).blocks[0], given)
    assert repr(unpacked(encode([given], compress=False))[1]) == repr(unpacked(bytes.fromhex(LITERAL))[1])
    assert len(encode([given], compress=False)) == len(bytes.fromhex(LITERAL))


def test_what_another_writer_says_by_the_book():
    """The forms of RFC 8428, section 5: names of their own, floats, base values, records without a number."""
    pack = [
        {-2: "urn:dev:ow:10e2073a01080063:", -3: 1.320067464e09, -4: "A", -5: 1.0, 0: "current", 2: 0.25},
        {0: "current", 6: -1, 2: 1},
        {0: "voltage", 1: "V", 2: 120.1},
        {0: "open", 4: True},
        {0: "note", 3: "text", "anything": [1, {}]},
    ]
    found = decode(cbor2.dumps(pack))
    assert found.skipped == 2
    current, voltage = found.blocks
    assert current.name == "urn:dev:ow:10e2073a01080063:current"
    assert current.unit == "A"
    assert current.value.tolist() == [1.25, 2.0]
    assert current.time.tolist() == [1_320_067_464 * SECOND, 1_320_067_463 * SECOND]
    assert (voltage.unit, voltage.value.tolist()) == ("V", [121.1])


def test_units_that_senml_has_no_word_for_are_left_to_the_channel():
    inches, share, degrees = (
        block(name, unit, (START, 1.0)) for name, unit in (("a", "inH2O"), ("b", "%"), ("c", "degC"))
    )
    first, second, third = unpacked(encode([inches, share, degrees], compress=False))
    assert (first.get(-4), second[-4], third[-4]) == (None, "/100", "Cel")
    assert first[-1] == 26  # RFC 9100: secondary units are used
    assert -1 not in unpacked(encode([degrees], compress=False))[0]
    assert [one.unit for one in decode(encode([inches, share, degrees])).blocks] == ["", "%", "degC"]
    assert len(set(UNITS.values())) == len(UNITS)


values = st.one_of(
    st.floats(),
    st.integers(-(2**60), 2**60).map(float),
    st.decimals(-10_000, 10_000, places=3).map(float),
    st.sampled_from([-0.0, 0.0, math.nan, math.inf, 5e-324, 1.7976931348623157e308, 0.1 + 0.2, 2.0**53, 1e22, 1e23]),
)
times = st.one_of(st.integers(-(2**63), 2**63 - 1), st.integers(START, START + 10 * SECOND))
one_block = st.lists(st.tuples(times, values, st.integers(0, 2)), min_size=1, max_size=20)


@given(st.lists(one_block, min_size=1, max_size=5), st.booleans())
@settings(max_examples=100, deadline=None)
def test_any_readings_come_back_bit_for_bit(content, compress):
    blocks = [block(f"call/{number}", "Pa", *readings) for number, readings in enumerate(content)]
    found = decode(encode(blocks, compress=compress))
    assert len(found.blocks) == len(blocks)
    assert all(same(one, other) for one, other in zip(blocks, found.blocks, strict=True))


def test_the_example_of_the_document_is_what_is_written():
    text = (Path(__file__).parents[2] / "docs" / "sharing.md").read_text()
    shown = "".join(re.findall(r"^([0-9a-f ]+?)\s+#", text, re.MULTILINE)).replace(" ", "")
    time = 1_768_372_520 * SECOND
    draft = block("lightoff:3f0c7a1e/1", "inH2O", (time, -1.248), (time + SECOND // 10, -1.25))
    flue = block("lightoff:3f0c7a1e/2", "degC", (time + SECOND // 25, 54.2, 1))
    assert encode([draft, flue], compress=False).hex() == shown


def test_an_empty_pack_is_one():
    assert decode(encode([])).blocks == ()
    assert decode(encode([block("call/1", "Pa")])).blocks == ()


HOSTILE = {
    "nothing": b"",
    "no CBOR": b"\xff\xff",
    "text": packed("x"),
    "records that are none": packed([1, 2]),
    "no name": packed([{2: 1}]),
    "a name that is a number": packed([{-2: 5, 2: 1}]),
    "a value that is a text": packed([{0: "a", 2: "1"}]),
    "a value that is a list": packed([{0: "a", 2: []}]),
    "a truth for a value": packed([{0: "a", 2: True}]),
    "a time that is a text": packed([{0: "a", 2: 1, 6: "now"}]),
    "a time that is no number": packed([{0: "a", 2: 1, 6: math.nan}]),
    "a time beyond": packed([{0: "a", 2: 1, 6: 2**62}]),
    "times that add up beyond": packed([{0: "a", -3: 9_000_000_000, 2: 1, 6: 9_000_000_000}]),
    "a time of a huge exponent": packed([{0: "a", 2: 1, 6: tagged(10**9, 1)}]),
    "a value of a huge exponent": packed([{0: "a", 2: tagged(10**18, 1)}]),
    "a huge mantissa": b"\x81\xa2\x00\x61a\x02\xc4\x82\x01\xc2\x58\x40" + bytes(64),
    "a quality that is none": packed([{0: "a", 2: 1, "q": 7}]),
    "a later version": packed([{0: "a", 2: 1, "lo": 2}]),
    "a later SenML": packed([{0: "a", 2: 1, -1: 11}]),
    "what must be understood": packed([{0: "a", 2: 1, "key_": 1}]),
    "an array of 2**64": b"\x9b" + b"\xff" * 8,
    "a map of 2**32": b"\xba" + b"\xff" * 4,
    "a text of 2**32": b"\x7a" + b"\xff" * 4,
    "no end": b"\x9f" + b"\x01" * 100,
    "depth": b"\x81" * 100_000 + b"\x01",
    "tags in tags": b"\xc4" * 1000 + b"\x01",
    "a regular expression": b"\xd8\x23\x65(a+)+",
    "a reference to itself": b"\xd8\x1c\x81\xd8\x1d\x00",
    "a key twice": b"\x81\xa3\x00\x61a\x02\x01\x02\x02",
    "a bad text": b"\x81\xa2\x00\x61\xff\x02\x01",
    "something behind": packed([]) + b"\x01",
    "too long": b"\x80" * 1_000_001,
    "a bomb": zlib.compress(bytes(100_000_000)),
    "half of it compressed": zlib.compress(packed([{0: "a", 2: 1}]))[:-4],
    "compressed and more": zlib.compress(packed([])) + b"\x00",
    "compressed nonsense": b"\x78\x9c" + b"\xff" * 20,
    "too many": packed([{}] * (MOST_READINGS + 1)),
    "too many things": b"\x9a\x00\x0f\x00\x00" + b"\x01" * 0xF0000,
}


@pytest.mark.parametrize("message", HOSTILE.values(), ids=HOSTILE)
def test_what_is_no_pack_is_one_clear_error(message: bytes):
    with pytest.raises(UnreadableError) as caught:
        decode(message)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 160


@pytest.mark.parametrize("head", [b"\x81", b"\xa1\x00"], ids=["arrays", "maps"])
def test_how_deep_a_message_is_nested_is_told_before_anything_is_made_of_it(head: bytes):
    """The library's own limit is deeper, so that it is never reached."""
    deepest = head * (cbor.DEEPEST - 1) + b"\x01"
    assert unpacked(deepest) is not None
    with pytest.raises(UnreadableError, match=f"nested deeper than {cbor.DEEPEST}"):
        unpacked(head * cbor.DEEPEST + b"\x01")


def test_damaged_packs_are_read_or_refused():
    seeds = [
        encode(
            [block("call/1", "Pa", (START, 1.25), (START + 100, math.nan, 2)), block("call/2", "%", (START, 40.0))],
            compress=c,
        )
        for c in (False, True)
    ] + [bytes.fromhex(LITERAL), cbor2.dumps([{-2: "a", -3: 1.5e9, 2: 0.25}, {2: 1, 6: 1.5}])]

    def read(data: bytes) -> Decoded:
        try:
            found = decode(data)
        except UnreadableError as error:
            return Decoded(None, str(error))
        return Decoded(Sample({one.name: float(one.value[0]) for one in found.blocks}))

    assert survives(read, seeds) > FRAMES // 20


leaves = (
    st.none() | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False) | st.text() | st.binary()
)
things = st.recursive(
    leaves,
    lambda some: st.lists(some, max_size=4) | st.dictionaries(st.text(max_size=4), some, max_size=4),
    max_leaves=9,
)


@given(things)
@settings(max_examples=80, deadline=None)
def test_plain_values_come_back(thing):
    assert unpacked(packed(thing)) == thing


@given(st.binary(max_size=200))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_read_or_refused(data: bytes):
    for read in (unpacked, decode, unzipped, text_map):
        try:
            read(data)
        except UnreadableError:
            continue


def test_hostile_keys_cost_no_time():
    """Keys that a dictionary would put in one place: more than a map may have is refused before one is made."""
    chance = random.Random(1)
    keys = [chance.randrange(2**20) << 40 for _ in range(cbor.MOST_PAIRS + 1)]
    body = b"".join(packed(key) + b"\x01" for key in keys)
    with pytest.raises(UnreadableError, match="things in one"):
        unpacked(b"\xb9" + len(keys).to_bytes(2, "big") + body)
