"""Binary frames: found in any stream, never read where their checksum is wrong, each with the time of its end."""

import random
import struct
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.codecs.checksums import CHECKSUMS
from drivers.codecs.frames import NO_FRAME, WRONG_CHECKSUM, FrameDecoder, FrameFramer, FrameShape
from drivers.codecs.sample import Decoded
from drivers.profile import Profile, SerialSection, Value
from tests.drivers.fuzz import FRAMES, survives

FIXED = SerialSection(format="frame", start=b"\xaa\x55", length=8, checksum="crc-16/modbus")
"""Start, a number of the frame, a value of 24 bits, checksum."""
SIZED = SerialSection(format="frame", start=b"\xaa", length_at=1, checksum="sum8-negative")
"""Start, how many bytes follow, those, checksum."""
PLAIN = SerialSection(format="frame", start=b"\xaa\x55", length=6)
VALUES = (Value(name="count", unit="1", at=2, type="uint8"), Value(name="pressure", unit="Pa", at=3, type="int24"))


def fixed(number: int, pressure: int = -1) -> bytes:
    body = b"\xaa\x55" + bytes([number & 0xFF]) + (pressure & 0xFFFFFF).to_bytes(3, "little")
    return body + CHECKSUMS["crc-16/modbus"].sent(body)


def sized(payload: bytes) -> bytes:
    body = b"\xaa" + bytes([len(payload)]) + payload
    return body + CHECKSUMS["sum8-negative"].sent(body)


def framer(section: SerialSection = FIXED) -> FrameFramer:
    return FrameFramer(FrameShape(section))


