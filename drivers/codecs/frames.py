"""Binary frames: found in a stream of bytes by their first bytes, length and checksum, and decoded into samples."""

from collections import deque

from drivers.codecs.binary import BytesDecoder
from drivers.codecs.checksums import CHECKSUMS
from drivers.codecs.sample import Decoded
from drivers.profile import Profile, SerialSection

WRONG_CHECKSUM = "has a wrong checksum"
NO_FRAME = "is no frame"
SHOWN = 40
"""Of what could not be read so much is kept to be shown. [bytes]"""


class FrameShape:
    """What a frame of a profile looks like; ValueError in one sentence where it cannot be told from others."""

    def __init__(self, section: SerialSection) -> None:
        if section.checksum not in CHECKSUMS:
            raise ValueError(f"unknown checksum '{section.checksum}'; known are {', '.join(CHECKSUMS)}")
        if not section.start:
            raise ValueError("'start' is missing: the bytes with which each frame begins")
        if (section.length is None) == (section.length_at is None):
            raise ValueError("a frame needs either 'length', or 'length_at' where a byte of it says its length")
        self.start = section.start
        self.checked = section.checksum != "none"
        self._length = section.length
        self._length_at = section.length_at or 0
        self._checksum = CHECKSUMS[section.checksum]
        self._order = section.checksum_order
        self._from = section.checksum_from
        size = self._checksum.size
        self.head = len(self.start) if self._length else max(len(self.start), self._length_at + 1)
        """Bytes from which the length of a frame can be told. [1]"""
        self.longest = self._length or self._length_at + 256 + size
        """[bytes]"""
        self.shortest = max(len(self.start), self._from) + size + 1
        """[bytes]"""
        if self.longest < self.shortest:
            raise ValueError(f"a 'length' of {self.longest} leaves no byte between start and checksum")

    def length_of(self, data: bytes | bytearray) -> int:
        """Length of the frame whose first `head` bytes these begin with. [bytes]"""
        return self._length or self._length_at + 1 + data[self._length_at] + self._checksum.size

    def holds(self, frame: bytes | bytearray) -> bool:
        """Whether the checksum is that of the frame."""
        end = len(frame) - self._checksum.size
        return self._checksum.sent(bytes(frame[self._from : end]), self._order) == frame[end:]

    def refusal(self, frame: bytes) -> str:
        """Why these bytes are not one whole frame; empty where they are."""
        if not frame.startswith(self.start) or len(frame) < max(self.head, self.shortest):
            return NO_FRAME
        if self.length_of(frame) != len(frame):
            return NO_FRAME
        return "" if self.holds(frame) else WRONG_CHECKSUM


class FrameFramer:
    """Finds frames in a stream of bytes and takes up again behind whatever is none; holds at most one frame.

    Where the stream is out of step (it was opened in the middle, or bytes were none of a frame), a frame without
    checksum counts only when another one begins right behind it, since its first bytes may stand anywhere.
    """

    def __init__(self, shape: FrameShape) -> None:
        self.discarded_bytes = 0
        self.cut_frames = 0
        """Frames of which a part was missing where bytes were lost."""
        self._shape = shape
        self._buffer = bytearray()
        self._arrivals: deque[tuple[int, int]] = deque()
        """End of each chunk in the buffer, and its time. [bytes, ns]"""
        self._in_step = False
        self._excused = 0
        """Bytes that may be the rest of a frame whose beginning is missing."""
        self._told = False
        """Whether this run of bytes that are no frame was told."""
        self._refusals: list[tuple[str, bytes]] = []

    def feed(self, chunk: bytes) -> list[bytes]:
        """Frames completed by this chunk."""
        return [frame for frame, _ in self.timed(chunk, 0)]

    def timed(self, chunk: bytes, time: int) -> list[tuple[bytes, int]]:
        """Frames completed by this chunk, each with the time of the chunk that held its last byte. [ns]"""
        self._buffer += chunk
        self._arrivals.append((len(self._buffer), time))
        frames = []
        while (found := self._next()) is not None:
            frames.append(found)
        return frames

    def cut(self) -> None:
        """Bytes are missing here: an unfinished frame is discarded, and the next bytes may be the rest of one."""
        self.cut_frames += self._buffer.startswith(self._shape.start[:1])
        self.clear()
        self._in_step = False
        self._excused = self._shape.longest

    def clear(self) -> None:
        """The stream begins anew: the unfinished frame is discarded."""
        self._drop(len(self._buffer))
        self._in_step, self._told, self._excused = True, False, 0

    def refusals(self) -> list[tuple[str, bytes]]:
        """What was no frame since the last call: why, and its beginning."""
        refusals, self._refusals = self._refusals, []
        return refusals

    def counts(self) -> dict[str, int]:
        """What was lost. [1]"""
        return {"discarded_bytes": self.discarded_bytes, "cut_frames": self.cut_frames}

    def messages_in(self, data: bytes) -> int:
        """About how many frames these bytes are: those that begin in them."""
        return data.count(self._shape.start)

    def _next(self) -> tuple[bytes, int] | None:
        shape, buffer = self._shape, self._buffer
        while True:
            self._skip_to_start()
            if len(buffer) < shape.head:
                return None
            length = shape.length_of(buffer)
            if length < shape.shortest:
                self._refuse(NO_FRAME, 1)
                continue
            if len(buffer) < length:
                return None
            if not shape.holds(buffer[:length]):
                self._refuse(WRONG_CHECKSUM, 1)
                continue
            if not shape.checked and not self._in_step:
                behind = buffer[length : length + len(shape.start)]
                if not shape.start.startswith(behind):
                    self._refuse(NO_FRAME, 1)
                    continue
                if len(behind) < len(shape.start):
                    return None
            self._in_step, self._told, self._excused = True, False, 0
            return self._taken(length)

    def _skip_to_start(self) -> None:
        """Discard what no frame begins with."""
        start = self._shape.start
        at = self._buffer.find(start)
        if at < 0:
            held = next((size for size in range(len(start) - 1, 0, -1) if self._buffer.endswith(start[:size])), 0)
            at = len(self._buffer) - held
        if at:
            self._refuse(NO_FRAME, at)

    def _refuse(self, why: str, count: int) -> None:
        """Discard bytes at the beginning; told once for each run of them, and not where they may be a frame's rest."""
        excused = min(self._excused, count)
        self._excused -= excused
        if count > excused and (why == WRONG_CHECKSUM or not self._told):
            self._refusals.append((why, bytes(self._buffer[:SHOWN])))
            self._told = True
        self._in_step = False
        self._drop(count)

    def _drop(self, count: int) -> None:
        self.discarded_bytes += count
        self._forget(count)

    def _taken(self, length: int) -> tuple[bytes, int]:
        frame = bytes(self._buffer[:length])
        time = next((time for end, time in self._arrivals if end >= length), 0)
        self._forget(length)
        return frame, time

    def _forget(self, count: int) -> None:
        del self._buffer[:count]
        self._arrivals = deque((end - count, time) for end, time in self._arrivals if end > count)


class FrameDecoder:
    """Frames with values at fixed offsets; ValueError in one sentence where a profile cannot work."""

    def __init__(self, profile: Profile) -> None:
        self.shape = FrameShape(profile.serial)
        self._bytes = BytesDecoder(profile.values)

    def decode(self, data: bytes, source: str = "") -> Decoded:
        """What one whole frame says; nothing where its checksum is wrong."""
        if refusal := self.shape.refusal(data):
            return Decoded(None, refusal)
        return self._bytes.decode(data, source)
