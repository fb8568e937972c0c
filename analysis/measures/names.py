"""Every measure by name: what it is, its kind of quantity, and where it is read; documents come from this table."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from analysis.measures import air, cycles, draft, electric, gas_and_flame, house
from analysis.points import DERIVED, MEASURES, POINTS, Measure
from analysis.sequence.attempts import OUTCOMES, PHASES

_STAGE = "low high".split()


@dataclass(frozen=True, slots=True)
class Name:
    """Measures of one shape."""

    pattern: str
    """Name; in angle brackets a word that stands for several."""
    words: tuple[tuple[str, tuple[str, ...]], ...]
    """What each word in angle brackets may be."""
    text: str
    """What it is and where it is read, for people."""
    unit: str = ""
    """Unit where it is not the measure of its point: `s`, `1/h` or `1`."""
    per_minute: bool = False
    """Whether it is a change of its point's measure per minute."""

    @property
    def names(self) -> Iterator[str]:
        """All names of this shape."""
        found = [self.pattern]
        for word, values in self.words:
            found = [name.replace(f"<{word}>", value) for name in found for value in values]
        return iter(found)


def _name(pattern: str, text: str, unit: str = "", *, per_minute: bool = False, **words: list[str]) -> Name:
    said = {"stage": _STAGE, **words}
    there = re.findall(r"<(\w+)>", pattern)
    return Name(pattern, tuple((word, tuple(said[word])) for word in there), text, unit, per_minute)


_TEMPERATURES = list(air.TEMPERATURES)
_STEPS = "inducer_start igniter_on valve blower_start".split()

NAMES: tuple[Name, ...] = (
    _name("temp_rise.settled.<stage>", "Supply less return after 15 min at the stage, or over its last minute."),
    _name("temp_rise.expected.<stage>", "Where a rise that had not settled was heading: an extrapolation."),
    _name("<point>.cold", "Before the flame, inducer running.", point=_TEMPERATURES),
    _name("<point>.settled.<stage>", "After 15 min at the stage, or over its last minute.", point=_TEMPERATURES),
    _name("<point>.highest", "Hottest supply while it burned, lag taken off.", point=["temp_supply", "temp_supply_2"]),
    _name("<point>.settled.<stage>", "At the end of the stage.", point=[*air.STATICS, *air.CURRENTS]),
    _name("static_external.settled.<stage>", "Supply less return static at the end of the stage."),
    _name("<point>.cold", "In prepurge, inducer up to speed, no flame yet.", point=[*draft.TAPS, "amps_inducer"]),
    _name("<point>.hot.<stage>", "Over the last minute of the stage.", point=[*draft.TAPS, "amps_inducer"]),
    _name("<point>.trend.<stage>", "Change a minute over the stage.", per_minute=True, point=list(draft.TAPS)),
    _name(
        "<point>.against_baseline",
        "Hot, high stage, over what it was when the unit was known good.",
        "1",
        point=[point for point in draft.TAPS if point in draft.BASELINES],
    ),
    _name("<margin>.cold", "Over the opening point in prepurge.", margin=["draft_margin"]),
    _name("<margin>.hot.<stage>", "Over the opening point at the end of the stage.", margin=list(draft.SWITCHES)),
    _name("<margin>.to_close.cold", "Over the closing point in prepurge.", margin=["draft_margin"]),
    _name(
        "<margin>.to_close.hot.<stage>", "Over the closing point at the end of the stage.", margin=list(draft.SWITCHES)
    ),
    _name(
        "<margin>.smallest",
        "Smallest over the opening point from prepurge until the gas goes off; its span is the moment.",
        margin=list(draft.SWITCHES),
    ),
    _name(
        "draft_margin.<moment>",
        "Smallest over the opening point within five seconds.",
        moment="at_light_off at_blower_start at_stage_up".split(),
    ),
    _name("draft_margin.largest_at_start", "Largest over the closing point before the switch closed."),
    _name("draft_switch.after_stop", "Five to ten seconds after the inducer stopped; water in a hose keeps it up."),
    _name("draft_switch.time_to_zero", "From the inducer's stop until it stays at nothing.", "s"),
    _name("gas_inlet.static", "Up to half a minute before the valve opens."),
    _name("<point>.flowing.<stage>", "At the end of the stage.", point=["gas_inlet", "gas_manifold"]),
    _name("gas_inlet.drop.<stage>", "Static less flowing."),
    _name("gas_inlet.lowest", "Smallest while the valve is open."),
    _name("flame_current.settled", "At the end of the highest stage that was run."),
    _name("flame_current.settled.<stage>", "At the end of the stage."),
    _name("flame_current.trend.<stage>", "Change a minute over the stage.", per_minute=True),
    _name("flame_current.smallest", "Smallest from ten seconds after proof until the gas goes off."),
    _name("flame_current.decay", "From the valve's closing until a tenth of the settled current.", "s"),
    _name("ignition.time_to_prove", "From the valve's opening until the control had proved the flame.", "s"),
    _name("ignition.light_off_delay", "From the valve's opening until a tenth of the settled current.", "s"),
    _name("<point>.settled.<stage>", "At the end of the stage.", point=list(gas_and_flame.FLUE)),
    _name("flue_co.trend.<stage>", "Change a minute, from two minutes into the stage on.", per_minute=True),
    _name("<point>.lowest", "Smallest of the attempt.", point=list(electric.VOLTAGES)),
    _name("<point>.lowest.<step>", "Smallest within 3 s of the load.", point=list(electric.VOLTAGES), step=_STEPS),
    _name("amps_igniter.warmup", "Igniter hot, gas not on yet."),
    _name("phase.duration.<phase>", "Length of the phase.", "s", phase=list(PHASES)),
    _name(
        "phase.over_timing.<phase>", "Length of the phase less what the control sets.", "s", phase=list(cycles.TIMED)
    ),
    _name("switch_closed.time_to_close", "From the inducer's start until the pressure switch closed.", "s"),
    _name("cycle.run_time", "Burner on.", "s"),
    _name("cycle.off_time", "Burner off before this attempt.", "s"),
    _name("cycle.per_hour", "Burner starts an hour.", "1/h"),
    _name("attempts.count", "Attempts in the recording.", "1"),
    _name("attempts.count.<outcome>", "Attempts that ended so.", "1", outcome=list(OUTCOMES)),
    _name("changeover.delay", "From the end of the heat pump's call until the burner is lit.", "s"),
    _name("changeover.temp_outdoor", "Outdoor air in the half minute before the change-over."),
    _name("<point>.mean", "Mean of the recording.", point=list(house.MEANS)),
    _name("<point>.highest", "Largest of the recording.", point=["humidity_supply", "humidity_room", "room_co"]),
    _name("dew_point_margin.<statistic>", "Coldest surface over the dew point.", statistic=["smallest", "mean"]),
)


def meaning(name: str) -> Name:
    """Entry of a measure; KeyError for a name that is none."""
    return _by_name()[name]


def measure_of_name(name: str) -> Measure | None:
    """Kind of quantity by which it is shown, as its point's; None for times, ratios and counts."""
    if meaning(name).unit:
        return None
    point = "temp_outdoor" if name == "changeover.temp_outdoor" else name.partition(".")[0]
    return MEASURES[(POINTS.get(point) or DERIVED[point]).measure]


@lru_cache(maxsize=1)
def _by_name() -> dict[str, Name]:
    return {name: entry for entry in NAMES for name in entry.names}