@given(st.lists(st.binary(max_size=20), max_size=12), st.data())
def test_any_cut_into_chunks_gives_the_same_frames(payloads: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(map(sized, payloads))
    frames, one = [], framer(SIZED)
    while stream:
        size = data.draw(st.integers(1, len(stream)))
        frames += one.feed(stream[:size])
        stream = stream[size:]
    assert frames == [sized(payload) for payload in payloads]
    assert one.discarded_bytes == 0


@given(st.lists(st.one_of(st.integers(0, 255).map(fixed), st.binary(max_size=12)), max_size=20))
def test_every_frame_handed_out_is_right_and_none_is_invented(pieces: list[bytes]) -> None:
    stream = b"".join(pieces)
    one, shape = framer(), FrameShape(FIXED)
    for frame in one.feed(stream):
        assert not shape.refusal(frame)
        assert frame in stream
    assert len(one._buffer) <= shape.longest


def test_frames_after_garbage_are_found_again_and_the_garbage_is_told_once() -> None:
    one = framer()
    stream = fixed(1) + b"\xaa\x55\x00garbage\xaa" + fixed(2) + fixed(3)
    assert one.feed(stream) == [fixed(1), fixed(2), fixed(3)]
    refusals = one.refusals()
    assert [reason for reason, _ in refusals] == [WRONG_CHECKSUM]
    assert one.discarded_bytes == len(b"\xaa\x55\x00garbage\xaa")
    assert one.feed(b"noise" * 50) == []
    assert one.feed(b"noise" * 50) == []
    assert [reason for reason, _ in one.refusals()] == [NO_FRAME]


def test_a_damaged_length_does_not_swallow_the_frames_behind_it() -> None:
    one = framer(SIZED)
    damaged = bytearray(sized(b"ab"))
    damaged[1] = 12
    behind = [sized(bytes([number, 1, 2])) for number in range(4)]
    assert one.feed(bytes(damaged) + b"".join(behind)) == behind


def test_a_frame_bears_the_time_of_its_last_byte_also_when_it_was_held_up() -> None:
    """A damaged length makes the framer wait; what it then finds came earlier."""
    one = framer(SIZED)
    damaged = bytearray(sized(b"ab"))
    damaged[1] = 14
    assert one.timed(bytes(damaged), 10) == []
    assert one.timed(sized(b"one"), 20) == []
    found = one.timed(sized(b"two") + b"\xaa", 30)
    assert found == [(sized(b"one"), 20), (sized(b"two"), 30)]


def test_the_rest_of_a_frame_behind_a_cut_is_no_fault_and_never_read() -> None:
    one = framer()
    one.cut()
    assert one.feed(fixed(1)[3:] + fixed(2)) == [fixed(2)]
    assert one.refusals() == []
    assert one.cut_frames == 0, "nothing of ours was lost"
    assert one.feed(fixed(3)[:4]) == []
    one.cut()
    assert one.feed(fixed(3)[4:] + fixed(4)) == [fixed(4)]
    assert one.refusals() == []
    assert one.cut_frames == 1


def test_noise_that_goes_on_after_opening_is_told() -> None:
    one = framer()
    one.cut()
    one.feed(b"noise" * 20)
    assert [reason for reason, _ in one.refusals()] == [NO_FRAME]


def test_without_a_checksum_a_frame_out_of_step_needs_another_right_behind_it() -> None:
    one = framer(PLAIN)
    first, second = b"\xaa\x55\xaa\x55\x01\x02", b"\xaa\x55\x03\x04\x05\x06"
    one.cut()
    assert one.feed(first[2:]) == [], "the start within a frame passed for one"
    assert one.feed(second) == []
    assert one.feed(second[:2]) == [second]
    assert one.feed(second[2:]) == [second], "in step none waits for the next"


@pytest.mark.parametrize("name", [name for name in CHECKSUMS if name != "none"])
@pytest.mark.parametrize("order", [None, "little", "big"])
def test_every_turned_bit_is_seen(name: str, order: str | None) -> None:
    """Single bits: every one of these checksums sees each."""
    section = SerialSection(
        format="frame", start=b"\x02", length=5 + CHECKSUMS[name].size, checksum=name, checksum_order=order
    )
    shape = FrameShape(section)
    body = b"\x02\x10\x20\x30\x41"
    frame = body + CHECKSUMS[name].sent(body, order)
    assert not shape.refusal(frame)
    for bit in range(8, 8 * len(frame)):
        damaged = bytearray(frame)
        damaged[bit // 8] ^= 1 << bit % 8
        assert shape.refusal(bytes(damaged)) == WRONG_CHECKSUM
    assert shape.refusal(frame[:-1]) == NO_FRAME
    assert shape.refusal(frame + b"\0") == NO_FRAME


def test_a_checksum_may_leave_out_the_beginning() -> None:
    body = b"\xaa\x55\x01\x02\x03"
    section = SerialSection(format="frame", start=b"\xaa\x55", length=6, checksum="xor8", checksum_from=2)
    assert not FrameShape(section).refusal(body + b"\x00")
    assert FrameShape(section).refusal(body + CHECKSUMS["xor8"].sent(body)) == WRONG_CHECKSUM


@pytest.mark.parametrize(
    ("keys", "word"),
    [
        ({"length": 8}, "start"),
        ({"start": b"\xaa"}, "either"),
        ({"start": b"\xaa", "length": 8, "length_at": 1}, "either"),
        ({"start": b"\xaa", "length": 8, "checksum": "crc-99"}, "unknown checksum"),
        ({"start": b"\xaa\x55", "length": 4, "checksum": "crc-16/modbus"}, "no byte"),
    ],
)
def test_frames_that_cannot_be_told_from_others_are_refused_in_a_sentence(keys: dict[str, Any], word: str) -> None:
    with pytest.raises(ValueError, match=word) as raised:
        FrameShape(SerialSection(format="frame", **keys))
    assert "\n" not in str(raised.value)


def decoder(section: SerialSection = FIXED) -> FrameDecoder:
    return FrameDecoder(Profile(name="meter", driver="serial", values=VALUES, serial=section))


def test_values_stand_at_their_offsets_from_the_beginning_of_the_frame() -> None:
    sample, reason = decoder().decode(fixed(7, -1250))
    assert not reason
    assert sample is not None
    assert sample.values == {"count": 7.0, "pressure": -1250.0}


def test_a_unit_may_be_a_number_of_the_frame() -> None:
    values = (
        Value(name="code", unit="1", at=2, type="uint8"),
        Value(name="p", units={"0": "Pa", "1": "inH2O"}, unit_from="code", at=3, type="int24"),
    )
    codec = FrameDecoder(Profile(name="meter", driver="serial", values=values, serial=FIXED))
    sample, _ = codec.decode(fixed(1, 5))
    assert sample is not None
    assert sample.units == {"p": "inH2O"}
    sample, reason = codec.decode(fixed(2, 5))
    assert sample is not None
    assert "p" not in sample.values
    assert reason


def test_bad_frames_give_no_value_without_a_right_checksum() -> None:
    codec = decoder()
    crc = CHECKSUMS["crc-16/modbus"].sent

    def checked(data: bytes) -> Decoded:
        decoded = codec.decode(data)
        if decoded.sample is not None:
            assert len(data) == 8
            assert data[:2] == b"\xaa\x55"
            assert crc(data[:-2]) == data[-2:], f"{data.hex()} was read with a wrong checksum"
        return decoded

    assert survives(checked, [fixed(number, 1000 * number) for number in range(5)]) > 0


def test_a_stream_of_good_and_bad_frames_gives_only_right_ones_and_holds_little() -> None:
    chance = random.Random(20260114)
    one, shape = framer(SIZED), FrameShape(SIZED)
    good = found = 0
    for number in range(FRAMES):
        frame = bytearray(sized(struct.pack("<If", number, number / 7)))
        if chance.random() < 0.5:
            good += 1
        else:
            at = chance.randrange(len(frame))
            frame[at : at + chance.randrange(3)] = chance.randbytes(chance.choice((0, 1, 2, 30)))
        for got in one.feed(bytes(frame)):
            assert not shape.refusal(got)
            found += 1
        one.refusals()
        assert len(one._buffer) <= shape.longest
    assert found > 0.8 * good, f"{found} found of {good} that were right"
