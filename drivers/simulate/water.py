"""Condensate of one furnace in time: collector box, trap with its seal, drain line, and the water that strays."""

from dataclasses import dataclass

from analysis.draft_network import GRAVITY
from drivers.simulate.maths import Maths, Number

_DENSITY = 1000.0
"""Water. [kg/m3]"""
_WEIGHT = _DENSITY * GRAVITY
"""Pressure of a depth of water. [Pa/m]"""
_MOST = 0.95
"""Most of the passages that water can take. [1]"""


@dataclass(frozen=True, slots=True)
class WaterUnit:
    """Condensate side of an invented unit; levels above the floor of its collector box."""

    box_area: Number = 4.0e-3
    """Area of the water in the collector box. [m2]"""
    leg_area: Number = 1.1e-3
    """The same in the leg between the box and the trap. [m2]"""
    drain_area: Number = 1.0e-3
    """The same behind the trap, up the drain line. [m2]"""
    weir: Number = 0.075
    """Depth of the trap's outlet below the floor. [m]"""
    seal: Number = 0.10
    """Depth of the trap's water below its outlet; more suction than this draws air through it. [m]"""
    trap: Number = 0.1
    """Flow through the trap for each metre of level difference. [kg/s/m]"""
    drain: Number = 0.1
    """Flow down a free drain for each metre of level above the outlet. [kg/s/m]"""
    seep: Number = 1.5e-3
    """The same where the drain is blocked: what still finds its way. [kg/s/m]"""
    brim: Number = 0.12
    """Level at which water runs out through the inducer. [m]"""
    tubes: Number = 2.5e-3
    """Level of the lowest passages of the secondary exchanger. [m]"""
    bank: Number = 0.075
    """Height over which they are spread. [m]"""
    port: Number = 0.012
    """Level of the hose port. [m]"""
    slug_share: Number = 1.5
    """Water that enters the hose, over the depth of its port. [1]"""
    slug_most: Number = 150.0
    """Most water that the hose holds. [Pa]"""
    slug_fill: Number = 8.0
    """Time constant with which the hose takes water, value > 0. [s]"""
    slug_drain: Number = 35.0
    """The same with which it lets it go. [s]"""
    slosh: Number = 40.0
    """Amplitude of the slugging noise at rated flow over a flooded floor. [Pa]"""
    slosh_level: Number = 0.02
    """Level from which the noise grows no more. [m]"""
    rated_flow: Number = 0.0114
    """Flow of gas at which `slosh` is given. [kg/s]"""
    trap_area: Number = 1.1e-4
    """Flow area of a dry trap of 12.7 mm bore: sharp-edged orifice, 0.6 of the bore, root of 2. [m2]"""


