"""One table of words for phases and outcomes."""

import re
from itertools import chain

from analysis.sequence.attempts import OUTCOMES, PHASES
from collector.sequence_words import OUTCOME_WORDS, PHASE_WORDS, in_words


def test_every_phase_and_outcome_has_words_in_the_order_of_the_vocabulary() -> None:
    assert list(PHASE_WORDS) == list(PHASES)
    assert list(OUTCOME_WORDS) == list(OUTCOMES)


def test_short_words_are_short_and_differ() -> None:
    for table in (PHASE_WORDS, OUTCOME_WORDS):
        short = [words.short for words in table.values()]
        assert len(set(short)) == len(short)
        assert max(map(len, short)) <= 20


def test_the_words_are_those_of_the_trade() -> None:
    words = chain(PHASE_WORDS.values(), OUTCOME_WORDS.values())
    text = " ".join(f"{one}" for one in words).casefold()
    assert not re.search(r"misset|shelve|\bbits?\b|quality|jumper|bypass", text)
    assert OUTCOME_WORDS["draft_not_proved"].text == "pressure switch did not close"


def test_a_roll_out_is_a_stop_without_a_reset() -> None:
    stops = {name: words.stop for name, words in OUTCOME_WORDS.items() if words.stop}
    assert list(stops) == ["rollout_open"]
    assert stops["rollout_open"].startswith("STOP:")
    assert "No reset" in stops["rollout_open"]


def test_names_of_outcomes_in_a_sentence_are_said_in_words() -> None:
    said = in_words("the channels there cannot tell flame_lost from heat")
    assert said == "the channels there cannot tell flame lost from heat"
