"""What a measure is: a name, a number that knows how sure it is, and the span that it was taken from."""

from dataclasses import dataclass

from analysis.quantity import Quantity


@dataclass(frozen=True, slots=True)
class Measured:
    """One figure of the trade, taken from a recording."""

    name: str
    """As in `analysis.measures.names.NAMES`: point or derived quantity, statistic, and where it has one the state."""
    quantity: Quantity
    start: float
    """First instant that it rests on, UTC since 1970; start and end of a smallest value are its moment. [s]"""
    end: float
    """Last instant that it rests on. [s]"""
    attempt: int | None
    """Number of the attempt; None for the recording as a whole."""
    channels: tuple[str, ...] = ()
    """Keys of the channels that it was read from; empty where it comes from the phases alone."""
