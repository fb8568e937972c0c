"""What takes readings for good, and the ways in which it may not take them."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol
from urllib.parse import urlsplit

from drivers.base import LightoffError

WRITE = "/api/v2/write"
"""Path at which such servers take lines."""


class SinkError(LightoffError):
    """Lines were not taken; nothing is known of them but that they have to be sent again."""

    def __init__(self, what: str, hint: str = "", *, wait: float | None = None, met: bool = False) -> None:
        super().__init__(what, hint)
        self.wait = wait
        """How long the server wants to be left alone, None where it does not say. [s]"""
        self.met = met
        """Whether the server itself answered, over the connection that was there."""


class AwayError(SinkError):
    """The server is not there, broken, full or busy: the same lines may be taken later."""


class ClosedError(SinkError):
    """The server takes nothing from us as things are set: its address, bucket or token has to be put right."""


class RefusedError(SinkError):
    """The server is there and does not take these lines, perhaps because of one of them."""


@dataclass(frozen=True, slots=True)
class Target:
    """A server, and where on it the readings go."""

    url: str
    bucket: str = "lightoff"
    org: str = ""
    secret: str | None = field(default=None, repr=False)
    """Token."""

    @property
    def base(self) -> str:
        """Address without the path of the writing, which is the same on every server."""
        return self.url.strip().rstrip("/").removesuffix(WRITE)

    @property
    def identity(self) -> str:
        """What tells it from others; holds no secret."""
        return f"{self.base} {self.org}/{self.bucket}"

    def __str__(self) -> str:
        """Host and port, for people."""
        return urlsplit(self.base).netloc.rpartition("@")[2]


class Sink(Protocol):
    """A server that takes lines; sent again, the same line is the same point."""

    @property
    def opened(self) -> int:
        """Connections opened so far: a new one may lead to a server that was started anew. [1]"""
        ...

    def send(self, lines: Sequence[str]) -> None:
        """Hand lines over; on return the server has answered for all of them. SinkError: it has not."""
        ...

    def close(self) -> None:
        """Hang up."""
        ...
