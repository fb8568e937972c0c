"""The search for instruments: every transport side by side, what each finds, and why one cannot look."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import replace

from drivers.base import InputError, LightoffError
from drivers.found import Found, Measured
from drivers.registry import KINDS, Kind, Tell

MOST = 300
"""Instruments kept of one search; see `Search`. [1]"""
GRACE = 5.0
"""How much longer than asked a transport may take to look. [s]"""
REST = 1.0
"""Least time from one look of a transport to its next. [s]"""
NEVER = "it cannot be looked for; give its address in the job file"

Look = Callable[[float, Tell], Awaitable[None]]
Key = tuple[str, str, int | None, str]

log = logging.getLogger(__name__)


class Search:
    """Looks with every transport at once; one that fails is told in `troubles` and stops no other.

    At most `most` [1] instruments are kept: a further one takes the place of that without a profile which was silent
    longest; where all have one, it has no place without a profile of its own. `on_found` is called with each as it is
    told.
    `ask` are addresses at which a transport is asked instead of looking everywhere, by its name; InputError where it
    cannot be asked.
    """

    def __init__(
        self,
        kinds: Mapping[str, Kind] = KINDS,
        *,
        ask: Mapping[str, str] | None = None,
        on_found: Tell | None = None,
        most: int = MOST,
    ) -> None:
        self.found: dict[Key, Found] = {}
        """By `Found.key`, each as far as it is known, the newest values; the one told last stands last."""
        self.troubles: dict[str, str] = {}
        """A sentence by the name of the transport that could not look, or not to the end."""
        self.dropped = 0
        """How often there was no room for one. [1]"""
        self.changes = 0
        """Goes up with everything that is told. [1]"""
        self._on_found = on_found
        self._most = most
        self._looks: dict[str, Look] = {name: kind.scan for name, kind in kinds.items() if kind.scan}
        for name, address in (ask or {}).items():
            self._looks[name] = _asking(name, kinds.get(name), address)
        self.transports = tuple(self._looks)
        """Names of those that look."""

    async def run(self, seconds: float) -> None:
        """Look once, for so long [s]; each transport ends by then or a little later."""
        async with asyncio.TaskGroup() as group:
            for name in self._looks:
                group.create_task(self._once(name, seconds), name=f"looking for {name} instruments")

    async def watch(self, seconds: float) -> None:
        """Look again and again, for so long [s] each time, until cancelled."""
        async with asyncio.TaskGroup() as group:
            for name in self._looks:
                group.create_task(self._ever(name, seconds), name=f"watching for {name} instruments")

    async def _ever(self, name: str, seconds: float) -> None:
        clock = asyncio.get_running_loop().time
        while True:
            began = clock()
            await self._once(name, seconds)
            await asyncio.sleep(max(0.0, began + REST - clock()))

    async def _once(self, name: str, seconds: float) -> None:
        try:
            async with asyncio.timeout(seconds + GRACE):
                await self._looks[name](seconds, self._tell)
        except LightoffError as error:
            trouble = str(error)
        except TimeoutError:
            trouble = f"{name}: the search did not end within {seconds + GRACE:g} s; unplug its adapter and plug it in"
        except Exception as error:  # a defect of one transport, which the others must not suffer from
            log.exception("the search for %s instruments failed", name)
            trouble = f"{name}: the search failed by a defect of the program ({type(error).__name__}); report it"
        else:
            self.troubles.pop(name, None)
            return
        if self.troubles.get(name) != trouble:
            self.changes += 1
        self.troubles[name] = trouble

    def _tell(self, found: Found) -> None:
        before = self.found.pop(found.key, None)
        if before is None and len(self.found) >= self._most:
            self.dropped += 1
            unknown = next((key for key, one in self.found.items() if not one.profile), None)
            if unknown is None and not found.profile:
                return
            del self.found[unknown or next(iter(self.found))]
        known = found if before is None else _together(before, found)
        self.found[found.key] = known
        self.changes += 1
        if self._on_found:
            self._on_found(known)


def _asking(name: str, kind: Kind | None, address: str) -> Look:
    """The look that asks at an address."""
    if kind is None or kind.probe is None:
        raise InputError(f"{name} instruments cannot be asked in this version", "leave that option out")
    probe = kind.probe

    async def look(seconds: float, tell: Tell) -> None:
        await probe(address, seconds, tell)

    return look


def _together(before: Found, now: Found) -> Found:
    """What is known now; what it does not say any more stays as it was."""
    values = {one.name: one for one in before.measures}
    for one in now.measures:
        last = values.get(one.name)
        kept = last.value if last and one.value is None and last.unit == one.unit else one.value
        values[one.name] = Measured(name=one.name, unit=one.unit, value=kept)
    return replace(
        now,
        name=now.name or before.name,
        signal=before.signal if now.signal is None else now.signal,
        profile=now.profile or before.profile,
        measures=tuple(values.values()),
        facts={**before.facts, **now.facts},
    )
