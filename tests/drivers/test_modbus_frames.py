"""Modbus frames: literal exchanges of the specifications, and bytes of hostile units.

Figures from memory of the MODBUS Application Protocol Specification V1.1b3 (sections 6 and 7) and of MODBUS over Serial
Line V1.02 (section 6.2.2, the CRC of 02 07 is 1241, sent as 41 12); checksums of frames by the program below.
"""

import random

import pytest

from drivers.codecs.registers import Batch
from drivers.modbus_frames import RtuFrame, TcpFrame, identify, identity, read
from tests.drivers.fuzz import FRAMES, bad_messages


def checksum(data: bytes) -> bytes:
    """CRC bit by bit, as section 6.2.2 describes it; low byte first."""
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            register = register >> 1 ^ (0xA001 if register & 1 else 0)
    return register.to_bytes(2, "little")


def rtu(text: str) -> bytes:
    """A frame of these bytes."""
    data = bytes.fromhex(text)
    return data + checksum(data)


EXCHANGES = [
    (Batch("coil", 19, 19), "01 0013 0013", "01 03 CD6B05"),
    (Batch("discrete", 196, 22), "02 00C4 0016", "02 03 ACDB35"),
    (Batch("holding", 107, 3), "03 006B 0003", "03 06 022B 0000 0064"),
    (Batch("input", 8, 1), "04 0008 0001", "04 02 000A"),
]


def test_the_checksum_of_the_specification():
    assert checksum(bytes.fromhex("0207")) == bytes.fromhex("4112")


@pytest.mark.parametrize(("batch", "question", "answer"), EXCHANGES)
def test_the_specifications_exchanges_on_a_serial_line(batch: Batch, question: str, answer: str):
    frame = RtuFrame(read(17, batch))
    assert frame.data == rtu("11" + question)
    assert frame.answer(rtu("11" + answer)) == bytes.fromhex(answer)
    assert frame.used == len(rtu("11" + answer))


@pytest.mark.parametrize(("batch", "question", "answer"), EXCHANGES)
def test_the_specifications_exchanges_on_a_network(batch: Batch, question: str, answer: str):
    """Head: number of the question, protocol 0, length with the unit, unit (Messaging on TCP/IP V1.0b, 3.1.3)."""
    frame = TcpFrame(read(17, batch), 0x1501)
    asked, answered = bytes.fromhex(question), bytes.fromhex(answer)
    assert frame.data == bytes.fromhex("1501 0000 0006 11") + asked
    head = bytes.fromhex("1501 0000") + (len(answered) + 1).to_bytes(2, "big") + b"\x11"
    assert frame.answer(head + answered) == answered


def test_an_exception_as_in_the_specification():
    """Section 7: 01 04A1 0001 is answered by 81 02."""
    assert RtuFrame(read(10, Batch("coil", 0x04A1, 1))).answer(rtu("0A 81 02")) == b"\x81\x02"
    assert (
        TcpFrame(read(10, Batch("coil", 0x04A1, 1)), 1).answer(bytes.fromhex("0001 0000 0003 0A 8102")) == b"\x81\x02"
    )


def test_an_answer_in_pieces_behind_noise_and_other_units_answers_is_found():
    frame = RtuFrame(read(7, Batch("holding", 0, 2)))
    good = rtu("07 03 04 0001 0002")
    others = b"\xff" + rtu("08 03 04 0009 0009") + rtu("07 03 02 0009") + b"\x07\x03\x04"
    for cut in range(len(good)):
        assert frame.answer(others + good[:cut]) is None
    assert frame.answer(others + good) == good[1:-2]


def test_an_adapter_that_hears_itself_is_no_answer():
    """The question for coils 0x0300 on looks like an answer of three bytes."""
    frame = RtuFrame(read(7, Batch("coil", 0x0300, 24)))
    assert frame.answer(frame.data) is None
    assert frame.is_echo(frame.data)
    answer = rtu("07 01 03 010203")
    assert frame.answer(frame.data + answer) == answer[1:-2]


