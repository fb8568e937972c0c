"""Recordings over HTTP: the list, one recording's figure, attempts, events and values, two compared, a download.

Everything is asked for by the name of a file in the library, never by a path; nothing here changes anything.
"""

import asyncio
import json
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import Depends, FastAPI
from fastapi.responses import PlainTextResponse, Response
from starlette.types import Receive, Scope, Send

from collector.exchange import export_csv
from collector.library import ENDING, recording_in
from collector.recording import Recording
from dashboard.compare import LARGEST_MOVE, compared
from dashboard.library import Summaries, events_of
from dashboard.recorded import Wanted, recorded_figure, usable, values_at
from drivers.base import LightoffError

AT_ONCE = 2
"""Recordings that are read at the same time; whoever asks more waits, and the live trends do not. [1]"""
PIECE = 262_144
"""Of a download, sent at once. [bytes]"""
FAR = 9e12
"""A browser's time beyond this is none. [ms]"""
WIDEST = 100_000.0
"""[pixels]"""


class Passing(Response):
    """Sends a file as CSV and then removes the folder it lies in, whether it was taken or not."""

    def __init__(self, path: Path, name: str) -> None:
        self._path = path
        headers = {
            "Content-Disposition": f"attachment; filename*=utf-8''{quote(name)}",
            "Content-Length": str(path.stat().st_size),
        }
        super().__init__(None, media_type="text/csv", headers=headers)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:  # noqa: ARG002
        """Answer (ASGI)."""
        try:
            await send({"type": "http.response.start", "status": self.status_code, "headers": self.raw_headers})
            with await asyncio.to_thread(self._path.open, "rb") as file:
                while piece := await asyncio.to_thread(file.read, PIECE):
                    await send({"type": "http.response.body", "body": piece, "more_body": True})
            await send({"type": "http.response.body", "body": b"", "more_body": False})
        finally:
            await asyncio.to_thread(shutil.rmtree, self._path.parent, ignore_errors=True)


async def _wanted(
    *,
    units: str = "trade",
    light: bool = False,
    width: float = 1000.0,
    start: float | None = None,
    end: float | None = None,
) -> Wanted:
    """How a figure is wanted, from the query: times in ms; what cannot be meant counts as not said."""
    begin, finish = usable(start, None, FAR), usable(end, None, FAR)
    return Wanted(
        units=units,
        light=light,
        width=usable(width, 1000.0, WIDEST) or 1000.0,
        start=None if begin is None else begin / 1000,
        end=None if finish is None else finish / 1000,
    )


Look = Annotated[Wanted, Depends(_wanted)]


def add_routes(server: FastAPI, summaries: Summaries) -> None:
    """Put the routes on the page's server."""
    turns = asyncio.Semaphore(AT_ONCE)

    async def answered(work: Callable[[], Any]) -> Response:
        """What the work gives, as JSON; it and the writing of JSON happen in a thread."""
        async with turns:
            try:
                text = await asyncio.to_thread(lambda: json.dumps(work(), separators=(",", ":"), allow_nan=False))
            except (LightoffError, ValueError) as error:
                return _refused(error, summaries.folder)
        return Response(text, media_type="application/json", headers={"Cache-Control": "no-store"})

    def path(name: str) -> Path:
        return recording_in(summaries.folder, name)

    @server.get("/library")
    async def library() -> Response:
        return await answered(summaries.listing)

    @server.get("/library/{name:path}/figure")
    async def figure(name: str, wanted: Look) -> Response:
        return await answered(lambda: recorded_figure(path(name), wanted))

    @server.get("/library/{name:path}/events")
    async def events(name: str) -> Response:
        return await answered(lambda: events_of(path(name)))

    @server.get("/library/{name:path}/attempts")
    async def attempts(name: str) -> Response:
        return await answered(lambda: summaries.attempts_of(path(name)))

    @server.get("/library/{name:path}/values")
    async def values(name: str, at: float) -> Response:
        moment = usable(at, 0.0, FAR) or 0.0
        return await answered(lambda: values_at(path(name), moment / 1000))

    @server.get("/comparison")
    async def comparison(a: str, b: str, wanted: Look, align: str = "start", by: float = 0.0) -> Response:
        move = usable(by, 0.0, LARGEST_MOVE) or 0.0
        return await answered(lambda: compared(path(a), path(b), wanted, align=align, by=move))

    @server.get("/library/{name:path}/export.csv")
    async def export(name: str) -> Response:
        async with turns:
            try:
                made = await asyncio.to_thread(lambda: _exported(path(name)))
            except (LightoffError, ValueError) as error:
                return _refused(error, summaries.folder)
        return Passing(made, f"{name.removesuffix(ENDING)}.csv")


def _exported(path: Path) -> Path:
    """The recording as a CSV file in a new folder of its own."""
    folder = Path(tempfile.mkdtemp(prefix="lightoff-export-"))
    try:
        with Recording(path) as recording:
            export_csv(recording, folder / "export.csv")
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return folder / "export.csv"


def _refused(error: Exception, folder: Path) -> Response:
    return PlainTextResponse(str(error).replace(f"{folder}/", ""), status_code=404)
