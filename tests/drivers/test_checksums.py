"""Checksums against published check values, the definition bit by bit, and other libraries."""

import binascii
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU

from drivers.codecs.checksums import CHECKSUMS

CHECK = b"123456789"
"""What the catalogue's check values are of."""

MODELS = {
    # name: width, polynomial, start, reflected, end, check. Source: G. Cook, Catalogue of parametrised CRC algorithms,
    # entries CRC-8/SMBUS, CRC-8/MAXIM-DOW, CRC-16/ARC, CRC-16/MODBUS, CRC-16/IBM-3740, CRC-16/XMODEM, CRC-16/KERMIT,
    # CRC-16/IBM-SDLC, CRC-32/ISO-HDLC (the last is the frame check sequence of IEEE 802.3, 3.2.9). From memory but for
    # CRC-16/ARC, which was looked up.
    "crc-8": (8, 0x07, 0x00, False, 0x00, 0xF4),
    "crc-8/maxim-dow": (8, 0x31, 0x00, True, 0x00, 0xA1),
    "crc-16/arc": (16, 0x8005, 0x0000, True, 0x0000, 0xBB3D),
    "crc-16/modbus": (16, 0x8005, 0xFFFF, True, 0x0000, 0x4B37),
    "crc-16/ccitt-false": (16, 0x1021, 0xFFFF, False, 0x0000, 0x29B1),
    "crc-16/xmodem": (16, 0x1021, 0x0000, False, 0x0000, 0x31C3),
    "crc-16/kermit": (16, 0x1021, 0x0000, True, 0x0000, 0x2189),
    "crc-16/x-25": (16, 0x1021, 0xFFFF, True, 0xFFFF, 0x906E),
    "crc-32": (32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xCBF43926),
}

SUMS = {  # arithmetic: 49 + 50 + ... + 57 = 477 = 0x1DD
    "none": 0,
    "sum8": 0xDD,
    "sum8-negative": 0x23,
    "sum8-inverted": 0x22,
    "sum16": 0x01DD,
    "sum16-negative": 0xFE23,
    "xor8": 0x31,
}


def by_definition(data: bytes, width: int, polynomial: int, start: int, reflected: bool, end: int) -> int:  # noqa: PLR0917
    """Bit by bit, as the catalogue's model has it (R. Williams, A painless guide to CRC error detection algorithms)."""
    register = start
    for byte in data:
        bits = range(8) if reflected else range(7, -1, -1)
        for bit in bits:
            high = register >> (width - 1) & 1
            register = register << 1 & (1 << width) - 1
            if high ^ (byte >> bit & 1):
                register ^= polynomial
    if reflected:
        register = int(f"{register:0{width}b}"[::-1], 2)
    return register ^ end


def test_every_checksum_is_checked_here() -> None:
    assert set(MODELS) | set(SUMS) == set(CHECKSUMS)


@pytest.mark.parametrize(("name", "check"), [*SUMS.items(), *((name, model[-1]) for name, model in MODELS.items())])
def test_the_published_check_value(name: str, check: int) -> None:
    assert CHECKSUMS[name].compute(CHECK) == check
    assert CHECKSUMS[name].compute(b"") == by_definition(b"", *MODELS[name][:-1]) if name in MODELS else True


@pytest.mark.parametrize("name", MODELS)
@given(data=st.binary(max_size=70))
def test_as_the_definition_bit_by_bit(name: str, data: bytes) -> None:
    assert CHECKSUMS[name].compute(data) == by_definition(data, *MODELS[name][:-1])


@given(st.binary(max_size=70))
def test_as_other_libraries(data: bytes) -> None:
    assert CHECKSUMS["crc-32"].compute(data) == zlib.crc32(data) == binascii.crc32(data)
    assert CHECKSUMS["crc-16/xmodem"].compute(data) == binascii.crc_hqx(data, 0)
    assert int.from_bytes(CHECKSUMS["crc-16/modbus"].sent(data), "big") == FramerRTU.compute_CRC(data)


@pytest.mark.parametrize(
    "word", ["F20183E1C2", "0FAA0055E30B", "00FF5511CF6C", "332255AABBCCDDEEFF98AE", "926B554EE2", "FFFFFFFF0194"]
)
def test_published_code_words_as_they_are_sent(word: str) -> None:
    """Source: AUTOSAR Classic R22-11, Specification of CRC Routines, 7.2.2.2, as the catalogue quotes it."""
    data = bytes.fromhex(word)
    assert CHECKSUMS["crc-16/arc"].sent(data[:-2]) == data[-2:]


@given(st.binary(max_size=40))
def test_a_negative_sum_brings_the_sum_to_nothing_and_an_inverted_one_to_all_ones(data: bytes) -> None:
    assert sum(data + CHECKSUMS["sum8-negative"].sent(data)) & 0xFF == 0
    assert sum(data + CHECKSUMS["sum8-inverted"].sent(data)) & 0xFF == 0xFF
    assert CHECKSUMS["xor8"].compute(data + CHECKSUMS["xor8"].sent(data)) == 0


def test_the_order_of_bytes_is_the_usual_one_unless_said() -> None:
    assert CHECKSUMS["crc-16/xmodem"].sent(CHECK) == b"\x31\xc3"
    assert CHECKSUMS["crc-16/xmodem"].sent(CHECK, "little") == b"\xc3\x31"
    assert CHECKSUMS["crc-16/modbus"].sent(CHECK) == b"\x37\x4b"
    assert CHECKSUMS["none"].sent(CHECK) == b""
