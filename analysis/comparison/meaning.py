"""What a change of a measure means: which way is better, what it is held against, and what is not compared."""

import re
from dataclasses import dataclass
from functools import lru_cache

from analysis.check_table import ROWS, Known
from analysis.measures.names import NAMES
from analysis.model import Baseline, Plate

LARGER, SMALLER, NEARER, NONE, NOT_COMPARED = "larger", "smaller", "nearer", "none", "not compared"
"""Larger is better, smaller is better, nearer to a target is better, no way is better, says nothing of the unit."""

TABLE: tuple[tuple[str, str, str], ...] = (
    (r"draft_margin(_high)?\..*", LARGER, "more in hand at the switch"),
    (r"flame_current\.(settled|smallest)(\..*)?", LARGER, "more flame current"),
    (r"flame_current\.trend\..*", LARGER, "a flame current that does not fall"),
    (r"volts_control\.lowest(\..*)?", LARGER, "a control supply that does not sag"),
    (r"gas_inlet\.drop\..*", SMALLER, "less drop of the inlet pressure"),
    (r"flue_co\.(settled|trend)\..*", SMALLER, "less carbon monoxide in the flue"),
    (r"room_co\.highest", SMALLER, "less carbon monoxide in the room"),
    (r"ignition\..*", SMALLER, "a quicker light-off"),
    (r"switch_closed\.time_to_close", SMALLER, "a switch that closes sooner"),
    (r"draft_switch\.time_to_zero", NOT_COMPARED, "wind and a warm vent hold it; draft_switch.after_stop is compared"),
    (r"draft_switch\.after_stop", NEARER, "nothing, once the inducer stands"),
    (r"draft_\w+\.trend\..*", NEARER, "no trend within a stage"),
    (r"draft_\w+\.against_baseline", NOT_COMPARED, "the tap itself is compared, hot in high stage, with its baseline"),
    (r"phase\.over_timing\..*", NEARER, "the time that the control sets"),
    (r"temp_rise\..*|temp_supply\.highest|static_external\..*|gas_inlet\.(static|flowing\..*)", NEARER, ""),
    (r"gas_manifold\..*", NEARER, ""),
    (r"draft_(burner_box|transition|collector|vent)\.hot\.high", NEARER, ""),
    (
        r"draft_.*|static_.*|gas_inlet\.lowest|speed_inducer\..*|amps_.*|flue_(o2|co2)\..*|temp_flue\.settled\..*",
        NONE,
        "",
    ),
    (r"flame_current\.decay|volts_line\..*|temp_supply_2\.highest", NONE, ""),
    (r"(temp|humidity|dew_point)_.*", NOT_COMPARED, "goes with the weather, the house and the call"),
    (r"temp_.*|phase\.duration\..*|cycle\..*|changeover\..*", NOT_COMPARED, "goes with the call and the weather"),
    (r"attempts\..*", NOT_COMPARED, "counted among the outcomes"),
)
"""Pattern of names, which way is better, and in words what is better; the first that fits holds.

Which way is better: common practice, no published source.
"""
_TARGETS = {"after_stop": 0.0, "trend": 0.0, "over_timing": 0.0}


@dataclass(frozen=True, slots=True)
class Meaning:
    """Of one measure on one unit."""

    way: str
    """`larger`, `smaller`, `nearer`, `none` or `not compared`."""
    words: str
    """What is better, or why it is not compared, in words; empty where no way is."""
    low: float | None = None
    """Where `nearer`: from here to `high` nothing is better than anything else. [inside unit of the measure]"""
    high: float | None = None

    def off(self, value: float) -> float:
        """How far a value is from where it should be, at least 0. [inside unit]"""
        below = 0.0 if self.low is None else self.low - value
        above = 0.0 if self.high is None else value - self.high
        return max(below, above, 0.0)


def meaning_of(name: str, plate: Plate, baseline: Baseline) -> Meaning:
    """What a change of this measure means on a unit with these papers."""
    way, words = _row(name)
    if way != NEARER:
        return Meaning(way, words)
    statistic = name.split(".")[1]
    if statistic in _TARGETS:
        return Meaning(NEARER, words, _TARGETS[statistic], _TARGETS[statistic])
    known = Known(plate=plate, baseline=baseline)
    asked = name.replace(".expected.", ".settled.")
    for row in ROWS:
        if asked not in (*row.measures, *row.instead):
            continue
        limits = row.limits(known, asked)
        if limits is None:
            return Meaning(NONE, f"no `{row.check}` in the job file to say which way is better")
        low, high = (None if end is None else end - limits.shift for end in (limits.low, limits.high))
        if row.check.startswith("furnace.baseline") and low is not None and high is not None:
            low = high = (low + high) / 2
        return Meaning(NEARER, f"`{row.check}` of the job file", low, high)
    return Meaning(NONE, "")


@lru_cache(maxsize=1024)
def _row(name: str) -> tuple[str, str]:
    return next(((way, words) for pattern, way, words in TABLE if re.fullmatch(pattern, name)), (NONE, ""))


def every_name() -> list[str]:
    """Names of all measures that can be compared or not, in the order of the table of measures."""
    return [name for entry in NAMES for name in entry.names]
