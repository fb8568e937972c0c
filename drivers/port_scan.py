"""Looks for serial ports and listens to each for a moment; nothing is ever sent to a port that is not known."""

import asyncio
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from time import monotonic
from typing import Any

from drivers.base import BusyError, DriverError, NotPermittedError
from drivers.endings import thread_ended
from drivers.found import Found
from drivers.port import Ear, plugs
from drivers.port_names import BY_SERIAL_NUMBER, Lister, Plug

LISTEN = 2.0
"""Longest time to listen to a port. [s]"""
GRACE = 1.0
"""Longer time to wait for the system to open a port and close it again. [s]"""
ENOUGH = 600
"""Bytes after which a sample is long enough. [1]"""
SHOWN = 60
"""Of a line so much is shown. [1]"""

Tell = Callable[[Found], None]


async def scan(seconds: float, tell: Tell, *, lister: Lister = plugs, opener: Callable[..., Any] | None = None) -> None:
    """Tell each port at once, and again when it was listened to for at most so long. [s]

    `heard` in the facts is a line that came whole, for whoever knows profiles to try.
    """
    there = list(lister())
    found = [(plug, _found(plug, there)) for plug in there]
    for _, one in found:
        tell(one)
    loop, stop = asyncio.get_running_loop(), threading.Event()
    heard: asyncio.Queue[Found] = asyncio.Queue()

    def listen(plug: Plug, one: Found, last_act: asyncio.Event) -> None:
        result = _listened(plug, one, min(seconds, LISTEN), stop, opener)
        with suppress(RuntimeError):  # the loop is closed: nobody waits
            loop.call_soon_threadsafe(heard.put_nowait, result)
            loop.call_soon_threadsafe(last_act.set)

    threads: list[tuple[threading.Thread, asyncio.Event]] = []
    for pair in found:
        last_act = asyncio.Event()
        title = f"listening to {pair[0].device}"
        thread = threading.Thread(target=listen, args=(*pair, last_act), name=title, daemon=True)
        threads.append((thread, last_act))
        thread.start()
    waiting = {one.key: one for _, one in found}
    try:
        with suppress(TimeoutError):
            async with asyncio.timeout(min(seconds, LISTEN) + GRACE):
                while waiting:
                    result = await heard.get()
                    del waiting[result.key]
                    tell(result)
    finally:
        stop.set()
        await asyncio.gather(*(thread_ended(thread, last_act, within=GRACE / 2) for thread, last_act in threads))
    for one in waiting.values():
        tell(replace(one, note="the system does not come back from opening it: plug it in anew"))


def _found(plug: Plug, among: list[Plug]) -> Found:
    alone = sum(plug.serial_number == other.serial_number for other in among) == 1
    facts = {"port": plug.device}
    if plug.serial_number:
        facts["serial number"] = plug.serial_number
    return Found(
        driver="serial",
        address=f"{BY_SERIAL_NUMBER}{plug.serial_number}" if plug.serial_number and alone else plug.device,
        name=plug.description,
        note="" if plug.serial_number else _goes_by_name(plug),
        facts=facts,
    )


def _goes_by_name(plug: Plug) -> str:
    if plug.vendor is None:
        return "a port of this machine itself"
    return "its adapter has no serial number: another one of the same model in the same socket passes for it"


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
