"""A simulated plant that runs as an instrument: what is wrong with it is set by hand, and no recording says so."""

from collections.abc import Mapping, Sequence
from typing import Protocol, runtime_checkable

from drivers.base import InputError
from drivers.simulate.causes import Cause


@runtime_checkable
class Practice(Protocol):
    """The driver of a simulated plant."""

    @property
    def words(self) -> Mapping[str, str]:
        """Every cause that it can be given, and what that is in the trade's words."""
        ...

    @property
    def set_now(self) -> Sequence[Cause]:
        """What is wrong with it now."""
        ...

    def inject(self, cause: str, severity: float) -> None:
        """Let something be wrong from now on; InputError when there is no such cause or severity."""
        ...

    def repair(self, cause: str) -> None:
        """Let it be in order from now on."""
        ...


def state(practice: Practice) -> dict[str, object]:
    """What is wrong now, for the page."""
    return {"set": [{"cause": cause.cause, "severity": round(cause.severity, 3)} for cause in practice.set_now]}


def inject(practice: Practice, cause: str, severity: float) -> str:
    """Let something be wrong; the answer does not name it, for somebody may look on who is to find it."""
    _known(practice, cause)
    practice.inject(cause, severity)
    return "done: the simulated unit has it from now on; the recording does not say so"


def repair(practice: Practice, cause: str) -> str:
    """Put something in order; the answer is the same whether anything was wrong with it or not."""
    _known(practice, cause)
    if any(one.cause == cause for one in practice.set_now):
        practice.repair(cause)
    return f"{practice.words[cause]}: in order from now on, whatever it was before"


def _known(practice: Practice, cause: str) -> None:
    if cause not in practice.words:
        raise InputError(f"'{cause[:40]}' is nothing that can be wrong here", "choose one of the list")
