"""How an attempt ended: what each way to end would show, weighed by the channels that are there.

The shares before any evidence and the probabilities of each sign are our choice; they are the same for every unit.
"""

from collections.abc import Mapping

from scipy.special import ndtr

from analysis.sequence.signals import BLOWER, FLAME, GAS, IGNITER, SWITCH
from analysis.sequence.signs import signs
from analysis.sequence.witness import Ending, Witness

SURE = 0.85
"""Probability from which an outcome is named; below it the outcome is `unknown`. [1]"""
ENDINGS: Mapping[str, Mapping[str, float]] = {
    "inducer_start": {
        "draft_not_proved": 0.65,
        "call_ended": 0.24,
        "no_start": 0.09,
        "limit_open": 0.01,
        "unknown": 0.01,
    },
    "prepurge": {"draft_lost": 0.5, "call_ended": 0.45, "limit_open": 0.03, "unknown": 0.02},
    "igniter_warmup": {"draft_lost": 0.5, "call_ended": 0.45, "limit_open": 0.03, "unknown": 0.02},
    "ignition_trial": {
        "no_ignition": 0.71,
        "limit_open": 0.01,
        "draft_lost": 0.04,
        "call_ended": 0.17,
        "flame_lost": 0.06,
        "gas_off_unexplained": 0.01,
    },
    "blower_on_delay": {
        "flame_lost": 0.4,
        "draft_lost": 0.24,
        "call_ended": 0.25,
        "limit_open": 0.08,
        "gas_off_unexplained": 0.03,
    },
    "run": {"heat": 0.73, "draft_lost": 0.09, "flame_lost": 0.08, "limit_open": 0.08, "gas_off_unexplained": 0.02},
}
"""Shares by the last phase in which the attempt went on. [1]"""
UNSEEN: Mapping[str, float] = {"inducer_start": 0.4, "prepurge": 0.15, "igniter_warmup": 0.15, "ignition_trial": 0.3}
"""Where it ended when nothing shows how far it came before a flame. [1]"""
FITS: Mapping[str, str] = {
    "heat": "it burned past the delay of the blower and stopped as at the end of a call",
    "call_ended": "it stopped as at the end of a call",
    "draft_not_proved": "the wait for the pressure switch passed and it was not seen to close",
    "draft_lost": "it stopped before there was a flame, and was not seen to be called off",
    "no_ignition": "the trial passed and no flame was seen",
    "flame_lost": "it stopped soon after the flame, and nothing else that is measured explains it",
    "limit_open": "inducer and blower ran on as they cool an open limit",
    "gas_off_unexplained": "the gas went off and nothing that is measured explains it",
    "no_start": "heat was called and no inducer was seen to run",
    "unknown": "nothing that is measured explains it",
}
"""What an outcome rests on where no sign of it was seen by itself."""
DELAYED = 1.5
"""How well a delay of the job file is kept, and seen. [s]"""
LONGEST_DELAY = 95.0
"""A flame that burned longer heated, whatever the delay of the blower. [s]"""


def before(ending: Ending, witness: "Witness") -> Mapping[str, float]:
    """Shares of the outcomes before any sign."""
    at, phase = ending.time, ending.phase
    if phase in ("blower_on_delay", "run_low", "run_high"):
        running = _ran(ending, witness)
        burned = any(witness.knows(signal, ending.lit + 1.0) for signal in (GAS, FLAME))
        unlit = 0.0 if burned else 0.4 * (1.0 - running)
        return _mixed({"run": running, "blower_on_delay": 1.0 - running - unlit, "ignition_trial": unlit})
    if phase not in ENDINGS:
        return {}
    proved, fired = witness.knows(SWITCH, at - 4.0), witness.knows(GAS, at - 4.0) or witness.knows(FLAME, at - 4.0)
    shown = {
        "inducer_start": proved or (phase == "inducer_start" and ending.low),
        "prepurge": proved,
        "igniter_warmup": witness.edge(IGNITER, ending.since - 2.0, at, on=True) is not None,
        "ignition_trial": witness.edge(GAS, ending.since - 2.0, at, on=True) is not None,
    }
    if shown[phase]:
        return ENDINGS[phase]
    if phase == "ignition_trial":
        glowed = witness.edge(IGNITER, ending.spun, at, on=True) is not None
        if glowed:
            return _mixed({"ignition_trial": 0.8, "igniter_warmup": 0.2})
        return _mixed({"ignition_trial": 0.5, "prepurge": 0.25, "inducer_start": 0.0 if proved else 0.25})
    possible = {name: share for name, share in UNSEEN.items() if not (name == "ignition_trial" and fired)}
    if proved:
        del possible["inducer_start"]
    if witness.knows(IGNITER, at - 4.0):
        possible.pop("igniter_warmup", None)
        possible.pop("ignition_trial", None)
    if fired and not proved:  # a valve or an igniter that did not come where it should have by its time
        possible["inducer_start"] = 0.5
    return _mixed(possible)


def _ran(ending: Ending, witness: Witness) -> float:
    """Probability that the delay of the blower was over: by the blower, the job file, or how long it burned. [1]"""
    burned, at = ending.time - ending.lit, ending.time
    if ending.lit == ending.spun or witness.is_on(BLOWER, ending.lit + 1.0) is False:
        came = witness.is_on(BLOWER, at - 0.5)
        ran = ending.phase != "blower_on_delay" if came is None or ending.lit == ending.spun else came
        return 0.98 if ran else 0.02
    if ending.delay:
        return float(0.96 * ndtr((burned - ending.delay) / DELAYED) + 0.02)
    return min(max((burned - 10.0) / (LONGEST_DELAY - 25.0), 0.02), 1.0)


def _mixed(phases: Mapping[str, float]) -> dict[str, float]:
    chances: dict[str, float] = {}
    for phase, share in phases.items():
        for outcome, part in ENDINGS[phase].items():
            chances[outcome] = chances.get(outcome, 0.0) + share * part
    return chances


ENDED = ("heat", "call_ended")


def decided(ending: Ending, witness: Witness) -> tuple[str, float, str]:
    """Outcome, its probability, and a sentence on what it rests on."""
    chances = dict(before(ending, witness))
    if not chances:
        return "unknown", 0.0, "no channel tells how it ended"
    reasons: list[tuple[str, str]] = []
    for sign, likely, others, text in signs(ending, witness):
        for outcome in chances:
            chances[outcome] *= likely.get(outcome, others) if sign else 1.0 - likely.get(outcome, others)
        if sign:
            reasons += [(outcome, text) for outcome in likely]
    total = sum(chances.values())
    outcome = max(chances, key=lambda name: chances[name])
    probability = chances[outcome] / total if total > 0 else 0.0
    if probability < SURE:
        names = sorted(chances, key=lambda name: -chances[name])[:2]
        return "unknown", probability, f"the channels there cannot tell {names[0]} from {names[1]}"
    told = [text for name, text in reasons if name == outcome]
    return outcome, probability, "; ".join(dict.fromkeys(told)) or FITS[outcome]
