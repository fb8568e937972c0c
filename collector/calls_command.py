"""Shows the calls of a company until it is stopped: the page's process, which listens to the broker itself."""

import asyncio
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from collector.archive_target import secrets_beside
from collector.calls_following import NAME
from collector.fleet_address import company_at
from collector.page import PageProcess
from drivers.base import InputError
from drivers.share_topics import checked_name


def program() -> tuple[str, ...]:
    """The page's program; -P: a folder of that name where it is started must not be taken for it."""
    return (sys.executable, "-P", "-m", "dashboard.calls_process")


def show_calls(
    url: str, *, secret: str | None, port: int, seconds: float | None, on_address: Callable[[str], None]
) -> None:
    """Serve the page for so long [s], or until Ctrl+C. LightoffError where the address names no company."""
    broker, company = company_at(url, NAME)
    if company is None:
        raise InputError(f"'{url}' names no company", "say whose calls, mqtts://name@host/COMPANY")
    settings = {
        "host": broker.host,
        "broker_port": broker.port,
        "tls": broker.tls,
        "user": broker.user,
        "secret": secrets_beside(Path())(secret) if secret else None,
        "company": checked_name("company", company),
        "port": port,
    }
    page = PageProcess(program(), settings, on_address=on_address)

    async def run() -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await page.run()

    with suppress(KeyboardInterrupt):
        asyncio.run(run())
