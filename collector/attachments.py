"""What is attached to a recording: photographs, as they were taken in, written in pieces."""

from collections.abc import Iterator
from dataclasses import dataclass

LARGEST = 20 * 1024 * 1024
"""A larger file is not attached. [bytes]"""
PIECE = 256 * 1024
"""Written with one batch of readings: on a medium that takes 5 MB/s readings wait 50 ms for it. [bytes]"""


@dataclass(frozen=True, slots=True)
class Attachment:
    """What is known of an attached file."""

    id: str
    """Identity within every recording."""
    time: int
    """When it belongs, UTC since 1970. [ns]"""
    name: str
    """Of the file it came from, without its folder."""
    media_type: str
    """One of `collector.pictures.ENDINGS`, told by the content."""
    text: str
    """What it shows, in the technician's words; may be empty."""
    size: int
    """[bytes]"""


@dataclass(frozen=True, slots=True)
class Piece:
    """Part of an attachment's bytes."""

    attachment: str
    number: int
    """From 0."""
    content: bytes


def pieces(attachment: Attachment, content: bytes) -> Iterator[Piece]:
    """The bytes in order, each piece small enough for a batch."""
    for number, start in enumerate(range(0, len(content), PIECE)):
        yield Piece(attachment.id, number, content[start : start + PIECE])
