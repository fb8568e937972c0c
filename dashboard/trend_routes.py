"""Routes of the trends: figures for a browser's script, and the library that draws them, from this machine."""

import asyncio
import json
from pathlib import Path
from typing import Any

import plotly
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from dashboard.hub import Hub
from dashboard.trends import answering

DRAWING = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"
"""The library that draws in the browser, as its Python package brings it."""

LONGEST_REQUEST = 4096
"""A longer request is refused. [bytes]"""

MOST_AT_ONCE = 4
"""Requests that read the recording at the same time; further ones wait for their turn. [1]"""


def add_routes(server: FastAPI, hub: Hub) -> None:
    """POST `/trends` and GET `/plotly.min.js`."""
    answer, turns = answering(hub), asyncio.Semaphore(MOST_AT_ONCE)

    async def trends(request: Request) -> Response:
        body = await _body(request)
        try:
            asked = json.loads(body)
            async with turns:
                return JSONResponse(await asyncio.to_thread(answer, asked))
        except (ValueError, RecursionError):
            return JSONResponse({"message": "the page asked for trends in a way that is none; load it again"}, 400)

    async def drawing(_: Request) -> Response:
        content = await asyncio.to_thread(DRAWING.read_bytes)
        return Response(content, media_type="text/javascript", headers={"cache-control": "max-age=86400"})

    server.add_route("/trends", trends, methods=["POST"])
    server.add_route("/plotly.min.js", drawing, methods=["GET"])


async def _body(request: Request) -> bytes:
    """What was sent; too long a request counts as none."""
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LONGEST_REQUEST:
            return b""
    return bytes(body)


def scripts() -> list[Any]:
    """Scripts besides those in `assets`."""
    return ["/plotly.min.js"]
