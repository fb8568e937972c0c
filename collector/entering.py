"""Entering from the command line: into the recording that is being made now, else into a finished one."""

import base64
import secrets
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from collector.asking import NotThereError, Talk, talking
from collector.at_work import AtWork, found, is_over
from collector.attachments import LARGEST
from collector.pictures import checked
from drivers.base import InputError

PART = 384 * 1024
"""Of a photograph in one line of the feed: the recorder reads it within a few milliseconds. [bytes]"""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is entered: a reading, a photograph, or a reading with its photograph."""

    point: str = ""
    value: str = ""
    meter: str = ""
    at: str = ""
    text: str = ""
    photo: Path | None = None


def enter(wish: Wish, recording: Path | None) -> str:
    """Enter it; what was done, in one sentence. InputError or RecordingError: nothing was."""
    picture = _read(wish.photo) if wish.photo else None
    running = chosen(recording)
    if running is not None:
        with talking(running) as talk:
            return f"{_told(talk, wish, picture)} ({Path(running.recording).name})"
    assert recording is not None
    from collector.afterwards import enter_afterwards  # noqa: PLC0415 - numpy, which a running recorder has already

    return enter_afterwards(recording, wish, picture, now=time.time_ns())


def chosen(recording: Path | None) -> AtWork | None:
    """The recording that is meant, None where it is a finished one; InputError where none or several are running."""
    running = [one for path, one in found().items() if _is_there(path, one)]
    if recording is not None:
        if not recording.exists():
            raise InputError(f"there is no recording {recording}", "check the name and the folder")
        return next((one for one in running if _same(recording, one)), None)
    if not running:
        raise InputError(
            "no recording is running here", "start `lightoff record`, or name a finished one with --recording"
        )
    if len(running) > 1:
        names = ", ".join(sorted(one.recording for one in running))
        raise InputError(f"{len(running)} recordings are running: {names}", "name one of them with --recording")
    return running[0]


def _is_there(path: Path, running: AtWork) -> bool:
    """Whether it still runs; the file of one that does not is removed."""
    try:
        if not is_over(running):
            with talking(running):
                return True
    except NotThereError:
        pass
    with suppress(OSError):
        path.unlink()
    return False


def _same(recording: Path, running: AtWork) -> bool:
    with suppress(OSError):
        return recording.samefile(running.recording)
    return False


def _told(talk: Talk, wish: Wish, picture: bytes | None) -> str:
    arguments: dict[str, object] = {"at": wish.at} if wish.at else {}
    if picture is not None and wish.photo is not None:
        upload = secrets.token_hex(8)
        for number, start in enumerate(range(0, len(picture), PART)):
            data = base64.b64encode(picture[start : start + PART]).decode()
            talk.command("photo_part", upload=upload, number=number, data=data)
        arguments |= {"upload": upload, "name": wish.photo.name}
    if wish.point:
        return talk.command("type_in", point=wish.point, value=wish.value, meter=wish.meter, **arguments)
    return talk.command("photo_keep", text=wish.text, **arguments)


def _read(path: Path) -> bytes:
    """A picture's bytes; InputError where it is none."""
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST + 1)
    except OSError as error:
        raise InputError(f"cannot read {path} ({error.strerror or error})", "check the name and the folder") from error
    if len(content) > LARGEST:
        raise InputError(f"{path} has more than {LARGEST >> 20} MiB", "make the picture smaller")
    checked(content, str(path))
    return content
