"""What a test or a measurement of the trade is: what it takes, where it may be done, what its results say."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache
from types import MappingProxyType

from analysis.diagnosis.causes import CAUSES

MARKS: Mapping[str, str] = {
    "G": "gas cock shut",
    "P": "power off",
    "E": "live electrical work",
    "L": "licensed person",
    "A": "combustion analyser",
}
"""Marks on a test."""

METERS: Mapping[str, str] = {
    "manometer": "manometer",
    "voltmeter": "volt meter",
    "clamp_meter": "clamp meter for amps",
    "microammeter": "microampere meter",
    "thermometer": "thermometer or probes",
    "hygrometer": "humidity meter",
    "analyser": "combustion analyser",
    "room_co_meter": "CO meter for the room",
}
"""Instruments that a test may need."""

PARTS: Mapping[str, str] = {
    "draft_burner_box": "port at the burner box (A)",
    "draft_transition": "port at the transition box (X)",
    "draft_collector": "port at the collector box (B)",
    "draft_vent": "port at the vent side (C)",
    "gas_inlet": "port at the gas valve's inlet",
    "gas_manifold": "port at the manifold",
    "static_ports": "ports for static pressure",
    "flue_port": "port for the flue probe",
    "switch_hose": "hose at the pressure switch",
    "intake_pipe": "intake pipe that comes off by hand",
    "vent_joint": "vent joint that can be remade",
    "gas_meter": "gas meter",
    "heat_pump": "heat pump",
    "humidifier": "humidifier",
    "spare_switch": "the specified pressure switch",
}
"""What a unit may have or lack, and a test may need: nothing is made for a test where it is not there."""


class State(IntEnum):
    """State of the unit in which a test is done, the safest first."""

    REST = 0
    """The burners stay off, the unit at rest."""
    INDUCER = 1
    """Inducer or blower only, gas cock shut."""
    FIRING = 2
    """The burners are on, or may come on."""


@dataclass(frozen=True, slots=True)
class Result:
    """One thing that a test may show."""

    name: str
    """Stands in recordings; never changes."""
    text: str
    """What is seen."""
    meaning: str
    """What it says."""


@dataclass(frozen=True, slots=True)
class Step:
    """One test; it has a table of results, or measures that it yields."""

    name: str
    """Stands in recordings; never changes."""
    text: str
    """What it is, in a few words."""
    minutes: float
    """[min]"""
    how: str
    """How it is done safely."""
    states: tuple[State, ...] = (State.REST,)
    """Where it may be done, the safest first."""
    marks: str = ""
    """Letters of `MARKS`; G is added where it is done with the inducer only."""
    needs: tuple[str, ...] = ()
    """Names in `METERS`, all of them."""
    parts: tuple[str, ...] = ()
    """Names in `PARTS`, all of them."""
    results: tuple[Result, ...] = ()
    table: str = ""
    """A line `usual 90 5 5` for all causes that no other line names, then causes and their figures: how often each
    result is seen under each cause, in the order of `results`. [%]"""
    measures: tuple[str, ...] = ()
    """Names in `analysis.measures.names` that it yields, or that tell what its table tells once they are known."""
    about: tuple[str, ...] = ()
    """Of a measurement: the causes that it tells of."""
    after: tuple[str, ...] = ()
    """What must have come out before, as `test:result`, all of them."""
    like: str = ""
    """Name of a test that looks at the same: where one was done, the other tells nothing new."""

    def __post_init__(self) -> None:
        """Refuse tables that do not add up, and names that there are none of."""
        unknown = [*(set(self.marks) - set(MARKS)), *(set(self.needs) - set(METERS)), *(set(self.parts) - set(PARTS))]
        unknown += [cause for cause in self.about if cause not in CAUSES]
        if unknown or not self.states:
            raise ValueError(f"test {self.name}: unknown {unknown}, or no state")
        if bool(self.results) is bool(self.about):
            raise ValueError(f"test {self.name} needs a table of results, or measures and what they tell of")
        if self.results:
            _rows(self)

    def rows(self) -> Mapping[str, tuple[float, ...]]:
        """How often each result is seen under each of `CAUSES`. [1]"""
        return _rows(self)

    def result(self, name: str) -> int:
        """Place of a result; KeyError where there is none of that name."""
        for place, one in enumerate(self.results):
            if one.name == name:
                return place
        raise KeyError(name)


@lru_cache(maxsize=512)
def _rows(step: Step) -> Mapping[str, tuple[float, ...]]:
    found: dict[str, tuple[float, ...]] = {}
    for line in filter(None, map(str.strip, step.table.splitlines())):
        words = line.split()
        names, figures = words[: -len(step.results)], tuple(map(float, words[-len(step.results) :]))
        if abs(sum(figures) - 100.0) > 1e-9 or min(figures) <= 0.0:
            raise ValueError(f"test {step.name}: '{line}' does not add to 100, or says never")
        for name in names:
            if name in found or name not in (*CAUSES, "usual"):
                raise ValueError(f"test {step.name}: '{name}' is no cause, or stands twice")
            found[name] = tuple(figure / 100.0 for figure in figures)
    usual = found.pop("usual")
    return MappingProxyType({cause: found.get(cause, usual) for cause in CAUSES})
