"""Whether bytes are a picture, told by how they begin; never by the name of a file."""

from pathlib import PurePosixPath, PureWindowsPath

from collector.attachments import LARGEST
from drivers.base import InputError

ENDINGS = {"image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp", "image/heic": ".heic"}
"""Media types of pictures that are taken, each with the ending of its files."""

HEIC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs"})
"""Brands of pictures coded as HEVC (ISO/IEC 23008-12:2022, annex B)."""
STRUCTURAL_BRANDS = frozenset({b"mif1", b"msf1"})
"""Brands that say how a file is laid out and not how its picture is coded (the same, clause 10)."""
LONGEST_NAME = 120
"""[characters]"""


def media_type_of(content: bytes) -> str | None:
    """Media type of a picture, None where the bytes do not begin as one does."""
    if _is_jpeg(content):
        return "image/jpeg"
    if _is_png(content):
        return "image/png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP" and content[12:16] in (b"VP8 ", b"VP8L", b"VP8X"):
        return "image/webp"  # RFC 9649, 2.4 and 2.5 to 2.7
    return "image/heic" if _is_heic(content) else None


def checked(content: bytes, name: str) -> str:
    """Media type of a picture that may be attached; InputError in one sentence."""
    if len(content) > LARGEST:
        size = f"{len(content) / 1e6:.1f} MB"
        raise InputError(f"{name} has {size}, and {LARGEST >> 20} MiB are the most", "make the picture smaller")
    found = media_type_of(content)
    if found is None:
        raise InputError(f"{name} is no picture", "attach a JPEG, PNG, WebP or HEIC file")
    return found


def plain(name: str) -> str:
    """A file's name without folders, and without what no name may hold."""
    last = PureWindowsPath(PurePosixPath(name).name).name
    readable = "".join(sign for sign in last if sign.isprintable() and sign not in '<>:"/\\|?*')
    return readable.strip(". ")[-LONGEST_NAME:] or "photograph"


def _is_jpeg(content: bytes) -> bool:
    """Start of image, then another marker that may stand there (ITU-T T.81, B.1.1.3 and B.2)."""
    return (
        content[:3] == b"\xff\xd8\xff" and len(content) > 20 and content[3] >= 0xC0 and content[3] not in (0xD8, 0xD9)
    )


def _is_png(content: bytes) -> bool:
    """Signature and header chunk (W3C, Portable Network Graphics, third edition, 5.2 and 11.2.1)."""
    return content[:16] == b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR"


def _is_heic(content: bytes) -> bool:
    """A box of file type with a brand of HEVC pictures (ISO/IEC 14496-12:2022, 4.3)."""
    size = int.from_bytes(content[:4])
    if content[4:8] != b"ftyp" or not 16 <= size <= min(len(content), 1024):
        return False
    brands = {content[at : at + 4] for at in (8, *range(16, size - 3, 4))}
    return bool(brands & HEIC_BRANDS) and content[8:12] in HEIC_BRANDS | STRUCTURAL_BRANDS
