"""The one seam to the outside world: a driver is a coroutine that emits readings until its session ends.

Errors of the program; each is one sentence for people, with a hint what to try:

    * LightoffError
      + InputError              a file or a setting is wrong
      + RecordingError          a recording cannot be opened, written or read (collector.store)
      + SinkError               a server did not take readings (collector.sinks.sink)
      + AlarmError              an alarm cannot do what it is told (collector.alarms)
      + DriverError             an instrument; carries its name and whether a new session can help
        - ConnectionLostError   was there and is gone                        retry
        - NotFoundError         is not there, or not yet                     retry
        - BusyError             another program holds it                     retry
        - SilentError           is there and says nothing                    retry
        - NotPermittedError     this user may not open it                    stop
        - SettingsError         its settings cannot work                     stop

Whether and when a new session starts is decided in `collector.supervisor` and nowhere else.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Event, Reading


@dataclass(frozen=True, slots=True, eq=False)
class Past:
    """Readings of a channel that are recorded and are no present: no alarm, tile or phase rests on them."""

    channel: str
    """Key of the channel."""
    time: NDArray[np.int64]
    """(n,) in any order, UTC since 1970. [ns]"""
    value: NDArray[np.float64]
    """(n,) [native unit of the channel]"""
    quality: NDArray[np.int8]
    """(n,)"""


Emission = Channel | Reading | Event
Emit = Callable[[Emission], None]
"""What a driver calls: with a channel before its first reading, with readings, and with events worth recording."""

Now = Callable[[], int]
"""Recording time, UTC since 1970. [ns]"""


class LightoffError(Exception):
    """Anything the program tells people as one sentence."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint

    def __str__(self) -> str:
        """What happened, to what, and what to try."""
        return f"{self.what}; {self.hint}" if self.hint else self.what


class InputError(LightoffError):
    """A file or a setting is wrong."""


class DriverError(LightoffError):
    """Something went wrong with one instrument."""

    retry: ClassVar[bool] = True

    def __init__(self, instrument: str, what: str, hint: str = "") -> None:
        super().__init__(f"{instrument}: {what}", hint)
        self.instrument = instrument


class ConnectionLostError(DriverError):
    """The instrument was there and is gone."""


class NotFoundError(DriverError):
    """The instrument is not there, or not yet."""


class BusyError(DriverError):
    """Another program holds the instrument's port."""


class SilentError(DriverError):
    """The instrument is connected and says nothing."""


class NotPermittedError(DriverError):
    """This user may not open the instrument's port."""

    retry: ClassVar[bool] = False


class SettingsError(DriverError):
    """The instrument's settings cannot work."""

    retry: ClassVar[bool] = False


class Driver(Protocol):
    """A source of readings; one object serves any number of sessions, one at a time."""

    @property
    def name(self) -> str:
        """The instrument's name, with its origin before a colon when it is not a live instrument."""
        ...

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Channels known before the session; further ones are emitted before their first reading."""
        ...

    async def run(self, emit: Emit) -> None:
        """One session: connect, emit until it ends; returns when the source has no more, raises DriverError.

        Cancelling ends the session within two seconds and leaves no task, thread or descriptor behind.
        """
        ...
