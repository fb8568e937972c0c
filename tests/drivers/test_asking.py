"""Questions and answers in simulated time: whatever comes late, no answer is taken for that to another question."""

import threading
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.asking import LATE, LATEST, Conversation, Doubt

WITHIN = 1.0
WAIT = 0.15
"""As the real port waits for a byte. [s]"""


@dataclass
class Instrument:
    """Answers in the order in which it was asked, each after its delay, or never where that is None."""

    delays: list[float | None]
    usual: float = 0.01
    now: float = 100.0
    asked: list[bytes] = field(default_factory=list)
    echo: bool = False
    _coming: list[tuple[float, bytes]] = field(default_factory=list)

    def clock(self) -> float:
        return self.now

    @property
    def in_waiting(self) -> int:
        return sum(len(data) for time, data in self._coming if time <= self.now)

    def read(self, size: int = 1, /) -> bytes:
        if not self.in_waiting:
            self.now = min([self.now + WAIT, *(time for time, _ in self._coming)])
        data = b"".join(data for time, data in self._coming if time <= self.now)
        self._coming = [(time, data) for time, data in self._coming if time > self.now]
        if data[size:]:
            self._coming.insert(0, (self.now, data[size:]))
        return data[:size]

    def write(self, data: bytes, /) -> int:
        """The answer names the question and which one in order it was."""
        delay = self.delays.pop(0) if self.delays else self.usual
        self.asked.append(data)
        if self.echo:
            self._coming.append((self.now, data))
        if delay is not None:
            last = max((time for time, _ in self._coming), default=0.0)
            answer = data.strip() + b" %d\r\n" % len(self.asked)
            middle = len(answer) // 2
            at = max(last, self.now + delay)
            self._coming += [(at, answer[:middle]), (at + 0.001, answer[middle:])]
        return len(data)

    def say(self, data: bytes, after: float = 0.0) -> None:
        """Something that nobody asked for."""
        self._coming.append((self.now + after, data))


def conversation(instrument: Instrument, late: list[bytes], doubt: Doubt | None = None) -> Conversation:
    return Conversation(
        instrument,
        threading.Event(),
        within=WITHIN,
        ending=b"\n",
        doubt=doubt or Doubt(),
        late=late.append,
        clock=instrument.clock,
    )


def right(instrument: Instrument, question: bytes, answer: bytes | None) -> bool:
    """Whether it is the answer to the question asked last."""
    return answer is None or (
        instrument.asked[-1].strip() == question and answer == question + b" %d" % len(instrument.asked)
    )


DELAYS = st.lists(st.one_of(st.none(), st.floats(0, 0.3), st.floats(0.5, LATE * WITHIN)), max_size=12)


@settings(max_examples=400)
@given(DELAYS, st.booleans())
def test_a_late_answer_is_never_taken_for_the_next_one(delays: list[float | None], echo: bool) -> None:
    instrument = Instrument(list(delays), echo=echo)
    late: list[bytes] = []
    talk = conversation(instrument, late)
    answers = []
    for number in range(30):
        question = b"P?" if number % 2 else b"T?"
        answer = talk.ask(question)
        assert right(instrument, question, answer), f"{answer!r} for question {len(instrument.asked)}"
        answers.append(answer)
        instrument.now += 0.2
    assert None not in answers[-3:], "it is not read again although it answers in time"


@given(st.floats(WITHIN, LATEST - 2), st.integers(1, 8))
def test_an_instrument_that_is_always_as_late_is_not_read_and_then_read_again(delay: float, count: int) -> None:
    """Later than LATE times the longest time, but steadily."""
    instrument = Instrument([delay] * count)
    talk = conversation(instrument, [])
    for _ in range(40):
        answer = talk.ask(b"P?")
        assert right(instrument, b"P?", answer)
    assert answer is not None


def test_an_answer_that_comes_late_is_thrown_away_and_the_next_ones_are_read_at_once() -> None:
    instrument, late = Instrument([0.01, 1.3, 0.01, 0.01]), list[bytes]()
    talk = conversation(instrument, late)
    assert talk.ask(b"P?") == b"P? 1"
    assert talk.ask(b"T?") is None
    began = instrument.now
    assert talk.ask(b"P?") == b"P? 4"
    assert late == [b"T? 2", b"P? 3"]
    assert instrument.now - began < 1.0, "all that was owed had come: there is nothing to wait for"


def test_a_question_that_is_lost_costs_one_answer_and_a_wait() -> None:
    instrument, late = Instrument([None]), list[bytes]()
    talk = conversation(instrument, late)
    assert talk.ask(b"P?") is None
    began = instrument.now
    assert talk.ask(b"P?") == b"P? 3"
    assert late == [b"P? 2"]
    assert LATE * WITHIN <= instrument.now - began < LATE * WITHIN + 1


def test_what_a_session_left_open_is_settled_in_the_next() -> None:
    instrument, doubt = Instrument([1.5]), Doubt()
    assert conversation(instrument, [], doubt).ask(b"P?") is None
    assert doubt.owed == 1
    answer = conversation(instrument, [], doubt).ask(b"T?")
    assert right(instrument, b"T?", answer)
    assert answer is not None


@pytest.mark.parametrize("pause", [1.8, 2.1, 2.4, 2.7])
def test_a_steadily_late_instrument_is_not_misread_after_a_pause_between_sessions(pause: float) -> None:
    """Its answers come as far apart as it was asked, and none may be forgotten before."""
    instrument, doubt = Instrument([6.0] * 12), Doubt()
    for _ in range(3):
        assert conversation(instrument, [], doubt).ask(b"P?") is None
    instrument.now += pause
    talk = conversation(instrument, [], doubt)
    for question in (b"T?", b"P?") * 20:
        answer = talk.ask(question)
        assert right(instrument, question, answer), f"{answer!r} for question {len(instrument.asked)}"
    assert answer is not None


def test_the_beginning_of_a_line_before_a_question_is_not_joined_to_its_answer() -> None:
    instrument, late = Instrument([]), list[bytes]()
    talk = conversation(instrument, late)
    assert talk.ask(b"P?") == b"P? 1"
    instrument.say(b"1")
    instrument.say(b"2.5\r\n", after=0.3)
    instrument.now += 0.1
    answer = talk.ask(b"P?")
    assert answer is not None
    assert right(instrument, b"P?", answer)


def test_lines_that_nobody_asked_for_are_thrown_away() -> None:
    instrument, late = Instrument([]), list[bytes]()
    talk = conversation(instrument, late)
    instrument.say(b"READY\r\n")
    instrument.now += 1
    assert talk.ask(b"P?") == b"P? 1"
    assert late == [b"READY"]


def test_the_end_of_a_session_ends_the_waiting() -> None:
    instrument = Instrument([None])
    stop = threading.Event()
    stop.set()
    talk = Conversation(
        instrument, stop, within=WITHIN, ending=b"\n", doubt=Doubt(), late=lambda _: None, clock=instrument.clock
    )
    assert talk.ask(b"P?") is None
    assert instrument.asked == []
