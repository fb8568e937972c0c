"""Instruments on a serial port that send by themselves: lines of text, or binary frames."""

from typing import Any, Protocol

from drivers.base import Emit, SettingsError
from drivers.codecs.frames import FrameDecoder, FrameFramer
from drivers.codecs.lines import LineFramer
from drivers.codecs.sample import Decoder
from drivers.codecs.text import LONGEST_LINE, text_decoder
from drivers.flood import Limit
from drivers.handover import Chunk, Handover, Loss
from drivers.port import OpenPort
from drivers.profile import Profile
from drivers.serial_session import SerialDriver
from drivers.setup import Setup

CHUNK = 1024
"""Longest chunk. [bytes]"""


class Framer(Protocol):
    """Finds messages in a stream of bytes, with a bound on what it holds."""

    def timed(self, chunk: bytes, time: int) -> list[tuple[bytes, int]]:
        """Messages completed by a chunk that came at `time` [ns], each with the time of its end."""
        ...

    def cut(self) -> None:
        """Bytes are missing here: no message goes across."""
        ...

    def clear(self) -> None:
        """The stream begins anew."""
        ...

    def refusals(self) -> list[tuple[str, bytes]]:
        """What was no message since the last call, and why."""
        ...

    def counts(self) -> dict[str, int]:
        """What was lost. [1]"""
        ...

    def messages_in(self, data: bytes) -> int:
        """About how many messages these bytes are. [1]"""
        ...


class SerialLine(SerialDriver):
    """Driver of an instrument that sends by itself.

    A reading bears the time at which the chunk with its message's end arrived, taken by `now` in the reader thread;
    further messages of the chunk follow 1 us apart, since over USB the baud rate says nothing about when a byte was
    sent. A message whose beginning may be missing (the port was opened in the middle of it, or bytes were dropped) is
    not read.
    """

    def __init__(self, setup: Setup, **settings: Any) -> None:
        super().__init__(setup, **settings)
        try:
            self._decoder, self._framer = codec(setup.profile)
        except ValueError as error:
            raise SettingsError(self.name, str(error), "correct the instrument's profile or pattern") from error
        self._text = setup.profile.serial.format != "frame"

    def statistics(self) -> dict[str, int]:
        """Counts since the driver was made, over all sessions. [1]"""
        return {**super().statistics(), **self._framer.counts()}

    def count(self, data: bytes) -> int:
        """As its framer counts."""
        return self._framer.messages_in(data)

    def reset(self) -> None:
        """The stream begins anew."""
        self._framer.clear()

    def hint(self) -> str:
        """It ought to send by itself."""
        return "check that the instrument is on and sends by itself"

    def work(self, port: OpenPort, handover: Handover) -> None:
        """Read, and drop what is more than an instrument may say."""
        limit, cut, returned = Limit(), True, False
        while not handover.stop.is_set():
            data = port.read(1)
            if data:
                data += port.read(min(port.in_waiting, CHUNK - 1))
                time = self._now()
                if returned and self._text:  # one end of a line, and counted once, wherever it is cut apart
                    data = data.removeprefix(b"\n")
                returned = data.endswith(b"\r")
                chunk = Chunk(time, data, cut)
                if limit.allows(self.count(data), len(data)):
                    handover.put(chunk)
                else:
                    handover.drop(chunk)
            else:
                handover.settle(self._now())
            cut = False

    def take(self, losses: tuple[Loss, ...], chunk: Chunk, emit: Emit) -> bool:
        """Decode the messages of a chunk."""
        self.report(losses, chunk.time, emit)
        if losses or chunk.cut:
            self._framer.cut()
        if not chunk.data and not chunk.cut:
            self._framer.clear()
        heard = False
        for message, time in self._framer.timed(chunk.data, chunk.time):
            if message.strip():
                decoded = self._decoder.decode(message)
                heard = heard or decoded.sample is not None
                self._meter.take(decoded, message, time, emit)
        for reason, shown in self._framer.refusals():
            self._meter.unreadable(reason, shown or chunk.data, chunk.time, emit)
        return heard


def codec(profile: Profile) -> tuple[Decoder, Framer]:
    """What messages of a profile are decoded with, and what finds them; ValueError where it cannot work."""
    if profile.serial.format == "frame":
        decoder = FrameDecoder(profile)
        return decoder, FrameFramer(decoder.shape)
    return text_decoder(profile), LineFramer(LONGEST_LINE)
