"""What a search for instruments finds."""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A value that an instrument says it can measure."""

    name: str
    """In its profile."""
    unit: str
    value: float | None = None
    """What it showed last. [unit]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Something in reach that may be an instrument."""

    driver: str
    """`ble`, `serial`, `modbus` or `mqtt`."""
    address: str
    """As the job file takes it."""
    name: str
    """What it calls itself, or what its plug does; empty where it says nothing."""
    signal: int | None = None
    """Strength of its radio. [dBm]"""
    profile: str | None = None
    """One of the shipped profiles that fits, where one does."""
    measures: tuple[Measured, ...] = ()
    """Empty where it cannot be known without a profile."""
    device: int | None = None
    """Number of the unit on its line."""
    topic: str = ""
    note: str = ""
    """What stands in the way, or what to know: one sentence."""
    facts: Mapping[str, str] = field(default_factory=dict)
    """What else is known of it, in words."""

    @property
    def key(self) -> tuple[str, str, int | None, str]:
        """Identity within one search."""
        return self.driver, self.address, self.device, self.topic
