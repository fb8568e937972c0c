"""What is said about a shared call beside its readings: maps in CBOR with their version."""

from collections.abc import Mapping
from typing import Any

from drivers.codecs.cbor import UnreadableError, unpacked

VERSION = 1
"""Of what is said beside readings."""


def read_map(payload: bytes) -> Mapping[str, Any]:
    """What is said in a map with its version; UnreadableError."""
    said = unpacked(payload)
    if not isinstance(said, dict) or said.get("v") != VERSION:
        raise UnreadableError("the message is of another version than this program", "use the same lightoff everywhere")
    return said
