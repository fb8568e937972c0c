"""What the page may do, and nothing else: every command is checked here and leaves its trace in the recording.

All but those to a simulated plant: what is wrong with it is for whoever practises to find out.
"""

from collections.abc import Mapping

from analysis.model import NANOSECONDS, Event, EventKind
from collector import practice
from collector.alarm_states import AlarmState
from collector.arguments import Answer, Command, Given, number_in, text_in
from collector.by_hand import ByHand
from collector.collector import Collector
from collector.practice import Practice
from drivers.base import InputError
from drivers.manual import Manual
from drivers.replay import Replay

OF_THE_TECHNICIAN = frozenset({
    "zero", "unzero", "type_in", "withdraw", "photo_part", "photo_keep", "check", "open_entry", "close_entry",
    "reopen_entry",
})  # fmt: skip
"""What would change the recording of a call that is only watched here."""


class Commands:
    """The commands of one call; each returns one sentence or an `Answer`, or raises LightoffError with a sentence.

    `more` are commands of other parts of the call; `began` is when the recording did, by default now. A call that is
    `watching` another takes no command that would change what was recorded there.
    """

    def __init__(
        self,
        collector: Collector,
        *,
        manual: Manual | None = None,
        replay: Replay | None = None,
        plant: Practice | None = None,
        more: Mapping[str, Command] | None = None,
        began: int | None = None,
        watching: bool = False,
    ) -> None:
        self._collector = collector
        self._watching = watching
        self._by_hand = ByHand(collector, manual, began)
        self._replay = replay
        self._plant = plant
        self._known: dict[str, Command] = {
            "note": lambda given: self.note(text_in(given, "text")),
            "mark": lambda given: self.mark(text_in(given, "text", default="mark")),
            "acknowledge": lambda given: self.acknowledge(text_in(given, "alarm")),
            "shelve": lambda given: self.shelve(text_in(given, "alarm"), number_in(given, "minutes")),
            "unshelve": lambda given: self.unshelve(text_in(given, "alarm")),
            "zero": lambda given: self.zero(text_in(given, "channel")),
            "unzero": lambda given: self.undo_zero(text_in(given, "channel")),
            **self._by_hand.commands(),
            "pause": lambda _: self.pause(),
            "resume": lambda _: self.resume(),
            "seek": lambda given: self.seek(number_in(given, "position")),
            "speed": lambda given: self.speed(number_in(given, "speed")),
            "inject": lambda given: self.inject(text_in(given, "cause"), number_in(given, "severity")),
            "repair": lambda given: self.repair(text_in(given, "cause")),
            **(more or {}),
        }

    @property
    def names(self) -> tuple[str, ...]:
        """Every command there is."""
        return tuple(self._known)

    def execute(self, name: str, given: Given) -> Answer:
        """Carry out a command by its name; LightoffError in one sentence when it cannot be."""
        command = self._known.get(name)
        if command is None:
            raise InputError(f"there is no command '{name[:40]}'", f"known are {', '.join(self._known)}")
        if self._watching and name in OF_THE_TECHNICIAN:
            raise InputError("this call is watched: only the technician can do that", "write a note, or call there")
        answer = command(given)
        return Answer(answer) if isinstance(answer, str) else answer

    def _write(self, kind: EventKind, text: str) -> None:
        self._collector.ingest(Event(self._collector.now(), kind, text))

    def note(self, text: str) -> str:
        """Keep a note at this moment."""
        self._write(EventKind.NOTE, text)
        return "noted"

    def mark(self, text: str) -> str:
        """Mark this moment."""
        self._write(EventKind.MARK, text)
        return "marked"

    def acknowledge(self, alarm: str) -> str:
        """Say that an alarm was seen; one that is over and was held for that is released."""
        alarms, now = self._collector.alarms, self._collector.now()
        self._collector.apply(alarms.acknowledge(alarm, now))
        if alarms.state(alarm) is AlarmState.LATCHED_ACKNOWLEDGED:
            self._collector.apply(alarms.reset(alarm, now))
        return "acknowledged"

    def shelve(self, alarm: str, minutes: float) -> str:
        """Mute an alarm for some minutes; refused for a safety alarm."""
        self._collector.apply(self._collector.alarms.shelve(alarm, self._collector.now(), minutes * 60))
        return f"muted for {minutes:g} min"

    def unshelve(self, alarm: str) -> str:
        """End the muting of an alarm."""
        self._collector.apply(self._collector.alarms.unshelve(alarm, self._collector.now()))
        return "no longer muted"

    def zero(self, channel: str) -> str:
        """Zero a meter at what it shows now."""
        return self._collector.zero(channel).text

    def undo_zero(self, channel: str) -> str:
        """Take a meter as it shows again."""
        return self._collector.undo_zero(channel).text

    def entries(self) -> list[dict[str, object]]:
        """The last readings typed in, the newest first."""
        return self._by_hand.entries()

    def _replaying(self) -> Replay:
        if self._replay is None:
            raise InputError("nothing is being replayed", "start `lightoff replay FILE`")
        return self._replay

    def replay_state(self) -> dict[str, object] | None:
        """Where the replay stands, or None when nothing is replayed. [s]"""
        replay = self._replay
        if replay is None:
            return None
        return {
            "name": replay.name,
            "position": (replay.position - replay.start) / NANOSECONDS,
            "start": 0.0,
            "end": (replay.end - replay.start) / NANOSECONDS,
            "speed": replay.speed,
            "paused": replay.paused,
            "loop": replay.looping,
        }

    def pause(self) -> str:
        """Let the replay stand still."""
        self._replaying().pause()
        self._write(EventKind.REPLAY, "replay paused")
        return "paused"

    def resume(self) -> str:
        """Let the replay go on."""
        self._replaying().resume()
        self._write(EventKind.REPLAY, "replay goes on")
        return "going on"

    def seek(self, position: float) -> str:
        """Go on replaying from a position after the start [s]."""
        self._replaying().seek(position)
        return f"moved to {position:.0f} s"

    def speed(self, speed: float) -> str:
        """Replay at another speed [1]."""
        self._replaying().set_speed(speed)
        self._write(EventKind.REPLAY, f"replay at {speed:g} times its pace")
        return f"speed {speed:g}"

    def _practising(self) -> Practice:
        if self._plant is None:
            raise InputError("no simulated unit is running", "start `lightoff simulate --live`")
        return self._plant

    def practice_state(self) -> dict[str, object] | None:
        """What is wrong with the simulated unit now, or None when none is running."""
        return practice.state(self._plant) if self._plant else None

    def inject(self, cause: str, severity: float) -> str:
        """Let something be wrong with the simulated unit, from 0 none to 1 total."""
        return practice.inject(self._practising(), cause, severity)

    def repair(self, cause: str) -> str:
        """Put something in order in the simulated unit."""
        return practice.repair(self._practising(), cause)
