"""What is a picture, told by its first bytes as the formats are specified."""

import struct
import zlib

import pytest

from collector.attachments import LARGEST
from collector.pictures import checked, media_type_of, plain
from drivers.base import InputError
from tests.collector.pictures import JPEG, PNG


def box(kind: bytes, content: bytes) -> bytes:
    """A box of ISO/IEC 14496-12:2022, 4.2: size, type, content."""
    return struct.pack(">I", 8 + len(content)) + kind + content


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        (JPEG, "image/jpeg"),
        (b"\xff\xd8\xff\xe1" + b"\0" * 30, "image/jpeg"),  # Exif 2.32, 4.5.4: APP1 right after the start of image
        (PNG, "image/png"),
        (b"RIFF\x24\0\0\0WEBPVP8 " + b"\0" * 24, "image/webp"),  # RFC 9649, 2.5
        (b"RIFF\x24\0\0\0WEBPVP8X" + b"\0" * 24, "image/webp"),  # the same, 2.7
        (box(b"ftyp", b"heic\0\0\0\0mif1heic"), "image/heic"),  # ISO/IEC 23008-12:2022, annex B
        (box(b"ftyp", b"mif1\0\0\0\0mif1heicmiaf"), "image/heic"),
    ],
)
def test_a_picture_is_told_by_how_it_begins(content: bytes, media_type: str):
    assert media_type_of(content) == media_type


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xd9" + b"\0" * 30,
        b"GIF89a" + b"\0" * 30,
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>",
        b"<!DOCTYPE html><script>1</script>",
        b" " + JPEG,
        PNG[:8] + b"<script>1</script>",
        b"RIFF\x24\0\0\0WAVEfmt " + b"\0" * 24,
        box(b"ftyp", b"isom\0\0\0\0isomheic"),  # a film that has pictures in it
        box(b"ftyp", b"mif1\0\0\0\0mif1avif"),
        b"\0\0\0\xffftypheic",
    ],
)
def test_anything_else_is_none(content: bytes):
    assert media_type_of(content) is None
    with pytest.raises(InputError, match="plate is no picture; attach a JPEG, PNG, WebP or HEIC file"):
        checked(content, "plate")


def test_a_picture_that_is_too_large_is_refused_with_its_size():
    with pytest.raises(InputError, match=r"plate has 21\.0 MB, and 20 MiB are the most; make the picture smaller"):
        checked(JPEG + bytes(LARGEST), "plate")


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("../../etc/plate.jpg", "plate.jpg"),
        ("C:\\pictures\\plate.jpg", "plate.jpg"),
        ("pla\nte<1>.jpg", "plate1.jpg"),
        ("..", "photograph"),
        ("", "photograph"),
        ("x" * 500 + ".jpg", "x" * 116 + ".jpg"),
    ],
)
def test_a_name_has_no_folder_and_nothing_that_does_not_belong(given: str, kept: str):
    assert plain(given) == kept


def test_the_picture_of_these_tests_is_one():
    """Its data chunk holds what a one pixel picture holds (W3C PNG, third edition, 11.2.1 and 7.2)."""
    at = PNG.index(b"IDAT")
    (length,) = struct.unpack(">I", PNG[at - 4 : at])
    assert zlib.decompress(PNG[at + 4 : at + 4 + length]) == b"\0\xff\0\0"
