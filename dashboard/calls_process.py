"""The page of a company as a process of its own: settings as one line of JSON on standard input, its address on output.

It listens to the broker itself, and ends when standard input ends.
"""

import asyncio
import json
import logging
import sys
from collections.abc import Callable, Mapping
from typing import Any

import uvicorn

from collector.calls_following import Following
from collector.opened_calls import OpenedCalls
from collector.opened_calls import program as watching
from dashboard.calls import calls_page
from dashboard.serving import HOST, AnnouncingServer, listening_socket, when_input_ends
from drivers.broker_address import BrokerAddress


async def serve(settings: Mapping[str, Any], ended: Callable[[Callable[[], object]], None]) -> None:
    """Serve the page until `ended` calls back."""
    broker = BrokerAddress(settings["host"], settings["broker_port"], tls=settings["tls"], user=settings["user"])
    company, secret = settings["company"], settings["secret"]
    following = Following(broker, company, secret)
    async with OpenedCalls(settings.get("program") or watching(), broker, secret) as opened:

        def told() -> Mapping[str, Any]:
            calls = following.calls.rows()
            return {"company": company, "calls": calls, "opened": opened.state(), "trouble": following.trouble}

        def open_call(technician: str, call: str) -> None:
            opened.open(following.calls.topics(technician, call))

        bound = listening_socket(settings["port"])
        config = uvicorn.Config(
            calls_page(told, open_call),
            lifespan="off",
            log_level="warning",
            access_log=False,
            timeout_graceful_shutdown=2,
            ws="websockets-sansio",
            ws_max_size=4096,
            ws_per_message_deflate=False,
        )
        address = f"http://{HOST}:{bound.getsockname()[1]}/"
        server = AnnouncingServer(config, lambda: print(json.dumps({"address": address}), flush=True))  # noqa: T201
        loop = asyncio.get_running_loop()
        ended(lambda: loop.call_soon_threadsafe(lambda: setattr(server, "should_exit", True)))
        task = asyncio.create_task(following.run(), name="calls at the broker")
        try:
            await server.serve(sockets=[bound])
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            bound.close()


def main() -> int:
    """Run the page; exit status."""
    logging.basicConfig(level=logging.WARNING, stream=sys.stderr, format="page: %(message)s")
    settings = json.loads(sys.stdin.readline())
    try:
        asyncio.run(serve(settings, when_input_ends))
    except KeyboardInterrupt:
        return 0
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
