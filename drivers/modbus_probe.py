"""Which units answer on a Modbus line that the user named; nothing is asked on a line that nobody named.

A question of another kind may upset an instrument that does not talk Modbus, and an unknown serial port may lead to
anything; so this is no part of a search of all ports.
"""

import asyncio
from collections.abc import Callable, Iterable

from drivers.base import SilentError
from drivers.codecs.registers import Batch
from drivers.found import Found
from drivers.modbus import UNITS, place_of
from drivers.modbus_line import GarbledError, Line, RefusedError, Visit
from drivers.modbus_refusals import GATEWAY
from drivers.profile import ModbusSection

WITHIN = 0.3
"""Usual time for an answer. [s]"""
HARMLESS = Batch("holding", 0, 1)
"""Read only; a unit without that register refuses, which is an answer, too."""

STRANGERS = (83, 167, 241)
"""Numbers that hardly a line has, and never all of them: a server that answers for each does so for any. Our choice."""
READ, GARBLED = 0, -1
"""How a unit answers, beside the codes with which it refuses."""
SHEET = "what its registers mean stands in its sheet; a profile says it to the program"
FOR_ANY = f"it answers for any number, so it is one instrument, which may want a certain one; {SHEET}"
_GARBLED = "what came has a wrong checksum: two units may have this number, or the line's settings are others"

_OBJECTS = {0: "vendor", 1: "product", 2: "revision"}
"""Source: MODBUS Application Protocol Specification V1.1b3, section 6.21."""


async def probe(
    address: str,
    tell: Callable[[Found], None],
    *,
    units: Iterable[int] = UNITS,
    line: ModbusSection | None = None,
    within: float = WITHIN,
    before: Callable[[int], None] = lambda _: None,
) -> None:
    """Ask the units of a line one after another with harmless reads and tell each that answers, as soon as it does.

    `line` holds baud, parity and stop bits of a serial one; `before` is called with each number before it is asked.
    Takes up to twice `within` [s] for each silent unit. DriverError in one sentence where the line cannot be opened
    or is lost.
    """
    name = f"line {address}"
    place = place_of(name, address, line or ModbusSection())
    with Line(place).visit(name) as visit:
        await visit.open()
        usual = None if place.port else await _for_strangers(visit, within)
        first, told = 0, False
        for unit in units:
            first = first or unit
            before(unit)
            answer = await _answer(visit, unit, within)
            if answer is not None and (answer != usual or usual == READ):
                tell(await _found(visit, address, unit, answer, within, note=FOR_ANY if usual == READ else SHEET))
                told = True
            if told and usual == READ:
                return
        if usual is not None and first and not told:
            tell(await _found(visit, address, first, usual, within, note=FOR_ANY))


async def probe_for(address: str, seconds: float, tell: Callable[[Found], None], *, within: float = WITHIN) -> None:
    """Ask the units of a line for so long [s]; SilentError says how far that reached where it was not to the last."""
    asked: list[int] = []
    try:
        async with asyncio.timeout(seconds):
            await probe(address, tell, within=within, before=asked.append)
    except TimeoutError:
        reached = f"units 1 to {asked[-1]} were asked" if asked else "it did not open"
        enough = 2 * within * len(UNITS)
        raise SilentError(
            f"line {address}", f"{reached} in {seconds:g} s", f"look for longer: all of them take {enough:.0f} s"
        ) from None


async def _for_strangers(visit: Visit, within: float) -> int | None:
    """How a server answers for units that it cannot have; None where it does not, or not always alike.

    One that is itself the instrument may take no notice of the number. Source: MODBUS Messaging on TCP/IP V1.0b,
    section 4.4.2.2.
    """
    answers = set()
    for unit in STRANGERS:
        answers.add(await _answer(visit, unit, within))
        if None in answers or len(answers) > 1:
            return None
    return answers.pop()


async def _answer(visit: Visit, unit: int, within: float) -> int | None:
    """READ, GARBLED or the code with which the unit refuses; None where there is none."""
    try:
        await visit.ask(unit, HARMLESS, within)
    except RefusedError as error:
        return None if error.code in GATEWAY else error.code
    except SilentError:
        return None
    except GarbledError:
        return GARBLED
    return READ


async def _found(visit: Visit, address: str, unit: int, answer: int, within: float, *, note: str) -> Found:
    if answer == GARBLED:
        return Found(driver="modbus", address=address, name="", device=unit, note=_GARBLED)
    facts = await _identity(visit, unit, within)
    return Found(
        driver="modbus",
        address=address,
        device=unit,
        name=" ".join(facts[key] for key in ("vendor", "product") if key in facts),
        note=note,
        facts=facts,
    )


async def _identity(visit: Visit, unit: int, within: float) -> dict[str, str]:
    try:
        said = await visit.identify(unit, within)
    except (RefusedError, SilentError, GarbledError):
        return {}
    texts = {
        word: said[number].decode("ascii", "replace").strip("\0 ")
        for number, word in _OBJECTS.items()
        if number in said
    }
    return {word: text[:80] for word, text in texts.items() if text}
