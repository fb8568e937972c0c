"""What stands in the way of a test, before anything is ranked: risk is never traded for information.

Gates and cautions: common practice, no published source. Local codes, the maker's instructions and licences come first.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from analysis.diagnosis.steps.step import MARKS, METERS, PARTS, State, Step
from analysis.points import MEASURES, POINTS

LEAVE = frozenset("gas_smell room_co room_co_evacuate room_co_shut_down".split())
"""Stops after which nobody stays in the room: nothing is tested."""
POWER_OFF = frozenset("rollout_open scorched_wires water_on_controls".split())
"""Stops with which the power stays off: nothing is tested under volts."""
LICENCES: Mapping[str, str] = {"L": "gas", "E": "live"}
"""Licence or qualification that a mark asks for."""
MAY_FIRE_OPEN = frozenset("tap_port tee panel appliances setting".split())
"""Openings with which burners may be on; with every other one, also one that is not known here, they may not."""
OPEN_WORDS: Mapping[str, str] = {
    "burner_box": "the burner-box cover is off",
    "intake_pipe": "the intake pipe is off",
    "vent_joint": "a vent joint is open",
    "drain": "the drain is open",
    "hose": "a hose is off",
    "gas_cock": "the gas cock is shut",
    "power": "the power is off",
}
"""What stands open, for people."""
METER_OF: Mapping[str, str] = {
    "pressure": "manometer",
    "temperature": "thermometer",
    "humidity": "hygrometer",
    "flame_current": "microammeter",
    "voltage": "voltmeter",
    "current": "clamp_meter",
    "fraction": "analyser",
}
"""Instrument that reads a measure of points."""

GAS_SMELL = "Smell of gas: leave without touching anything, call from outside."
AFTER_A_STOP = "A stop is in force: nothing is fired until a licensed person has found and removed its cause."
OUT = "Leave the room and call from outside; nothing is tested here before the place is safe."
NO_CO = "CO not measured in the room: measure it at the door first, and go on reading it."
FIRST = "Local codes, the maker's instructions and licensed practice come first."
CAUTIONS: Mapping[State, str] = {
    State.REST: "The burners stay off meanwhile.",
    State.INDUCER: "Gas cock shut first; inducer, blower or heat pump only. Everything that was opened is refitted"
    " before the cock is opened again.",
    State.FIRING: "Covers, vent, trap and doors in place before it fires. Read the CO of the room all the time. Gas"
    " cock and power off at once on flames outside, a bang, rising CO or a smell of gas: leave, call from outside.",
}
"""What stands before a test in each state."""
MARK_CAUTIONS: Mapping[str, str] = {
    "P": "Power off and proved off before anything is touched.",
    "E": "Live electrical work: only for the qualified, insulated leads, one hand away; wires stay on.",
    "L": "Only by a licensed person.",
    "A": "Analyser zeroed in fresh air, its pump and water trap looked at.",
}
COOL = "It burns now: let the call end and the blower cool it first."


@dataclass(frozen=True, slots=True)
class Situation:
    """What holds at this visit; whatever is not known to be there counts as not there."""

    stops: frozenset[str] = frozenset()
    """Stops in force, by the names of alarms and signs, and `gas_smell`, `scorched_wires`, `water_on_controls`."""
    licences: frozenset[str] = frozenset()
    """`gas` for work that a licence is asked for, `live` for live electrical work."""
    meters: frozenset[str] = frozenset()
    """Names in `METERS` that are at hand."""
    points: frozenset[str] = frozenset()
    """Points that a meter of this recording is on already."""
    parts: frozenset[str] = frozenset()
    """Names in `PARTS` that the unit has."""
    fuel: str | None = None
    unmetered: bool | None = None
    """Whether gas comes without a meter; None where it is not known."""
    open_items: frozenset[str] = frozenset()
    """What stands open, by the names in the checklists."""
    baseline: bool = False
    """Whether the taps are known from when the unit was good."""
    done: Mapping[str, str] = field(default_factory=dict)
    """Tests that were made, by name, with the name of their result, or nothing."""
    burning: bool = False
    """Whether the burners are on now."""
    room_co_measured: bool = False

    def has(self, part: str) -> bool:
        """Whether the unit has it; a gas meter only where it is metered, of propane only where that is known."""
        if part == "gas_meter":
            return self.unmetered is False or (
                self.unmetered is None and self.fuel == "natural gas" and "gas_meter" in self.parts
            )
        return part in self.parts

    def holds(self, meter: str, step: Step) -> bool:
        """Whether an instrument is at hand, or is on every point of the test that it would read already."""
        if meter in self.meters:
            return True
        read = {name.partition(".")[0] for name in step.measures} & set(POINTS)
        own = {point for point in read if METER_OF.get(MEASURES[POINTS[point].measure].name) == meter}
        return bool(own) and own <= self.points


def state_for(step: Step, situation: Situation) -> State | None:
    """The safest state in which a test may be done now; None where none is safe."""
    safe = [state for state in sorted(step.states) if not any(_unsafe(step, state, situation))]
    return safe[0] if safe else None


def refusals(step: Step, situation: Situation) -> tuple[str, ...]:
    """Why a test is not offered, in sentences; empty where it may be done."""
    found: list[str] = []
    if state_for(step, situation) is None:
        found += dict.fromkeys(why for state in step.states for why in _unsafe(step, state, situation))
    for mark, licence in LICENCES.items():
        if mark in step.marks and licence not in situation.licences:
            found.append(f"{MARKS[mark]} only")
    found += [f"no {PARTS[part]} that is known of" for part in step.parts if not situation.has(part)]
    wanted = dict.fromkeys((*step.needs, *(["analyser"] if "A" in step.marks else [])))
    found += [f"no {METERS[meter]} at hand" for meter in wanted if not situation.holds(meter, step)]
    for one in step.after:
        name, _, result = one.partition(":")
        if situation.done.get(name) != result:
            found.append(f"only after {name.replace('_', ' ')} came out as {result.replace('_', ' ')}")
    return tuple(found)


def _unsafe(step: Step, state: State, situation: Situation) -> Iterator[str]:
    """Why a test is not safe in a state."""
    if situation.stops & LEAVE:
        yield OUT
        return
    energised = state is not State.REST or "E" in step.marks
    if energised and situation.stops & POWER_OFF:
        yield "the power stays off after this stop"
    if energised and "power" in situation.open_items:
        yield f"{OPEN_WORDS['power']}: put back first"
    if state is State.FIRING:
        if situation.stops:
            yield AFTER_A_STOP
        for item in sorted(situation.open_items - MAY_FIRE_OPEN):
            yield f"{OPEN_WORDS.get(item, 'something is open')}: put back first"


def safely(step: Step, state: State, situation: Situation) -> str:
    """The cautions that stand before a test, gravest first."""
    marks = [MARK_CAUTIONS[mark] for mark in "PELA" if mark in step.marks]
    cool = [COOL] if situation.burning and (state is State.INDUCER or set(step.marks) & {"P", "G"}) else []
    gas = [GAS_SMELL] if state is not State.FIRING else []
    return " ".join([*cool, CAUTIONS[state], *marks, *gas, FIRST])


def marks_for(step: Step, state: State) -> str:
    """Letters of `MARKS` that stand on a test in a state, in their order."""
    marks = set(step.marks) | ({"G"} if state is State.INDUCER else set())
    return "".join(mark for mark in MARKS if mark in marks)
