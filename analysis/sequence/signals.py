"""What the control and the unit do, each as something that is on or off, and which points tell of it."""

from collections.abc import Mapping
from dataclasses import dataclass

CALL, INDUCER, SWITCH, IGNITER, GAS, FLAME, BLOWER, LIMIT, ROLLOUT, HEAT, HIGH = range(11)
"""Signals: heat is called; the inducer turns; the pressure switch, the limit and the roll-out switch are closed; the
igniter draws current; gas flows; a flame burns; the blower turns; the supply air is being heated; the high stage."""
SIGNALS = 11


@dataclass(frozen=True, slots=True)
class Telling:
    """How a point tells of a signal."""

    signal: int
    on: float
    """Weight of evidence while the point shows it on. [1/s]"""
    off: float
    """Weight of evidence while it shows it off. [1/s]"""
    least: float = 0.0
    """What one thing that it says counts at least, however short. [log 1]"""
    floor: float = 0.5
    """Smallest change that can be more than disturbance of that kind of measurement. [inside unit of the point]"""
    share: float = 0.12
    """Part of the channel's own span from rest to full from which it counts as on. [1]"""
    contact: bool = False
    """Whether it is a contact: 0 or 1."""
    inverse: bool = False
    """Whether it shows the signal off while it is high."""
    rising: bool = False
    """Whether it is only ever above its rest, so that what is below rest is rest."""
    fades: bool = False
    """Whether it runs down slowly when what it tells of goes off."""
    quick: bool = True
    """Whether its edges lie where the signal's do; slow ones come later by a time that is not known."""


def _contact(signal: int, on: float = 6.0, off: float = 6.0) -> Telling:
    return Telling(signal, on, off, 12.0, contact=True)


def _draft(floor: float, off: float = 4.0) -> Telling:
    """Gusts go so far at a tap; the inducer goes much farther."""
    return Telling(INDUCER, 4.0, off, 18.0, floor=floor, fades=True)


TELLING: Mapping[str, Telling] = {
    "call_heat": Telling(CALL, 2.0, 2.0, 4.0, contact=True),
    "switch_closed": _contact(SWITCH),
    "limit_closed": _contact(LIMIT, 3.0, 4.0),
    "rollout_closed": _contact(ROLLOUT, 6.0, 4.0),
    "gas_valve": _contact(GAS),
    "blower_on": _contact(BLOWER, 2.0, 2.0),
    "draft_burner_box": _draft(4.0),
    "draft_transition": _draft(10.0),
    "draft_collector": _draft(10.0),
    "draft_vent": _draft(4.0),
    "draft_switch": _draft(10.0, 1.0),
    "draft_switch_high": _draft(10.0, 1.0),
    "amps_inducer": Telling(INDUCER, 4.0, 4.0, 18.0, floor=0.15, share=0.2, rising=True),
    "speed_inducer": Telling(INDUCER, 4.0, 4.0, 18.0, floor=100.0, rising=True, fades=True),
    "volts_switch": Telling(SWITCH, 1.0, 3.0, floor=6.0, share=0.4, inverse=True, rising=True),
    "amps_igniter": Telling(IGNITER, 8.0, 4.0, 8.0, floor=0.3, share=0.3, rising=True),
    "gas_manifold": Telling(GAS, 5.0, 3.0, 8.0, floor=60.0, share=0.2, rising=True),
    "flame_current": Telling(FLAME, 6.0, 2.5, 6.0, floor=0.25e-6, share=0.15, rising=True),
    "amps_blower": Telling(BLOWER, 1.5, 1.0, floor=0.2, share=0.2, rising=True),
    "static_supply": Telling(BLOWER, 1.0, 0.5, floor=7.0, share=0.3),
    "static_return": Telling(BLOWER, 1.0, 0.5, floor=7.0, share=0.3),
    "temp_supply": Telling(HEAT, 0.6, 0.15, floor=1.5, quick=False),
    "temp_supply_2": Telling(HEAT, 0.6, 0.15, floor=1.5, quick=False),
    "temp_flue": Telling(HEAT, 0.4, 0.1, floor=2.5, quick=False),
}
"""The points that tell of a signal; weights are our choice, floors lie above the noise of common meters."""

STAGE_CONTACTS: Mapping[str, tuple[float, float]] = {"switch_high_closed": (2.0, 2.0), "call_heat_2": (0.3, 0.6)}
"""Contacts that tell the high stage: weight while closed, while open. [1/s]"""
STAGE_LEVELS: Mapping[str, tuple[float, float]] = {
    "gas_manifold": (3.0, 1.4),
    "speed_inducer": (0.6, 1.15),
    "draft_switch": (0.5, 1.5),
    "draft_collector": (0.5, 1.5),
    "draft_vent": (0.3, 1.5),
    "draft_transition": (0.3, 1.5),
}
"""Levels that tell the high stage: weight [1/s], and how many times the low stage's level the high one has at least."""
