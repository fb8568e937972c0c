"""Which times the channels that are there can show; a phase that was filled in by what is usual is not measured."""

from collections.abc import Mapping

from analysis.measures.measured import Measured
from analysis.measures.sources import Bench

_PROVED = ("switch_closed", "draft_switch", "volts_switch")
_TAPS = ("draft_collector", "draft_transition", "draft_burner_box", "draft_vent", "draft_switch")
_INDUCER = ("amps_inducer", "speed_inducer", "switch_closed", *_TAPS)
_IGNITER = ("amps_igniter",)
_GAS = ("gas_valve", "gas_manifold")
_FLAME = ("flame_current",)
BLOWER = ("blower_on", "amps_blower")
"""Where a blower shows that the furnace itself started."""
_AIR = (*BLOWER, "static_supply", "static_return")

_PHASES: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "prepurge": (_PROVED, _IGNITER),
    "igniter_warmup": (_IGNITER, _GAS),
    "ignition_trial": (_GAS, _FLAME),
    "blower_on_delay": (_FLAME, _AIR),
    "post_purge": ((*_GAS, *_FLAME), _INDUCER),
    "blower_off_delay": (_INDUCER, _AIR),
}
NEEDS: Mapping[str, tuple[tuple[str, ...], ...]] = {
    **{f"phase.{kind}.{phase}": ends for phase, ends in _PHASES.items() for kind in ("duration", "over_timing")},
    "ignition.time_to_prove": (_GAS, _FLAME),
    "switch_closed.time_to_close": (("amps_inducer", "speed_inducer", "call_heat", *_TAPS), _PROVED),
}
"""By name of the measure what shows its two ends: of each group one point at least."""
BEFORE = 5.0
"""So long before a flame it is looked at whether the blower runs already; our choice. [s]"""
HOLDS = 60.0
"""A reading of the blower stands no longer than this; our choice. [s]"""


def is_shown(one: Measured, seen: Bench) -> bool:
    """Whether both ends of a time are shown by a channel; true of all that is no such time."""
    if not all(any(seen.at(point) for point in group) for group in NEEDS.get(one.name, ())):
        return False
    return not (one.name.endswith(".blower_on_delay") and _blew(seen, one.start - BEFORE))


def _blew(seen: Bench, time: float) -> bool:
    """Whether a blower ran at that time [s], for whatever reason: it does not show then when it would have started."""
    for point in BLOWER:
        for source in seen.at(point):
            place = int(source.time.searchsorted(time, "right")) - 1
            if place >= 0 and time - source.time[place] <= HOLDS and source.value[place] > 0.5:
                return True
    return False
