"""The limit: a switch that opens where the furnace gets too hot, and closes by itself when it has cooled."""

from dataclasses import dataclass

from drivers.simulate.maths import Maths, Number

_EXPONENT = 0.6


@dataclass(frozen=True, slots=True)
class LimitUnit:
    """An automatic limit beside the primary exchanger; an invented one, its figures common practice."""

    opening: Number = 93.0
    """[degC]"""
    differential: Number = 17.0
    """It closes by this much colder. [K]"""
    air_flow: Number = 0.66
    """Dry air through the exchangers at the rating, to which the following figures belong. [kg/s]"""
    lag: Number = 12.0
    """Time constant in air of that flow, without the view of hot metal. [s]"""
    still: Number = 0.12
    """Heat transfer from resting air, by that of air at `air_flow`. [1]"""
    view: Number = 0.08
    """Heat transfer from the primary exchanger's metal by radiation, the same way. [1]"""


class Limit:
    """Temperature of the limit between the air about it and the hot metal it sees, and its contact.

    In slow air the metal has more say, and the limit is slower. Source: energy balance of a small body.
    """

    __slots__ = ("_m", "closed", "limit_open", "limit_shift", "temperature", "unit")

    def __init__(self, m: Maths, unit: LimitUnit, temp: Number = 20.0) -> None:
        """At `temp` [degC] and closed."""
        self._m, self.unit = m, unit
        self.limit_shift: Number = 0.0
        """Added to its opening and closing temperature; negative where it opens too early. [K]"""
        self.limit_open: Number = 0.0
        """1 where its contact or a wire is broken."""
        self.temperature: Number = temp
        """[degC]"""
        self.closed: Number = 1.0 + 0.0 * temp
        """0 or 1."""

    def step(self, dt: float, *, stream_flow: Number, temp_stream: Number, temp_primary: Number) -> None:
        """Go on by `dt` [s] in dry air through the exchangers [kg/s], which heat it to `temp_stream` [degC]."""
        m, unit = self._m, self.unit
        moved = (m.maximum(stream_flow, 1e-6) / unit.air_flow) ** _EXPONENT
        film = m.sqrt(moved * moved + unit.still * unit.still)
        both = film + unit.view
        target = (film * temp_stream + unit.view * temp_primary) / both
        self.temperature = temp = target + (self.temperature - target) * m.exp(-dt * both / unit.lag)
        opening = unit.opening + self.limit_shift
        held = m.where(temp <= opening - unit.differential, 1.0, self.closed)
        working = m.where(self.limit_open > 0.0, 0.0, 1.0)
        self.closed = m.where(temp >= opening, 0.0, held) * working
