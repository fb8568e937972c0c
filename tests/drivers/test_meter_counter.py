"""An instrument's counter: nothing is lost twice, and what comes late or twice is known as that."""

from collections import Counter

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.model import NANOSECONDS
from drivers.meter_counter import PAUSE, WINDOW, CounterWatch, Place

SECOND = NANOSECONDS
NEXT, AGAIN, LATE, RESTARTED = Place.NEXT, Place.AGAIN, Place.LATE, Place.RESTARTED


def followed(size: int, *messages: tuple[float, int] | None) -> tuple[list[Place], CounterWatch]:
    """Places of messages that came at so many seconds with such a number; None: another session begins."""
    watch, places = CounterWatch(size), []
    for message in messages:
        if message is None:
            watch.begin()
        else:
            at, number = message
            places.append(watch.step(number, f"{number}", round(at * SECOND)))
    return places, watch


def every_second(*numbers: int) -> list[tuple[float, int]]:
    return [(float(at), number) for at, number in enumerate(numbers)]


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_readings_duplicates_and_losses_add_up_in_any_order(data: st.DataObject) -> None:
    """Of a counter of eight bits that goes round: what was sent is what was taken once and what is missing."""
    sent = data.draw(st.integers(20, 600), label="sent")
    first = data.draw(st.integers(0, 255), label="first")
    lost = data.draw(st.sets(st.integers(1, sent - 2), max_size=sent // 3), label="lost")
    twice = data.draw(st.sets(st.integers(0, sent - 1), max_size=20), label="twice")
    late = data.draw(st.dictionaries(st.integers(1, sent - 2), st.integers(0, 6), max_size=sent // 2), label="late")
    # A message that comes late lets others pass; those sent twice come again three behind themselves.
    arrivals = [(number + late.get(number, 0) + 0.5 * (number in late), number) for number in range(sent)]
    arrivals = [arrival for arrival in arrivals if arrival[1] not in lost]
    arrivals += [(place + 3.25, number) for place, number in arrivals if number in twice]
    watch, counts = CounterWatch(256), Counter[Place]()
    for place, number in sorted(arrivals):
        counts[watch.step(first + number, f"content {number}", round(place * 0.1 * SECOND))] += 1
    assert counts[RESTARTED] == 0
    assert sum(counts.values()) == len(arrivals)
    assert counts[AGAIN] == sum(number in twice for number in range(sent) if number not in lost)
    assert counts[NEXT] + counts[LATE] == sent - len(lost)
    assert watch.missing == len(lost)


@given(
    st.lists(st.tuples(st.integers(0, 2**32), st.integers(0, 10**11)), max_size=60),
    st.one_of(st.integers(2, 300), st.just(2**32)),
)
def test_any_numbers_at_all_are_taken_and_nothing_grows(messages: list[tuple[int, int]], size: int) -> None:
    watch, time = CounterWatch(size), 0
    for number, pause in messages:
        time += pause
        watch.step(number, "", time)
    assert watch.missing >= 0
    assert len(watch._seen) <= 17
    assert len(watch._absent) <= 17


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_what_a_counter_of_any_width_lost_is_missing_and_no_restart(data: st.DataObject) -> None:
    """Fewer than half the circle are lost at a time, and whether they come evenly or in bursts tells nothing else."""
    bits = data.draw(st.integers(4, 16), label="bits")
    most = min((1 << bits) // 2 - 1, 2 * WINDOW - 1)
    losses = data.draw(st.lists(st.integers(0, most), min_size=2, max_size=60), label="losses")
    number = data.draw(st.integers(0, (1 << bits) - 1), label="first")
    evenly, spacing = data.draw(st.booleans(), label="evenly"), data.draw(st.sampled_from([0.05, 0.1]), label="spacing")
    watch, time, places = CounterWatch(1 << bits), 0, []
    for lost in (0, 0, *losses):
        number += lost + 1
        time += round((lost + 1 if evenly else 1) * spacing * SECOND)
        places.append(watch.step(number, f"{number}", time))
    assert set(places) == {NEXT}
    assert watch.missing == sum(losses)


def test_few_bits_are_enough_for_what_was_lost_between() -> None:
    for bits, numbers, missing in ((4, (14, 15, 20, 21), 4), (8, (250, 251, 269, 270), 17)):
        places, watch = followed(1 << bits, *((0.1 * at, number) for at, number in enumerate(numbers)))
        assert places == [NEXT] * 4
        assert watch.missing == missing


def test_a_count_of_few_bits_that_begins_again_between_two_messages_was_switched_off() -> None:
    places, _ = followed(256, *((30.0 * at, number) for at, number in enumerate((200, 201, 202, 0, 1))))
    assert places[-2:] == [RESTARTED, NEXT]


def test_a_count_that_went_round_before_its_pace_is_known_was_not_switched_off() -> None:
    places, watch = followed(256, (0.0, 254), (30.0, 1))
    assert places == [NEXT, NEXT]
    assert watch.missing == 2


def test_a_counter_that_stands_still_loses_no_message() -> None:
    watch = CounterWatch(256)
    assert {watch.step(0, "20.0 degC", at * 30 * SECOND) for at in range(60)} == {NEXT}
    watch = CounterWatch(256)
    assert {watch.step(0, f"{at} degC", at * SECOND // 10) for at in range(60)} == {NEXT}, (
        "also where they come at once"
    )


def test_the_number_of_before_in_another_session_is_another_message() -> None:
    watch = CounterWatch(256)
    assert watch.step(7, "20.0 degC", 0) is NEXT
    assert watch.step(7, "20.0 degC", SECOND) is AGAIN
    watch.begin()
    assert watch.step(7, "20.0 degC", 2 * SECOND) is NEXT
    assert watch.step(7, "20.0 degC", 3 * SECOND) is AGAIN, "and in that one it came twice"


def test_a_message_that_is_sent_until_the_next_one_is_taken_once_when_its_pace_is_known() -> None:
    watch = CounterWatch(256)
    places = [watch.step(at // 60, f"{at // 60} degC", at * SECOND) for at in range(0, 240, 4)]
    assert places[15:] == [NEXT, *[AGAIN] * 14] * 3


def test_it_goes_round_without_a_loss() -> None:
    places, watch = followed(256, *every_second(254, 255, 0, 1))
    assert places == [NEXT] * 4
    assert watch.missing == 0


def test_a_counter_of_decimal_digits_goes_round_without_a_loss_and_was_not_switched_off() -> None:
    places, watch = followed(10_000, *every_second(9996, 9997, 9999, 0, 1))
    assert places == [NEXT] * 5
    assert watch.missing == 1
    assert followed(1 << 16, *every_second(9998, 9999, 0))[0][-1] is RESTARTED, "its size is what tells the two apart"


def test_a_late_message_is_no_longer_missing() -> None:
    places, watch = followed(256, *every_second(1, 2, 5, 4, 6))
    assert places == [NEXT, NEXT, NEXT, LATE, NEXT]
    assert watch.missing == 1


def test_two_parts_of_one_number_are_no_duplicate() -> None:
    watch = CounterWatch(256)
    assert watch.step(7, "pressure 1.0", 0) is NEXT
    assert watch.step(7, "temperature 20.0", SECOND // 10) is NEXT
    assert watch.step(7, "pressure 1.0", SECOND // 5) is AGAIN


def test_a_counter_that_begins_again_after_a_pause_was_switched_off() -> None:
    places, watch = followed(65536, *every_second(900, 901, 902), None, (30.0, 3), (31.0, 4))
    assert places[-2:] == [RESTARTED, NEXT]
    assert watch.missing == 0
    places, _ = followed(256, *every_second(100, 101, 102), None, (14.0, 2))
    assert places[-1] is RESTARTED, "also where the circle is small"


def test_a_counter_that_begins_again_at_once_was_switched_off() -> None:
    places, _ = followed(65536, *every_second(900, 901, 902, 0, 1))
    assert places[-2:] == [RESTARTED, NEXT]


def test_a_radio_that_was_lost_is_no_instrument_that_was_switched_off() -> None:
    """The counter went round meanwhile; the numbers of the pause are missing."""
    places, watch = followed(256, *every_second(*range(200, 206)), None, (65.0, 265 % 256), (66.0, 266 % 256))
    assert places[-2:] == [NEXT, NEXT]
    assert watch.missing == 59


def test_a_pause_in_which_nobody_knows_how_often_it_went_round_tells_no_number() -> None:
    places, watch = followed(256, *every_second(200, 201, 202), None, (3600.0, 17))
    assert places[-1] is NEXT
    assert watch.missing == 0


def test_an_instrument_that_speaks_seldom_was_not_switched_off() -> None:
    places, watch = followed(65536, (0, 5), (1, 6), (2, 7), (60, 8), (200, 9))
    assert places == [NEXT] * 5
    assert watch.missing == 0


def test_what_is_missing_is_told_once_with_its_span_and_not_at_once() -> None:
    _, watch = followed(256, *every_second(1, 2, 5, 6, 9))
    assert watch.waiting
    assert watch.told(2 * SECOND + PAUSE - 1) is None
    told = watch.told(2 * SECOND + PAUSE)
    assert told is not None
    assert told == (4, 1 * SECOND, 4 * SECOND)
    assert watch.told(10**12) is None
    assert not watch.waiting
