"""The page as a process of its own: settings as one line of JSON on standard input, its address as one on output.

It ends by itself when standard input ends: the recorder is gone.
"""

import asyncio
import json
import logging
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn

from collector.building import Share, share_of
from dashboard.app import LONGEST_COMMAND, page
from dashboard.feed import FeedClient
from dashboard.found_attempts import FoundAttempts
from dashboard.guest_server import GuestServer
from dashboard.hub import Hub
from dashboard.serving import HOST, AnnouncingServer, listening_socket, when_input_ends
from dashboard.sharing import Sharing
from drivers.base import InputError


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
    share: Share | None = None
    """As the page is shared in the building from the start."""

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
                return cls(host, feed_port, token, Path(recording), Path(library), port, share_of(given))
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
    sharing = Sharing()

    async def command(name: str, given: Mapping[str, object]) -> dict[str, Any]:
        """The page's own commands are carried out here, the others by the recorder."""
        return await (guests.execute(name, given) if name in guests.commands else feed.command(name, given))

    shown = page(hub, command, settings.library, FoundAttempts())
    guests = GuestServer(shown, sharing, port=bound.getsockname()[1], remember=_remember)
    sharing.changed = lambda: hub.share(sharing.told())
    sharing.changed()
    config = uvicorn.Config(
        shown,
        lifespan="off",
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=2,
        ws="websockets-sansio",
        ws_max_size=4 * LONGEST_COMMAND,
        ws_per_message_deflate=False,  # on this machine it would only cost time
    )
    address = f"http://{HOST}:{bound.getsockname()[1]}/"
    announced = asyncio.Event()

    def announce() -> None:
        print(json.dumps({"address": address}), flush=True)  # noqa: T201
        announced.set()  # what else is printed comes after it

    server = AnnouncingServer(config, announce)
    loop = asyncio.get_running_loop()

    def end() -> None:
        hub.close()
        server.should_exit = True

    ended(lambda: loop.call_soon_threadsafe(end))
    around = [asyncio.create_task(feed.run(), name="feed"), asyncio.create_task(guests.watch(), name="sharing")]
    if settings.share:
        around.append(asyncio.create_task(_shared(guests, settings.share, announced), name="shared from the start"))
    try:
        await server.serve(sockets=[bound])
    finally:
        await guests.close()
        for task in around:
            task.cancel()
        await asyncio.gather(*around, return_exceptions=True)
        bound.close()


async def _shared(guests: GuestServer, share: Share, announced: asyncio.Event) -> None:
    """Share from the start; what hinders it is said, and the page goes on without."""
    await announced.wait()
    try:
        await guests.begin(share)
    except InputError as error:
        logging.getLogger(__name__).error("%s; the page is not shared", error)
        _remember(None)


def _remember(share: Share | None) -> None:
    """Tell the recorder how the page is shared, for when it has to start it again; over their pipe and nowhere else."""
    print(json.dumps({"share": share.facts() if share else None}), flush=True)  # noqa: T201


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
