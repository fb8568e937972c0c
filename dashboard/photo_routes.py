"""Photographs over HTTP: read from a recording by their identity, and served as what they are and nothing else."""

import asyncio
import re
from pathlib import Path
from urllib.parse import quote

from fastapi import FastAPI
from fastapi.responses import PlainTextResponse, Response

from collector.library import recording_in
from collector.pictures import ENDINGS
from collector.recording import Recording
from drivers.base import InputError, LightoffError

AT_ONCE = 2
"""Photographs that are read at the same time; each may have 20 MiB. [1]"""

_IDENTITY = re.compile(r"[0-9a-f]{8,64}")


def add_routes(server: FastAPI, running: Path, library: Path) -> None:
    """GET a photograph of the running recording, or of one in the library; nothing here changes anything."""
    turns = asyncio.Semaphore(AT_ONCE)

    async def answered(name: str | None, identity: str) -> Response:
        async with turns:
            try:
                return await asyncio.to_thread(
                    _picture, running if name is None else recording_in(library, name), identity
                )
            except (LightoffError, ValueError) as error:
                told = str(error).replace(f"{library}/", "").replace(str(running), running.name)
                return PlainTextResponse(told, status_code=404)

    @server.get("/photos/{identity}")
    async def of_running(identity: str) -> Response:
        return await answered(None, identity)

    @server.get("/library/{name:path}/photos/{identity}")
    async def of_library(name: str, identity: str) -> Response:
        return await answered(name, identity)


def _picture(path: Path, identity: str) -> Response:
    """The bytes with their media type; a type that no picture here has is not served."""
    if _IDENTITY.fullmatch(identity) is None:
        raise InputError(f"'{identity[:40]}' is no photograph", "look at the list of events again")
    with Recording(path) as recording:
        known = next((one for one in recording.attachments() if one.id == identity), None)
        if known is None or known.media_type not in ENDINGS:
            raise InputError(f"{path.name} has no photograph '{identity}'", "look at the list of events again")
        content = recording.content(identity)
    headers = {
        "Content-Disposition": f"inline; filename*=utf-8''{quote(known.name, safe='')}",
        "Content-Security-Policy": "default-src 'none'; sandbox",  # beside the page's own; both hold
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, max-age=86400, immutable",
    }
    return Response(content, media_type=known.media_type, headers=headers)
