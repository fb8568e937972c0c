"""Line protocol to a server that takes it; the one module that knows the client library.

The library's own retries and batches are not used: what is to be sent again is decided by the cursor over the
recording, which knows what the server has answered for.
"""

import gzip
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any

import urllib3
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write.point import Point
from influxdb_client.rest import ApiException
from influxdb_client.service.write_service import WriteService

from collector.sinks.sink import AwayError, ClosedError, RefusedError, SinkError, Target

CONNECTING, ANSWERING = 5.0, 30.0
"""Longest time to connect, and until an answer. [s]"""
LONGEST_SAID = 160
"""Of what a server says about a refusal. [characters]"""
CLOSED = {
    401: ("does not know our token", "check the secret that the job names"),
    403: ("does not let our token write", "check the secret that the job names, and its rights"),
    404: ("has no such place to write to", "check address, bucket and org"),
    405: ("takes no line protocol at this address", "check the address"),
}
CONTENT = (400, 413, 415, 422)
"""Answers that may be about what is in the lines, or that they are too many."""


class InfluxSink:
    """One connection to one server; not for two threads at once."""

    def __init__(self, target: Target) -> None:
        self._target = target
        self._opened = 0
        timeout = (round(CONNECTING * 1000), round(ANSWERING * 1000))
        self._client: Any = InfluxDBClient(
            target.base, target.secret or "", org=target.org, timeout=timeout, connection_pool_maxsize=1
        )
        self._service = _service(self._client)
        self._count_connections()

    def _count_connections(self) -> None:
        """The library reconnects in silence, and a server that was killed in between may have forgotten its answers."""
        pool = self._client.api_client.rest_client.pool_manager.connection_from_url(self._target.base)
        plain: Any = pool.ConnectionCls
        sink = self

        class Counted(plain):  # type: ignore[misc]
            def connect(self) -> None:
                sink._opened += 1
                super().connect()

        pool.ConnectionCls = Counted

    @property
    def opened(self) -> int:
        """Connections opened so far. [1]"""
        return self._opened

    def send(self, lines: Sequence[str]) -> None:
        """Hand lines over; on return the server has answered for all of them. SinkError: it has not."""
        body = gzip.compress("\n".join(lines).encode(), 1)
        try:
            self._service.post_write(
                self._target.org, self._target.bucket, body, precision="ns", content_encoding="gzip"
            )
        except ApiException as error:
            raise self._translated(error) from error
        except UnicodeDecodeError as error:
            what = f"{self._target} answers with something that is no text"
            raise ClosedError(what, "check the address", met=True) from error
        except (urllib3.exceptions.HTTPError, OSError) as error:
            raise AwayError(f"{self._target} {_why(error)}", "nothing is lost, it is tried again") from error

    def _translated(self, error: ApiException) -> SinkError:
        status, said = int(error.status or 0), _said(error, self._target.secret)
        if status in CLOSED:
            what, hint = CLOSED[status]
            return ClosedError(f"{self._target} {what} ({status}{said})", hint, met=True)
        if status in CONTENT:
            return RefusedError(f"{self._target} refuses a line ({status}{said})", met=True)
        if status == 0:
            return ClosedError(f"{self._target} has no certificate that is believed", "check the address")
        if status in (408, 425, 429) or status >= 500:
            what = "is busy" if status in (408, 425, 429) else "cannot write now"
            hint = "nothing is lost, it is tried again"
            return AwayError(f"{self._target} {what} ({status}{said})", hint, wait=_wait(error), met=True)
        return ClosedError(f"{self._target} answers {status} to what is written{said}", "check the address", met=True)

    def close(self) -> None:
        """Hang up."""
        self._client.close()


def head(measurement: str, tags: Mapping[str, str]) -> str:
    """Beginning of a line up to its fields, escaped; empty tags are left out."""
    point = Point.from_dict({"measurement": measurement, "tags": dict(tags), "fields": {"x": True}})
    line: str = point.to_line_protocol()
    return line.removesuffix("x=true")


def _service(client: Any) -> Any:
    return WriteService(client.api_client)  # type: ignore[no-untyped-call]


def _why(error: Exception) -> str:
    if isinstance(error, urllib3.exceptions.NameResolutionError):
        return "has no address here (no network, or a wrong name)"
    if isinstance(error, urllib3.exceptions.NewConnectionError):
        return "takes no connection"
    if isinstance(error, urllib3.exceptions.TimeoutError):
        return "does not answer"
    return "broke the connection off"


def _said(error: ApiException, secret: str | None) -> str:
    text = error.message if isinstance(error.message, str) else ""
    if isinstance(error.message, bytes):
        text = error.message.decode("utf-8", "replace")
    if secret:
        text = text.replace(secret, "...")
    text = " ".join(text.split())
    return f": {text[:LONGEST_SAID]}" if text else ""


def _wait(error: ApiException) -> float | None:
    """Seconds that the server asks for; a date instead counts as not said."""
    with suppress(ValueError):
        return max(0.0, float(error.retry_after or ""))
    return None
