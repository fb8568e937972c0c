"""Photographs within a Parquet file: their bytes stand between the last row group and the file's end.

Readers of Parquet go to what the end of the file names and see nothing of them; where each stands is a text of ours.
"""

import zlib
from collections.abc import Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, NamedTuple

from collector.attachments import LARGEST, Attachment
from collector.database import RecordingError
from collector.parts import Damage
from collector.pictures import media_type_of
from collector.recording import Recording
from drivers.arrow import ParquetWriter


class Picture(NamedTuple):
    """A photograph that the file tells of."""

    attachment: Attachment
    content: bytes
    why: str
    """Why it cannot be had; empty where `content` is whole."""


def put_pictures(writer: ParquetWriter, recording: Recording) -> list[dict[str, object]]:
    """Write the photographs, one after the other in memory; what the file says of each.

    One that is damaged in a recording that is read past its damage is left out.
    """
    told = []
    for one in recording.attachments():
        facts: dict[str, object] = asdict(one)
        try:
            content = recording.content(one.id)
        except RecordingError as error:
            if not recording.past_damage:
                raise
            recording.damage.append(Damage("attachment", error.what))
        else:
            facts |= {"at": writer.aside(content), "checksum": zlib.crc32(content)}
        told.append(facts)
    return told


def pictures_in(source: Path, told: list[dict[str, Any]]) -> Iterator[Picture | None]:
    """The photographs, one after the other; None for one that is named and was not written into the file."""
    known = set[str]()
    for facts in told:
        found = _picture(source, facts) if "at" in facts else None
        if found is not None and not found.why and found.attachment.id in known:
            found = Picture(found.attachment, b"", f"{found.attachment.name} has the identity of another")
        yield found
        known |= {found.attachment.id} if found is not None else set()


def _picture(source: Path, facts: Mapping[str, Any]) -> Picture:
    try:
        one = Attachment(
            *(str(facts["id"]), int(facts["time"]), str(facts["name"]), str(facts["media_type"]), str(facts["text"])),
            int(facts["size"]),
        )
        at, checksum = int(facts["at"]), int(facts["checksum"])
    except (KeyError, TypeError, ValueError) as error:
        return Picture(Attachment("", 0, "photograph", "", "", 0), b"", f"cannot be understood ({error})")
    if not 0 <= one.size <= LARGEST or not 0 <= at <= source.stat().st_size:
        return Picture(one, b"", f"{one.name} has {one.size} bytes at {at}, which cannot be")
    with source.open("rb") as file:
        file.seek(at)
        content = file.read(one.size)
    if len(content) != one.size or zlib.crc32(content) != checksum:
        return Picture(one, b"", f"{one.name} is damaged, or was lost when another program wrote the file anew")
    if media_type_of(content) != one.media_type:
        return Picture(one, b"", f"{one.name} is no picture of the kind that it is said to be")
    return Picture(one, content, "")
