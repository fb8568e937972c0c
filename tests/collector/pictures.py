"""Small pictures for tests, made by the specifications."""

import struct
import zlib


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, row: bytes) -> bytes:
    """A picture of equal rows, three bytes a pixel (W3C PNG, third edition, 5.3 and 11.2)."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress((b"\0" + row) * height, 1)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + _chunk(b"IDAT", data) + _chunk(b"IEND", b"")


PNG = png(1, 1, b"\xff\0\0")
JPEG = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00\xff\xd9"
"""The beginning of one, enough to be told (ITU-T T.871, 10.1)."""
