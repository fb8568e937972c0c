"""Looks for serial ports and listens to each for a moment; nothing is ever sent to a port that is not known."""

import asyncio
import threading
from collections.abc import Callable
from dataclasses import replace
from time import monotonic
from typing import Any

from drivers.base import BusyError, DriverError, NotPermittedError
from drivers.found import Found
from drivers.port import Ear, plugs
from drivers.port_names import BY_SERIAL_NUMBER, Lister, Plug

LISTEN = 2.0
"""Longest time to listen to a port. [s]"""
ENOUGH = 600
"""Bytes after which a sample is long enough. [1]"""
SHOWN = 60
"""Of a line so much is shown. [1]"""

Tell = Callable[[Found], None]


async def scan(seconds: float, tell: Tell, *, lister: Lister = plugs, opener: Callable[..., Any] | None = None) -> None:
    """Tell each port at once, and again when it was listened to for at most so long [s]; in reach are those of USB.

    `heard` in the facts is a line that came whole, for whoever knows profiles to try.
    """
    found = [(plug, _found(plug, plugs_now)) for plugs_now in [list(lister())] for plug in plugs_now if plug.vendor]
    for _, one in found:
        tell(one)
    stop = threading.Event()
    listening = [asyncio.to_thread(_listened, plug, one, min(seconds, LISTEN), stop, opener) for plug, one in found]
    try:
        for done in asyncio.as_completed(listening):
            tell(await done)
    finally:
        stop.set()


def _found(plug: Plug, among: list[Plug]) -> Found:
    alone = sum(plug.serial_number == other.serial_number for other in among) == 1
    facts = {"port": plug.device}
    if plug.serial_number:
        facts["serial number"] = plug.serial_number
    named = plug.serial_number and alone
    return Found(
        driver="serial",
        address=f"{BY_SERIAL_NUMBER}{plug.serial_number}" if named else plug.device,
        name=plug.description,
        note="" if named else "its adapter has no serial number of its own: it is known by its port and socket alone",
        facts=facts,
    )


def _listened(
    plug: Plug, found: Found, seconds: float, stop: threading.Event, opener: Callable[..., Any] | None
) -> Found:
    """In a thread: what came while nothing was sent."""
    until = monotonic() + seconds
    data = b""
    try:
        with Ear(plug.device, opener=opener) if opener else Ear(plug.device) as ear:
            while not stop.is_set() and len(data) < ENOUGH and monotonic() < until:
                data += ear.hear()
    except (BusyError, NotPermittedError) as error:
        return replace(found, note=str(error).removeprefix(f"{plug.device}: "))
    except DriverError as error:
        return replace(found, note=f"could not be listened to: {str(error).removeprefix(f'{plug.device}: ')}")
    return replace(found, **_said(data, found))


def _said(data: bytes, found: Found) -> dict[str, Any]:
    """A note and facts on what came at 9600 baud."""
    lines = [line.strip() for line in data.replace(b"\r", b"\n").split(b"\n")[1:-1] if line.strip()]
    readable = next((line for line in reversed(lines) if _is_text(line)), None)
    if readable is not None:
        text = readable.decode("ascii")
        return {"note": f"says at 9600 baud: {text[:SHOWN]}", "facts": {**found.facts, "heard": text}}
    if data:
        return {"note": "says something at 9600 baud that is no text: another baud rate, or binary"}
    return {"note": found.note or "says nothing by itself at 9600 baud: off, asked only, or another baud rate"}


def _is_text(line: bytes) -> bool:
    return all(32 <= byte < 127 or byte == 9 for byte in line)
