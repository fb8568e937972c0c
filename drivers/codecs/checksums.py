"""Checksums by name, as instruments send them behind a message.

Names and parameters of the cyclic ones are those of the catalogue of parametrised CRC algorithms (G. Cook); a name in
common use stands where it is better known.
"""

import binascii
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import reduce
from operator import xor


@dataclass(frozen=True, slots=True)
class Checksum:
    """How a checksum is computed and how it is usually sent."""

    size: int
    """[bytes]"""
    compute: Callable[[bytes], int]
    order: str = "big"
    """Of its bytes where a profile does not say it."""

    def sent(self, data: bytes, order: str | None = None) -> bytes:
        """Bytes of the checksum as they are sent behind the data."""
        return self.compute(data).to_bytes(self.size, "little" if (order or self.order) == "little" else "big")


def reflected_table(polynomial: int) -> tuple[int, ...]:
    """Table for a CRC whose bits come lowest first; `polynomial` with its bits in that order too."""
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = byte >> 1 ^ (polynomial if byte & 1 else 0)  # noqa: PLW2901
        table.append(byte)
    return tuple(table)


def direct_table(polynomial: int) -> tuple[int, ...]:
    """Table for a CRC of 8 bits whose bits come highest first."""
    table = []
    for byte in range(256):
        for _ in range(8):
            byte = (byte << 1 ^ (polynomial if byte & 0x80 else 0)) & 0xFF  # noqa: PLW2901
        table.append(byte)
    return tuple(table)


def _by_table(table: tuple[int, ...], start: int, *, end: int = 0) -> Callable[[bytes], int]:
    def compute(data: bytes) -> int:
        register = start
        for byte in data:
            register = register >> 8 ^ table[(register ^ byte) & 0xFF]
        return register ^ end

    return compute


_MODBUS, _KERMIT, _DOW, _SMBUS = (
    reflected_table(0xA001),
    reflected_table(0x8408),
    reflected_table(0x8C),
    direct_table(7),
)

CHECKSUMS: Mapping[str, Checksum] = {
    "none": Checksum(0, lambda _: 0),
    "sum8": Checksum(1, lambda data: sum(data) & 0xFF),
    "sum8-negative": Checksum(1, lambda data: -sum(data) & 0xFF),
    "sum8-inverted": Checksum(1, lambda data: ~sum(data) & 0xFF),
    "sum16": Checksum(2, lambda data: sum(data) & 0xFFFF),
    "sum16-negative": Checksum(2, lambda data: -sum(data) & 0xFFFF),
    "xor8": Checksum(1, lambda data: reduce(xor, data, 0)),
    "crc-8": Checksum(1, lambda data: reduce(lambda register, byte: _SMBUS[register ^ byte], data, 0)),
    "crc-8/maxim-dow": Checksum(1, _by_table(_DOW, 0)),
    "crc-16/arc": Checksum(2, _by_table(_MODBUS, 0), "little"),
    "crc-16/modbus": Checksum(2, _by_table(_MODBUS, 0xFFFF), "little"),
    "crc-16/ccitt-false": Checksum(2, lambda data: binascii.crc_hqx(data, 0xFFFF)),
    "crc-16/xmodem": Checksum(2, lambda data: binascii.crc_hqx(data, 0)),
    "crc-16/kermit": Checksum(2, _by_table(_KERMIT, 0), "little"),
    "crc-16/x-25": Checksum(2, _by_table(_KERMIT, 0xFFFF, end=0xFFFF), "little"),
    "crc-32": Checksum(4, zlib.crc32, "little"),
}
"""By the name in a profile. `negative` brings the sum to 0 (two's complement), `inverted` to all ones."""
