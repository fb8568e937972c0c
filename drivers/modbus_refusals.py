"""What a unit says when it refuses a question, in words.

Source: MODBUS Application Protocol Specification V1.1b3, section 7, table of exception codes.
"""

from typing import NamedTuple

from drivers.base import DriverError, NotFoundError, SettingsError, SilentError
from drivers.codecs.registers import Batch

GATEWAY = frozenset({0x0A, 0x0B})
"""Codes with which a gateway answers in place of a unit."""

WRONG_RANGE = frozenset({0x02, 0x03})
"""Codes for a question that goes over registers that are not there, or asks for too many."""


class Refusal(NamedTuple):
    """An exception code; whether it is permanent is in the kind of error."""

    kind: type[DriverError]
    what: str
    hint: str


REFUSALS = {
    0x01: Refusal(
        SettingsError,
        "does not know such a question (illegal function)",
        "correct the profile's 'table' by the instrument's sheet",
    ),
    0x02: Refusal(
        SettingsError,
        "does not have all of these (illegal data address)",
        "correct 'register' (many sheets count from 1 or 40001, a profile from 0)",
    ),
    0x03: Refusal(
        SettingsError,
        "does not give so many at once (illegal data value)",
        "record fewer of its values",
    ),
    0x04: Refusal(SilentError, "failed at it (server device failure)", "switch the instrument off and on"),
    0x05: Refusal(SilentError, "needs longer for it (acknowledge)", "make 'every' longer if this does not end"),
    0x06: Refusal(SilentError, "is busy (server device busy)", "make 'every' longer if this does not end"),
    0x08: Refusal(
        SilentError,
        "found its memory damaged (memory parity error)",
        "switch the instrument off and on; if it stays so, have it repaired",
    ),
    0x0A: Refusal(
        NotFoundError,
        "the gateway has no way to it (gateway path unavailable)",
        "check the gateway's settings, and how much else is asked through it",
    ),
    0x0B: Refusal(
        SilentError,
        "did not answer the gateway (gateway target device failed to respond)",
        "check that it is on, its unit number, and its wires A and B",
    ),
}
"""By code; any other is the instrument's own and may pass."""


def refusal_error(instrument: str, unit: int, batch: Batch, code: int, *, answered_before: bool = False) -> DriverError:
    """The program's own error for an exception code; permanent where asking the same again cannot help.

    What was answered before is no wrong question: a unit that starts anew may refuse for a while.
    """
    other = Refusal(SilentError, f"refused with code {code}", "look the code up in the instrument's sheet")
    kind, what, hint = REFUSALS.get(code, other)
    if answered_before and not kind.retry:
        what = f"{what}, though it answered this before"
        kind, hint = SilentError, "check whether it was switched off and on, set anew, or exchanged for another"
    return kind(instrument, f"unit {unit} was asked for {batch.words} and {what}", hint)
