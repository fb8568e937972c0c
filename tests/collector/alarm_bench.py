"""Alarms in seconds, with everything that they reported; letters of the states and rules for the tests."""

from analysis.model import NANOSECONDS, Quality
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmChange, AlarmState, AlarmStatus
from collector.alarms import Alarms

A, B, C, D = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED
E, F = AlarmState.LATCHED_UNACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED
G, H, I = AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE  # noqa: E741
"""Letters of ANSI/ISA-18.2-2016 and IEC 62682, from memory."""
START = 1_768_372_280.0
"""[s]"""

HOT = AlarmRule("hot", "temp_supply", above=70.0, deadband=2.0, text="Supply air too hot")
LATCHED = AlarmRule("hot", "temp_supply", above=70.0, deadband=2.0, text="Supply air too hot", latched=True)
FIRING = AlarmRule("inlet", "gas_inlet", below=1000.0, text="Gas inlet low", when=("gas_valve", 1.0), settle=5)
GAS = AlarmRule("co", "room_co", above=36e-6, deadband=1e-6, priority="safety", text="Carbon monoxide in the room")


class Bench:
    """Alarms with times in seconds, and everything that they reported."""

    def __init__(self, *rules: AlarmRule) -> None:
        self.alarms = Alarms(rules)
        self.changes: list[AlarmChange] = []

    def _keep(self, changes: list[AlarmChange]) -> list[AlarmState]:
        self.changes += changes
        return [change.to_state for change in changes]

    def read(self, point: str, value: float, at: float, quality: Quality = Quality.GOOD) -> list[AlarmState]:
        return self._keep(self.alarms.step(point, time_of(at), value, quality))

    def tick(self, at: float) -> list[AlarmState]:
        return self._keep(self.alarms.tick(time_of(at)))

    def do(self, command: str, name: str, at: float, *seconds: float) -> list[AlarmState]:
        return self._keep(getattr(self.alarms, command)(name, time_of(at), *seconds))

    def play(self, *steps: float | str) -> list[AlarmState]:
        """A step each second: a supply temperature, or a command to `hot`; what the last one brought about."""
        states: list[AlarmState] = []
        for at, step in enumerate(steps):
            if isinstance(step, str):
                states = self.do(step, "hot", at, *((600.0,) if step == "shelve" else ()))
            else:
                states = self.read("temp_supply", step, at)
        return states

    def status(self, name: str) -> AlarmStatus:
        [status] = [status for status in self.alarms.snapshot() if status.name == name]
        return status

    def state(self, name: str) -> AlarmState:
        return self.status(name).state


def time_of(at: float) -> int:
    """Time in the recording, UTC since 1970. [ns]"""
    return round((START + at) * NANOSECONDS)
