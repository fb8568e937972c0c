"""Signs of how an attempt ended: whether each was seen, and how likely it is by outcome.

The probabilities are our choice; they are the same for every unit.
"""

from collections.abc import Mapping

from analysis.sequence.signals import BLOWER, CALL, FLAME, GAS, INDUCER, LIMIT, ROLLOUT, SWITCH
from analysis.sequence.witness import Ending, Witness

GONE = 17.0
"""Control voltage below which relays let go; common practice, no published source. [V]"""
SOON = 9.0
"""A wait for the pressure switch that ends sooner was not the control's limit. [s]"""

TOLD_LATE = 6.0
"""Contacts are told again so often, so that what followed a call may be told so much later. [s]"""
SHORTLY = 40.0
"""A start so soon after is another try rather than another call, where no call is measured. [s]"""
LONG = 64.0
"""A wait for the pressure switch that lasts longer was over before; common practice, no published source. [s]"""

Sign = tuple[bool, Mapping[str, float], float, str]
"""Whether it was seen, how likely it is by outcome, for all others, and its words."""


def signs(ending: Ending, witness: Witness) -> list[Sign]:
    """Every sign that somebody can know."""
    parts = (_call, _switch, _limit, _fire, _supply, _trial, _again, _inducer)
    return [sign for part in parts for sign in part(ending, witness)]


def _call(ending: Ending, witness: Witness) -> list[Sign]:
    at = ending.time
    if not (witness.knows(CALL, at - 4.0) or witness.knows(CALL, at + 1.5)):
        return []
    dropped = witness.edge(CALL, at - TOLD_LATE, at + 1.5, on=False) is not None
    return [(dropped, {"heat": 0.995, "call_ended": 0.995, "unknown": 0.1}, 0.01, "the call ended")]


def _switch(ending: Ending, witness: Witness) -> list[Sign]:
    at = ending.time
    if ending.phase == "inducer_start":
        closed = witness.edge(SWITCH, ending.spun + 0.3, at + 1.0, on=True) if witness.knows(SWITCH, at - 4.0) else None
        opened = closed is not None and witness.edge(SWITCH, closed, closed + 6.0, on=False) is not None
        text = "the pressure switch closed and opened again"
        return [(opened, {"draft_lost": 0.95}, 0.004, text)] if witness.knows(SWITCH, at - 4.0) else []
    if witness.knows(SWITCH, at - 4.0):
        gas = witness.edge(GAS, at - 3.0, at + 2.0, on=False)
        opened = witness.edge(SWITCH, at - 3.5, (at if gas is None else gas) + 0.6, on=False) is not None
        return [(opened, {"draft_lost": 0.97, "unknown": 0.1}, 0.02, "the pressure switch opened")]
    opening, pressure = witness.opening(), witness.level("draft_switch", at - 1.0, at + 0.2)
    if opening is None or pressure is None:
        return []
    low = abs(pressure) < 1.08 * opening
    return [(low, {"draft_lost": 0.85}, 0.06, "the pressure at the switch was down to its opening point")]


def _limit(ending: Ending, witness: Witness) -> list[Sign]:
    at = ending.time
    if witness.knows(LIMIT, at - 4.0):
        opened = witness.edge(LIMIT, at - 3.5, at + 1.0, on=False) is not None
        return [(opened, {"limit_open": 0.97}, 0.001, "the limit opened")]
    if ending.following == "limit_cooldown":
        return [(True, {"limit_open": 0.9}, 0.05, "inducer and blower ran on as they cool an open limit")]
    return []


def _fire(ending: Ending, witness: Witness) -> list[Sign]:
    at = ending.time
    gas = witness.edge(GAS, at - 3.0, at + 2.0, on=False)
    flame = witness.edge(FLAME, at - 4.0, at + 3.0, on=False)
    valve = witness.edge(GAS, at - 3.0, at + 2.0, on=False, point="gas_valve")
    if gas is None or flame is None:
        return []
    # pressure at the burners falls late; where both are near together nobody can tell which was first
    first = flame < (gas - 1.0 if valve is None else min(valve, gas + 0.5) - 0.45)
    if not first and (valve is None or flame <= valve + 0.1):
        return []
    likely = {"flame_lost": 0.65, "draft_lost": 0.1, "limit_open": 0.1, "heat": 0.08, "call_ended": 0.05}
    return [(first, likely, 0.03, "the flame went before the gas")]


