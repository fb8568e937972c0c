"""The words for the phases and outcomes of an ignition attempt: one table for the page, the command and the report."""

import re
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class PhaseWords:
    """What a phase is called."""

    short: str
    """For a table or a strip."""
    text: str
    """For a headline: what the unit does."""
    next: str
    """What comes next when all is well; empty where nothing in particular does."""


@dataclass(frozen=True, slots=True)
class OutcomeWords:
    """What an outcome is called."""

    short: str
    """For a count: `6 draft lost`."""
    text: str
    """For a table and a headline: what happened."""
    decided: str
    """What the deciding moment was; empty where nothing was decided."""
    kind: str
    """`good`, `bad`, or `open` where it tells neither."""
    stop: str = ""
    """What has to be said above everything, empty where nothing has to."""


PHASE_WORDS: MappingProxyType[str, PhaseWords] = MappingProxyType(
    {
        "inducer_start": PhaseWords("inducer start", "inducer start: pressure switch not closed yet", "prepurge"),
        "prepurge": PhaseWords("prepurge", "prepurge: pressure switch closed, gas off", "igniter"),
        "igniter_warmup": PhaseWords("igniter", "igniter warming up", "gas valve"),
        "ignition_trial": PhaseWords("ignition trial", "ignition trial: gas on, no flame yet", "flame proved"),
        "blower_on_delay": PhaseWords("blower on delay", "flame on, blower not started yet", "blower"),
        "run_low": PhaseWords("low stage", "firing, low stage", ""),
        "run_high": PhaseWords("high stage", "firing, high stage", ""),
        "post_purge": PhaseWords("post-purge", "post-purge: gas off, inducer running", "blower off delay"),
        "blower_off_delay": PhaseWords("blower off delay", "blower off delay: gas off, blower running", "no call"),
        "interpurge": PhaseWords("purge between", "purge before another try", "another try"),
        "lockout": PhaseWords("lockout", "locked out: heat still called, no further try", ""),
        "limit_cooldown": PhaseWords("limit open", "limit open: gas off, cooling down", "the limit closes"),
        "standby": PhaseWords("standby", "no inducer: nothing has started", "a call for heat"),
    }
)
"""By name in `analysis.sequence.attempts.PHASES`."""

OUTCOME_WORDS: MappingProxyType[str, OutcomeWords] = MappingProxyType(
    {
        "heat": OutcomeWords("heated", "heated until the call ended", "call ended", "good"),
        "draft_not_proved": OutcomeWords(
            "draft not proved", "pressure switch did not close", "given up waiting for the switch", "bad"
        ),
        "draft_lost": OutcomeWords(
            "draft lost", "pressure switch closed, then opened", "pressure switch opened", "bad"
        ),
        "no_ignition": OutcomeWords("no ignition", "gas valve on, no flame proved", "trial for ignition ended", "bad"),
        "flame_lost": OutcomeWords("flame lost", "flame proved, then lost", "flame lost", "bad"),
        "limit_open": OutcomeWords("limit open", "limit opened", "limit opened", "bad"),
        "gas_off_unexplained": OutcomeWords(
            "gas off unexplained", "gas valve off, and nothing measured says why", "gas valve off", "bad"
        ),
        "call_ended": OutcomeWords("call ended", "call ended before there was heat", "call ended", "open"),
        "cut_off": OutcomeWords("cut off", "the recording ends before it was decided", "", "open"),
        "no_start": OutcomeWords("no start", "call for heat, inducer did not start", "given up waiting for it", "bad"),
        "switch_found_closed": OutcomeWords(
            "switch found closed", "pressure switch closed before the inducer ran", "call for heat", "bad"
        ),
        "rollout_open": OutcomeWords(
            "roll-out open",
            "roll-out switch opened",
            "roll-out switch opened",
            "bad",
            "STOP: the roll-out switch opened. Gas and power off. No reset before a licensed person has inspected it.",
        ),
        "no_blower": OutcomeWords("no blower", "flame on, blower did not start", "blower due, not running", "bad"),
        "unknown": OutcomeWords("not known", "the channels that are there cannot tell", "", "open"),
    }
)
"""By name in `analysis.sequence.attempts.OUTCOMES`."""

_NAMES = re.compile(rf"\b({'|'.join(name for name in OUTCOME_WORDS if '_' in name)})\b")


def in_words(text: str) -> str:
    """A sentence for people: names of outcomes in it that are no words are said in words."""
    return _NAMES.sub(lambda found: OUTCOME_WORDS[found[0]].short, text)
