"""Pressure switch of one furnace in time: its hoses, water in them, its diaphragm and its contact."""

from dataclasses import dataclass

from drivers.simulate.maths import Maths, Number

_STICKING = 20.0
"""Pressure that moves long water in a hose: twice 0.072 N/m over a bore's radius of 2.5 mm, cosines of the advancing
and the receding angle 0.35 apart (invented). [Pa]"""
_APART = 1e-6
"""Least relative difference of the two rates; where they are equal their formula is 0/0."""


@dataclass(frozen=True, slots=True)
class SwitchUnit:
    """Switch of an invented unit; set-points of a low stage."""

    closing: Number = 105.0
    """Pressure at which it closes. [Pa]"""
    opening: Number = 85.0
    """Pressure at which it opens again, value <= `closing`. [Pa]"""
    hose_lag: Number = 0.1
    """Time constant of the hose, value > 0. [s]"""
    diaphragm_lag: Number = 0.25
    """Time constant of the diaphragm, value > 0. [s]"""


class PressureSwitch:
    """What arrives at the switch and whether its contact is closed.

    Knobs: `hose_leak`, `reference_leak`, resistance of the hose over that of a hole in it [1] (0); `plug`, share by
    which the port has stopped following [1] (0; 1 is shut); `slug`, water in the suction hose, value >= 0 [Pa] (0);
    `stuck_closed`, share of its opening point that is gone [1] (0; 1 never opens); `contact_open`, 0 or 1, which
    prevails; `closing_shift` of both set-points [Pa] (0).
    Outputs: `pressure` at the switch's ports, positive where it acts to close it [Pa]; `closed`, 0 or 1.
    """

    __slots__ = (
        "_diaphragm", "_held", "_made", "closed", "closing_shift", "contact_open", "hose_leak", "maths", "plug",
        "pressure", "reference_leak", "slug", "stuck_closed", "unit",
    )  # fmt: skip

    def __init__(self, m: Maths, unit: SwitchUnit) -> None:
        self.maths, self.unit = m, unit
        self.hose_leak: Number = 0.0
        self.reference_leak: Number = 0.0
        self.plug: Number = 0.0
        self.slug: Number = 0.0
        self.contact_open: Number = 0.0
        self.stuck_closed: Number = 0.0
        self.closing_shift: Number = 0.0
        self.pressure: Number = 0.0
        self.closed: Number = 0.0
        self._held: Number = 0.0
        self._diaphragm: Number = 0.0
        self._made: Number = 0.0

    def step(self, dt: float, *, low_side: Number, reference: Number) -> None:
        """Advance by dt > 0 [s] with standing pressures.

        low_side, reference : at the taps of the suction hose and of the other one, 0 for the room. [Pa]

        Method: a leak leaves p / (1 + leak) of a pressure; water takes its own off, sticks and jumps; hose and
            diaphragm follow as two lags in series, exactly.
        Source: divider of two resistances, hydrostatics; lags and hysteresis: common practice, no published source.
        """
        m, unit, slug = self.maths, self.unit, self.slug
        where, exp = m.where, m.exp
        acting = reference / (1.0 + self.reference_leak) - low_side / (1.0 + self.hose_leak) - slug
        held = self._held
        self._held = held = where(abs(acting - held) > _STICKING * slug / (slug + _STICKING), acting, held)

        hose_rate, rate = (1.0 - self.plug) / unit.hose_lag, 1.0 / unit.diaphragm_lag
        apart = rate - hose_rate
        apart = where(abs(apart) > _APART * rate, apart, _APART * rate)
        hose_left, left = exp(-hose_rate * dt), exp(-(hose_rate + apart) * dt)
        off = self.pressure - held
        self.pressure = held + off * hose_left
        diaphragm = held + (self._diaphragm - held) * left + off * (rate / apart) * (hose_left - left)
        self._diaphragm = diaphragm

        stuck = self.stuck_closed
        point = where(self._made > 0.0, unit.opening * (1.0 - stuck), unit.closing) + self.closing_shift
        self._made = made = where(diaphragm > point, 1.0, 0.0)
        made = where(stuck >= 1.0, 1.0, made)
        self.closed = where(self.contact_open > 0.0, 0.0, made)