@pytest.mark.parametrize(
    "other", ["07 03 02 0001", "07 04 04 0001 0002", "08 03 04 0001 0002", "07 03 06 0001 0002 0003", "07 84 02"]
)
def test_a_sound_frame_that_answers_something_else_is_no_answer(other: str):
    assert RtuFrame(read(7, Batch("holding", 0, 2))).answer(rtu(other)) is None
    unit, content = bytes.fromhex(other)[:1], bytes.fromhex(other)[1:]
    message = bytes.fromhex("0001 0000") + (len(content) + 1).to_bytes(2, "big") + unit + content
    assert TcpFrame(read(7, Batch("holding", 0, 2)), 1).answer(message) is None


def test_an_answer_to_another_question_of_the_connection_is_passed_over():
    frame = TcpFrame(read(7, Batch("holding", 0, 1)), 2)
    late, right = bytes.fromhex("0001 0000 0005 07 03 02 0009"), bytes.fromhex("0002 0000 0005 07 03 02 0001")
    assert frame.answer(late) is None
    assert not frame.spoiled(late)
    assert frame.answer(late + right) == right[7:]


def test_no_frame_with_a_wrong_checksum_gives_a_value():
    """Damaged and random streams: what is taken stands there with unit, function, length and checksum."""
    frame = RtuFrame(read(7, Batch("holding", 0, 2)))
    seeds = [rtu("07 03 04 0001 0002"), rtu("07 83 06"), frame.data, rtu("08 03 04 0009 0009"), rtu("07 03 02 0001")]
    taken = 0
    for stream in bad_messages(seeds, FRAMES, seed=7):
        if (answer := frame.answer(stream)) is not None:
            taken += 1
            piece = b"\x07" + answer
            assert piece + checksum(piece) in stream, stream.hex()
            assert answer[:2] == b"\x03\x04" or (answer[0] == 0x83 and len(answer) == 2), stream.hex()
    assert 0 < taken < FRAMES


def test_hostile_messages_on_a_network_are_answers_only_by_number_unit_and_length():
    frame = TcpFrame(read(7, Batch("holding", 0, 2)), 5)
    good = bytes.fromhex("0005 0000 0007 07 03 04 0001 0002")
    seeds = [
        good,
        bytes.fromhex("0005 0000 0003 07 83 02"),
        bytes.fromhex("0004 0000 0007 07 03 04 0009 0009"),
        good * 2,
    ]
    for stream in bad_messages(seeds, FRAMES, seed=8):
        if (answer := frame.answer(stream)) is not None and answer[0] == 3:
            assert b"\x00\x05\x00\x00\x00\x07\x07\x03\x04" + answer[2:] in stream, stream.hex()


def test_what_a_unit_is_as_in_the_specification():
    """Section 6.21: function 2B, type 0E, code 01; three objects, here with invented texts."""
    frame = RtuFrame(identify(7))
    assert frame.data == rtu("07 2B 0E 01 00")
    texts = b"".join(bytes([n, len(text)]) + text for n, text in enumerate((b"Example", b"P1", b"V2.11")))
    data = bytes.fromhex("07 2B 0E 01 01 00 00 03") + texts
    answer = frame.answer(data + checksum(data))
    assert answer == data[1:]
    assert identity(answer or b"") == {0: b"Example", 1: b"P1", 2: b"V2.11"}
    for cut in range(len(data)):
        assert frame.answer(data[:cut]) is None


def test_an_identification_that_is_none_is_refused():
    chance = random.Random(3)
    for _ in range(2000):
        data = b"\x2b" + chance.randbytes(chance.randrange(12))
        try:
            assert all(isinstance(text, bytes) for text in identity(data).values())
        except ValueError as error:
            assert str(error) == "this is no identification"  # noqa: PT017 - either is right, and nothing else
