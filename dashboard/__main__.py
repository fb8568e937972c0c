"""The page as a process of its own: settings as one line of JSON on standard input, its address as one on output.

It ends by itself when standard input ends: the recorder is gone.
"""

import asyncio
import json
import logging
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import uvicorn

from dashboard.app import LONGEST_COMMAND, page
from dashboard.feed import FeedClient
from dashboard.found_attempts import FoundAttempts
from dashboard.hub import Hub
from dashboard.serving import HOST, AnnouncingServer, listening_socket, when_input_ends


@dataclass(frozen=True, slots=True)
class Settings:
    """What the recorder tells the page when it starts it."""

    feed_host: str
    feed_port: int
    token: str
    recording: Path
    library: Path
    """Folder of the recordings that can be looked at."""
    port: int
    """Port wanted; another free one is taken when it is in use."""

    @classmethod
    def parse(cls, line: str) -> "Settings":
        """Settings from a line of JSON; ValueError in one sentence."""
        try:
            given = json.loads(line)
        except ValueError:
            given = None
        match given:
            case {
                "feed_host": str(host),
                "feed_port": int(feed_port),
                "token": str(token),
                "recording": str(recording),
                "library": str(library),
                "port": int(port),
            } if 0 < feed_port < 65536 and 0 <= port < 65536:
                return cls(host, feed_port, token, Path(recording), Path(library), port)
            case _:
                raise ValueError(
                    "the page got no usable settings; it is started by the recorder, which gives it one line of JSON "
                    "with feed_host, feed_port, token, recording, library and port"
                )


async def serve(settings: Settings, ended: Callable[[Callable[[], object]], None]) -> None:
    """Serve the page until `ended` calls back."""
    hub = Hub(settings.recording)
    feed = FeedClient(settings.feed_host, settings.feed_port, settings.token, hub.publish)
    bound = listening_socket(settings.port)
    config = uvicorn.Config(
        page(hub, feed.command, settings.library, FoundAttempts()),
        lifespan="off",
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=2,
        ws="websockets-sansio",
        ws_max_size=4 * LONGEST_COMMAND,
        ws_per_message_deflate=False,  # on this machine it would only cost time
    )
    address = f"http://{HOST}:{bound.getsockname()[1]}/"
    server = AnnouncingServer(config, lambda: print(json.dumps({"address": address}), flush=True))  # noqa: T201
    loop = asyncio.get_running_loop()

    def end() -> None:
        hub.close()
        server.should_exit = True

    ended(lambda: loop.call_soon_threadsafe(end))
    reading = asyncio.create_task(feed.run(), name="feed")
    try:
        await server.serve(sockets=[bound])
    finally:
        reading.cancel()
        await asyncio.gather(reading, return_exceptions=True)
        bound.close()


def main() -> int:
    """Run the page; exit status."""
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="page: %(message)s")
    try:
        settings = Settings.parse(sys.stdin.readline())
    except ValueError as error:
        print(error, file=sys.stderr)  # noqa: T201
        return 2
    try:
        asyncio.run(serve(settings, when_input_ends))
    except KeyboardInterrupt:
        return 0
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