class Water:
    """Water from the secondary exchanger to the outfall; suction holds it up against the trap.

    Knobs: `drain_factor` (1 is free, 0 blocked), `trap_dry` (0; 1 is a seal lost). [1]
    State: water in box and leg, and behind the trap; the start is a primed trap at rest.
    Outputs: `level` in the box, below its floor negative [m]; `flooding`, share of the secondary's passages under water
    [1]; `port_head`, water over the hose port, and `slug`, water that stays in the hose [Pa]; `slosh`, amplitude of the
    slugging noise [Pa]; `drained`, mean of the step [kg/s]; `stored`, without the grams in the hose [kg]; `leak_area`
    into the collector box [m2].
    """

    __slots__ = (
        "_behind", "_draining", "_dt", "_filling", "_inside", "drain_factor", "drained", "flooding", "leak_area",
        "level", "maths", "port_head", "slosh", "slug", "stored", "trap_dry", "unit",
    )  # fmt: skip

    def __init__(self, m: Maths, unit: WaterUnit) -> None:
        self.maths, self.unit = m, unit
        self.drain_factor: Number = 1.0
        self.trap_dry: Number = 0.0
        self._inside: Number = _DENSITY * unit.leg_area * unit.seal
        self._behind: Number = _DENSITY * unit.drain_area * unit.seal
        self.level: Number = -unit.weir
        self.flooding: Number = 0.0
        self.port_head: Number = 0.0
        self.slug: Number = 0.0
        self.slosh: Number = 0.0
        self.drained: Number = 0.0
        self.stored: Number = self._inside + self._behind
        self.leak_area: Number = 0.0
        self._dt = 0.0
        self._filling: Number = 1.0
        self._draining: Number = 1.0

    def stand(self, share: Number) -> None:
        """Let water of earlier runs stand in the leg: 0 as a free drain leaves it, 1 up to the floor of the box. [1]"""
        unit = self.unit
        self._inside = _DENSITY * unit.leg_area * (unit.seal + share * unit.weir)
        self.level = unit.weir * (share - 1.0)
        self.stored = self._inside + self._behind

    def step(self, dt: float, *, condensate: Number, suction: Number, vent_flow: Number) -> None:
        """Advance by dt > 0 [s].

        condensate : from the secondary exchanger, value >= 0. [kg/s]
        suction : in the collector box, positive. [Pa]
        vent_flow : of gas through inducer and vent. [kg/s]

        Method: communicating vessels with flows that go with the level difference (invented), Heun's second order; what
            is stored changes by the flows used.
        Source: hydrostatics; the rest is common practice, no published source.
        """
        m, unit = self.maths, self.unit
        where = m.where
        if dt != self._dt:
            self._dt, self._filling, self._draining = dt, m.exp(-dt / unit.slug_fill), m.exp(-dt / unit.slug_drain)
        head = suction / _WEIGHT
        head = where(head < unit.seal, head, unit.seal)
        drain = unit.seep + (unit.drain - unit.seep) * self.drain_factor
        inside, behind = self._inside, self._behind
        passed, drained, spilt = self._flows(inside, behind, head, drain)
        later = self._flows(inside + dt * (condensate - passed - spilt), behind + dt * (passed - drained), head, drain)
        passed, drained, spilt = 0.5 * (passed + later[0]), 0.5 * (drained + later[1]), 0.5 * (spilt + later[2])
        self._inside = inside = inside + dt * (condensate - passed - spilt)
        self._behind = behind = behind + dt * (passed - drained)
        self.drained, self.stored = drained + spilt, inside + behind

        self.level = level = self._level(inside)
        share = (level - unit.tubes) / unit.bank
        share = where(share > 0.0, share, 0.0)
        self.flooding = where(share < _MOST, share, _MOST)
        depth = level - unit.port
        self.port_head = over = where(depth > 0.0, _WEIGHT * depth, 0.0)
        offered = unit.slug_share * over
        offered = where(offered < unit.slug_most, offered, unit.slug_most)
        slug = self.slug
        self.slug = offered + (slug - offered) * where(offered > slug, self._filling, self._draining)
        relative, deep = vent_flow / unit.rated_flow, level / unit.slosh_level
        deep = where(deep > 0.0, where(deep < 1.0, deep, 1.0), 0.0)
        self.slosh = unit.slosh * deep * relative * relative
        self.leak_area = unit.trap_area * self.trap_dry

    def _level(self, inside: Number) -> Number:
        """In the collector box above its floor [m], from the water in box and leg [kg]."""
        unit = self.unit
        volume, depth = inside / _DENSITY, unit.weir + unit.seal
        above = volume - unit.leg_area * depth
        return self.maths.where(above > 0.0, above / unit.box_area, volume / unit.leg_area - depth)

    def _flows(self, inside: Number, behind: Number, head: Number, drain: Number) -> tuple[Number, Number, Number]:
        """Through the trap, down the drain, over the brim [kg/s]."""
        unit, where = self.unit, self.maths.where
        level, above = self._level(inside), behind / (_DENSITY * unit.drain_area) - unit.seal
        over = level - unit.brim
        return (
            unit.trap * (level + unit.weir - head - above),
            where(above > 0.0, drain * above, 0.0),
            where(over > 0.0, unit.trap * over, 0.0),
        )
