"""Files that come over the feed in parts, since a line of it is bounded; at most a few at a time, in memory."""

import base64
import binascii
import re
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from collector.arguments import Given, number_in, text_in
from collector.attachments import LARGEST
from collector.pictures import checked, plain
from drivers.base import InputError

MOST = 3
"""Files on their way at the same time; a further one is refused. [1]"""
PATIENCE = 60.0
"""One that got nothing for so long is dropped. [s]"""
LARGEST_PART = 2 * 1024 * 1024
"""[bytes]"""

_NAME = re.compile(r"[0-9a-f]{8,64}")


@dataclass(frozen=True, slots=True)
class Picture:
    """A file that has come whole and is a picture."""

    name: str
    media_type: str
    content: bytes


@dataclass(slots=True)
class _Upload:
    heard: float
    parts: list[bytes] = field(default_factory=list)

    @property
    def size(self) -> int:
        return sum(map(len, self.parts))


class Uploads:
    """The files on their way, each under a name that its sender made up."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._known: dict[str, _Upload] = {}

    def part(self, given: Given) -> str:
        """Take the next part of a file, from number 0 on; InputError: of that file nothing is kept."""
        name, number = _name(given), number_in(given, "number")
        self._drop_silent()
        if number == 0:
            if len(self._known) >= MOST and name not in self._known:
                raise InputError(f"{MOST} photographs are on their way already", "try again in a minute")
            self._known[name] = _Upload(self._monotonic())
        upload = self._known.get(name)
        if upload is None or number != len(upload.parts):
            self._known.pop(name, None)
            raise InputError("a part of the photograph is missing", "send it again")
        try:
            upload.parts.append(_bytes(given.get("data"), room=LARGEST - upload.size))
        except InputError:
            del self._known[name]
            raise
        upload.heard = self._monotonic()
        return f"{upload.size} bytes"

    def take(self, given: Given) -> Picture:
        """The file that has come, which is then forgotten; InputError where it is none, or no picture."""
        upload = self._known.pop(_name(given), None)
        if upload is None:
            raise InputError("the photograph did not come", "send it again")
        name, content = plain(text_in(given, "name", default="photograph")), b"".join(upload.parts)
        return Picture(name, checked(content, name), content)

    def _drop_silent(self) -> None:
        limit = self._monotonic() - PATIENCE
        self._known = {name: upload for name, upload in self._known.items() if upload.heard >= limit}


def _name(given: Given) -> str:
    name = text_in(given, "upload")
    if _NAME.fullmatch(name) is None:
        raise InputError("'upload' must be 8 to 64 hexadecimal digits", "send it again with some")
    return name


def _bytes(data: object, *, room: int) -> bytes:
    if not isinstance(data, str) or len(data) > LARGEST_PART * 4 // 3 + 4:
        raise InputError("'data' must be a text of base64", f"send at most {LARGEST_PART} bytes at a time")
    try:
        content = base64.b64decode(data, validate=True)
    except (binascii.Error, ValueError):
        raise InputError("'data' must be a text of base64", "send it again") from None
    if len(content) > room:
        raise InputError(f"the photograph has more than {LARGEST >> 20} MiB", "make it smaller")
    return content
