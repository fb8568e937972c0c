"""Instruments on a serial port that speak when they are asked: a question, an answer, every so often."""

from collections import Counter
from dataclasses import dataclass, field
from time import monotonic
from typing import Any

from analysis.model import Event, EventKind
from drivers.asking import LATEST, Conversation, Doubt
from drivers.base import Emit, SettingsError
from drivers.codecs.lines import SUMMARY
from drivers.codecs.text import text_decoder
from drivers.handover import Chunk, Handover, Loss
from drivers.port import WAIT, OpenPort
from drivers.serial_session import SerialDriver
from drivers.setup import Setup

LATE = "came too late, or in doubt whose answer it is"
UNANSWERED = "no answer"


class SerialQuery(SerialDriver):
    """Driver of an instrument that is asked.

    Every question of the profile is asked once a round. A reading bears the time at which its answer's end arrived. An
    answer that comes late is never taken for that to the next question.
    """

    def __init__(self, setup: Setup, **settings: Any) -> None:
        section = setup.profile.serial
        super().__init__(setup, **{"wait": min(WAIT, max(0.01, section.within / 5)), **settings})
        queries = [value.query for value in setup.profile.values]
        if not all(queries):
            raise SettingsError(self.name, "a value of its profile has no 'query'", "say what is sent for each value")
        if not (section.every > 0 and section.within > 0):
            raise SettingsError(self.name, "it cannot be asked that fast", "give 'every' and 'within' above zero")
        try:
            self._decoder = text_decoder(setup.profile)
        except ValueError as error:
            raise SettingsError(self.name, str(error), "correct the instrument's profile") from error
        self._queries = tuple(dict.fromkeys(query for query in queries if query))
        self._every, self._within, self._ending = section.every, section.within, section.ending.encode()
        self._doubt = Doubt()
        self._asked = Counter(unanswered=0, late_answers=0)
        self._misses = Misses(self.name, self._within)
        self._late = False
        """Only answers that were too late came last."""

    def statistics(self) -> dict[str, int]:
        """Counts since the driver was made, over all sessions. [1]"""
        return {**super().statistics(), **self._asked}

    def reset(self) -> None:
        """What is owed from the session before stays owed."""
        self._late = False

    def hint(self) -> str:
        """It ought to answer, and in time."""
        if self._late:
            return f"it answers later than {self._within:g} s: give a longer 'within'; or check its questions"
        return "check that the instrument is on and set to be asked, the ending of the questions"

    def work(self, port: OpenPort, handover: Handover) -> None:
        """Ask round after round."""
        try:
            self._ask_on(port, handover)
        except OSError:
            self._doubt = Doubt()  # what was under way went with the port
            raise

    def _ask_on(self, port: OpenPort, handover: Handover) -> None:
        conversation = Conversation(
            port,
            handover.stop,
            within=self._within,
            ending=self._ending,
            doubt=self._doubt,
            latest=min(LATEST, self._silence / 2),
            late=lambda line: handover.put(Chunk(self._now(), line, reason=LATE)),
        )
        due = monotonic()
        while not handover.stop.is_set():
            for query in self._queries:
                answer = conversation.ask(query.encode())
                if answer is not None:
                    handover.put(Chunk(self._now(), answer, source=query))
                elif not handover.stop.is_set():
                    handover.put(Chunk(self._now(), b"", source=query, reason=UNANSWERED))
            due = max(due + self._every, monotonic())
            handover.stop.wait(due - monotonic())

    def take(self, losses: tuple[Loss, ...], chunk: Chunk, emit: Emit) -> bool:
        """Decode an answer, or count that there was none for its question."""
        self.report(losses, chunk.time, emit)
        if chunk.reason == UNANSWERED:
            self._asked["unanswered"] += 1
            for event in self._misses.missed(chunk.source, chunk.time):
                emit(event)
            return False
        if chunk.reason:
            self._asked["late_answers"] += 1
            self._late = True
            return False
        self._misses.answered(chunk.source, chunk.time)
        self._late = False
        decoded = self._decoder.decode(chunk.data, chunk.source)
        self._meter.take(decoded, chunk.data, chunk.time, emit)
        return decoded.sample is not None

    def sum_up(self, emit: Emit, *, now: bool) -> None:
        """Also questions without an answer."""
        super().sum_up(emit, now=now)
        for event in self._misses.summary(self._now(), 0 if now else SUMMARY):
            emit(event)


@dataclass(slots=True)
class Misses:
    """Tells the first question without an answer at once and sums up the others, at most every ten seconds.

    A question that was answered for that long is told at once again.
    """

    name: str
    """The instrument's."""
    within: float
    """[s]"""
    told: dict[str, int] = field(default_factory=dict)
    """When each question that was told had no answer last. [ns]"""
    waiting: Counter[str] = field(default_factory=Counter)
    last: int = 0
    """When something was told. [ns]"""

    def missed(self, query: str, time: int) -> list[Event]:
        """Event for the first, none for the others."""
        first, self.told[query] = query not in self.told, time
        question = query.strip()
        if not first:
            self.waiting[question] += 1
            return []
        self.last = time
        text = f"{self.name}: no answer to '{question}' within {self.within:g} s; further ones are counted"
        return [Event(time, EventKind.PROBLEM, text, self.name, {"question": question})]

    def answered(self, query: str, time: int) -> None:
        """It was answered."""
        if query in self.told and not 0 <= time - self.told[query] < SUMMARY:
            del self.told[query]

    def summary(self, time: int, pause: int) -> list[Event]:
        """Event with the counts since the last one, when there are any and `pause` [ns] passed."""
        if not self.waiting or 0 <= time - self.last < pause:
            return []
        self.last = time
        counts, self.waiting = dict(self.waiting), Counter()
        parts = ", ".join(f"{count} to '{question}'" for question, count in counts.items())
        text = f"{self.name}: further questions without an answer: {parts}"
        return [Event(time, EventKind.PROBLEM, text, self.name, {"counts": counts})]
