"""Which entry of a meter stands for now."""

from analysis.model import Reading
from collector.typed import KEPT, Typed, is_typed

KEY = "gas_inlet@by hand: dial gauge"


def at(time: int) -> Reading:
    return Reading(KEY, time, float(time))


def test_the_newest_by_its_own_time_stands_for_now():
    typed = Typed()
    assert [typed.take(at(time)) for time in (5, 3, 5, 7)] == [True, False, True, True]
    assert typed.newest(KEY) == at(7)


def test_what_was_withdrawn_does_not_stand_again_when_a_replay_is_moved_back_to_it():
    typed = Typed()
    typed.take(at(5))
    typed.take(at(7))
    assert typed.withdraw(KEY, 7)
    assert typed.newest(KEY) == at(5)
    typed.moved()
    assert typed.newest(KEY) is None
    assert [typed.take(at(time)) for time in (3, 5, 7)] == [True, True, False]


def test_withdrawing_an_older_one_changes_nothing_that_is_shown():
    typed = Typed()
    typed.take(at(5))
    typed.take(at(7))
    assert not typed.withdraw(KEY, 5)
    assert not typed.withdraw("room_co@by hand: badge", 5)
    assert typed.newest(KEY) == at(7)


def test_what_is_remembered_is_bounded():
    typed = Typed()
    for time in range(3 * KEPT):
        typed.take(at(time))
    assert len(typed._entries[KEY]) == KEPT


def test_typed_in_is_what_was_typed_in_now_or_in_what_is_replayed():
    assert is_typed("by hand: dial gauge")
    assert is_typed("replay: by hand: dial gauge")
    assert not is_typed("dial gauge")
    assert not is_typed("replay: dial gauge")
