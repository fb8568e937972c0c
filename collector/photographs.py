"""Photographs out of a recording: a file each, and a list of when and what."""

import csv
from pathlib import Path

from collector.attachments import Attachment
from collector.pictures import ENDINGS, plain
from collector.recording import Recording
from drivers.base import InputError
from drivers.codecs.recording_csv import format_time

LIST = "photographs.csv"


def write_photographs(path: Path, folder: Path, *, force: bool) -> int:
    """Write each into the folder under a name of its own; how many. InputError: what is there already stays."""
    with Recording(path) as recording:
        kept = recording.attachments()
        if not kept:
            return 0
        names = [f"{place:02d} {_named(one)}" for place, one in enumerate(kept, start=1)]
        try:
            folder.mkdir(parents=True, exist_ok=True)
            there = next((name for name in (*names, LIST) if (folder / name).exists()), None)
            if there is not None and not force:
                raise InputError(f"{folder / there} is there already", "choose another folder or say --force")
            for one, name in zip(kept, names, strict=True):
                (folder / name).write_bytes(recording.content(one.id))
            with (folder / LIST).open("w", encoding="utf-8", newline="") as file:
                writer = csv.writer(file, lineterminator="\n")
                writer.writerow(["time", "file", "text"])
                writer.writerows([format_time(one.time), name, one.text] for one, name in zip(kept, names, strict=True))
        except OSError as error:
            reason = error.strerror or str(error)
            raise InputError(f"cannot write to {folder} ({reason})", "choose another folder") from error
    return len(kept)


def _named(one: Attachment) -> str:
    """The file's own name, with the ending of what it is."""
    ending, name = ENDINGS.get(one.media_type, ""), plain(one.name)
    same = {".jpg": (".jpg", ".jpeg"), ".heic": (".heic", ".heif")}.get(ending, (ending,))
    return name if name.lower().endswith(same) else f"{name}{ending}"