def _supply(ending: Ending, witness: Witness) -> list[Sign]:
    at = ending.time
    if ending.phase not in ("run_low", "run_high", "blower_on_delay", "ignition_trial"):
        return []
    volts = witness.level("volts_control", at - 0.5, at + 1.5)
    levels = [witness.level(point, at - 1.0, at + 1.5) for point in ("door_closed", "float_closed")]
    lost = (volts is not None and volts < GONE) or any(level is not None and level < 0.5 for level in levels)
    return [(lost, {"gas_off_unexplained": 0.6, "unknown": 0.6}, 0.002, "the control's supply was gone")]


def _trial(ending: Ending, witness: Witness) -> list[Sign]:
    at = ending.time
    if ending.phase == "inducer_start":
        waited = at - ending.since
        found: list[Sign] = [(waited < SOON, {"draft_not_proved": 0.05}, 0.6, "it was given up early")]
        if ending.low or any(witness.knows(signal, at - 4.0) for signal in (SWITCH, GAS, FLAME)):
            found.append((waited > LONG, {"draft_not_proved": 0.3}, 0.03, "it waited longer than controls wait"))
        return found
    gas = witness.edge(GAS, at - 3.0, at + 2.0, on=False)
    if ending.phase != "ignition_trial" or not ending.trial or gas is None:
        return []
    others = dict.fromkeys(("flame_lost", "draft_lost", "call_ended", "gas_off_unexplained"), 0.9)
    lasted = at - ending.since
    over = lasted > ending.trial + 1.2
    return [
        (lasted < 0.6 * ending.trial, others, 0.03, "the gas went off before the trial was over"),
        (over, {"no_ignition": 0.02}, 0.4, "the gas stayed on for longer than a trial"),
    ]


def _again(ending: Ending, witness: Witness) -> list[Sign]:
    told = witness.knows(CALL, ending.time)
    if told and witness.edge(CALL, ending.time - TOLD_LATE, ending.time + 1.5, on=False) is not None:
        return []  # another call, and no other try of this one
    retried = ending.again or (told and "lockout" in (ending.then, ending.following))
    new = 0.06 if told else 0.3  # a call that comes back at once looks like another try
    likely = {
        "heat": min(new, 0.1),
        "call_ended": new,
        "limit_open": 0.6,
        "draft_lost": 0.65,
        "gas_off_unexplained": 0.4,
    }
    found: list[Sign] = [(retried, likely, 0.88 if ending.fresh else 0.75, "it was tried again")]
    if not retried and not told:
        found.append((ending.rest < SHORTLY, {"heat": 0.12, "call_ended": 0.3}, 0.4, "it started again shortly after"))
    return found


def _inducer(ending: Ending, witness: Witness) -> list[Sign]:
    at = ending.time
    if not witness.knows(INDUCER, at - 2.0):
        return []
    if ending.phase == "inducer_start":
        turned = witness.is_on(INDUCER, max(at - 1.0, ending.spun + 0.5 * (at - ending.spun)))
        return [] if turned is None else [(not turned, {"no_start": 0.95}, 0.02, "the inducer did not run")]
    cut = witness.is_on(INDUCER, at + 2.0) is False and witness.is_on(SWITCH, at + 4.0) is not True
    likely = {"gas_off_unexplained": 0.85, "unknown": 0.8, "call_ended": 0.04, "draft_lost": 0.08}
    return [(cut, likely, 0.006, "the inducer stopped at once")]


def blower_missing(ending: Ending, witness: Witness, expected: float) -> bool:
    """Whether a flame burned well past the blower's delay with no blower."""
    if not ending.lit < ending.time - expected - 15.0:
        return False
    return (
        witness.is_on(BLOWER, ending.lit + expected + 10.0) is False
        and witness.is_on(BLOWER, ending.time - 2.0) is False
    )


def rollout_opened(ending: Ending, witness: Witness) -> bool:
    """Whether the roll-out switch opened then, or was open before."""
    return (
        ending.following == "rollout"
        or witness.edge(ROLLOUT, ending.time - 3.5, ending.time + 1.0, on=False) is not None
    )
