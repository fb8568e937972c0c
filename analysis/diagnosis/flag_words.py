"""What each flag says, for people, and where it was read."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FlagWords:
    """One flag."""

    points: tuple[str, ...]
    """Names in `analysis.points.POINTS`."""
    said: Mapping[str, str]
    """For each thing that it may say, a sentence without its full stop."""


FLAG_WORDS: Mapping[str, FlagWords] = {
    "worst": FlagWords(
        (),
        {
            "fine": "no attempt went wrong",
            "draft_not_proved": "the pressure switch did not close",
            "draft_lost": "the pressure switch opened while the inducer ran",
            "no_ignition": "gas was called for and no flame came",
            "flame_lost": "the flame went out with gas still called for",
            "limit_open": "the limit opened",
            "gas_off_unexplained": "the gas went off and nothing that was measured says why",
            "no_start": "heat was called for and the inducer did not start",
            "switch_found_closed": "the pressure switch was closed before the inducer ran",
            "rollout_open": "the roll-out switch opened",
            "no_blower": "the blower did not start",
            "none": "there was no attempt to light off",
        },
    ),
    "heat": FlagWords(
        (),
        {
            "never": "every attempt went wrong",
            "sometimes": "some attempts went wrong, others heated",
            "always": "every attempt heated",
        },
    ),
    "failures": FlagWords((), {"few": "at most two attempts went wrong", "many": "three attempts or more went wrong"}),
    "switch_at_rest": FlagWords(
        ("switch_closed",),
        {"open": "pressure switch open before each start", "closed": "pressure switch closed before the inducer ran"},
    ),
    "limit": FlagWords(("limit_closed",), {"closed": "limit stayed closed", "opened": "limit opened"}),
    "rollout": FlagWords(
        ("rollout_closed",), {"closed": "roll-out switch stayed closed", "opened": "roll-out switch opened"}
    ),
    "float": FlagWords(("float_closed",), {"closed": "float switch stayed closed", "opened": "float switch opened"}),
    "door": FlagWords(("door_closed",), {"closed": "door switch stayed closed", "opened": "door switch opened"}),
    "call_heat": FlagWords(
        ("call_heat",),
        {
            "never": "heat was never called for",
            "steady": "calls for heat were steady",
            "in pieces": "the call for heat came in pieces",
        },
    ),
    "answered": FlagWords(
        ("call_heat",), {"yes": "each call for heat was answered", "no": "a call for heat was not answered"}
    ),
    "second_stage": FlagWords(
        ("call_heat_2",),
        {"called": "second stage was called for", "never": "a long call, and the second stage was never called for"},
    ),
    "compressor": FlagWords(
        ("call_compressor",), {"never": "the heat pump was not called for", "ran": "the heat pump was called for"}
    ),
    "power": FlagWords(
        ("volts_control",),
        {
            "there": "24 V control supply was there throughout",
            "gone at times": "24 V control supply was gone at times",
            "gone": "24 V control supply was gone",
        },
    ),
    "blower_amps": FlagWords(
        ("amps_blower",),
        {
            "there": "the blower took current whenever it should run",
            "missing": "the blower should run and took no current",
        },
    ),
    "inducer_amps": FlagWords(
        ("amps_inducer",),
        {
            "there": "the inducer took current whenever it should run",
            "missing": "the inducer should run and took no current",
        },
    ),
    "igniter_amps": FlagWords(
        ("amps_igniter",),
        {
            "there": "the igniter took current whenever it should",
            "missing": "the igniter should glow and took no current",
        },
    ),
    "manifold": FlagWords(
        ("gas_manifold",),
        {
            "there": "manifold pressure came whenever gas was called for",
            "missing": "gas was called for and no manifold pressure came",
        },
    ),
    "flame_seen": FlagWords(
        ("flame_current",),
        {"yes": "flame current came in each trial", "no": "a trial for ignition showed no flame current"},
    ),
    "trip": FlagWords(
        (),
        {"at once": "it went wrong before or soon after the flame", "later": "it went wrong after it had run a while"},
    ),
}
"""By name in `flags.FLAGS`."""
