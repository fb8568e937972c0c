"""Numbers typed in: the contract of a driver, and what is refused with which words."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from analysis.model import NANOSECONDS, Channel, Reading, origin_of
from analysis.points import MEASURES, POINTS
from drivers.base import Driver, Emission, InputError
from drivers.manual import LIMIT, Manual, parse_entry
from tests.drivers.battery import DriverBattery
from tests.drivers.bench import Ability, Bench, Failure
from tests.drivers.session import Session
from tests.support import StillClock


class _ManualBench:
    """A person who types fast."""

    def __init__(self) -> None:
        self.driver = Manual(StillClock())

    def make(self, *, patience: float = 30.0) -> Driver:
        return self.driver

    def listening(self, emitted: Sequence[Emission]) -> bool:
        return True

    def say(self, count: int) -> None:
        for number in range(count):
            self.driver.enter("draft_collector", number / 100, "inH2O", "gauge")

    def failures(self) -> Sequence[Failure]:
        return ()

    def lose(self) -> None:
        raise AssertionError("a person does not vanish")

    def bring_back(self) -> None:
        raise AssertionError("a person does not vanish")

    def flood(self) -> int:
        for number in range(3 * LIMIT):
            with suppress(InputError):
                self.driver.enter("draft_vent", number, "Pa")
        return 3 * LIMIT

    @contextmanager
    def flooding(self) -> Iterator[None]:
        stop = threading.Event()

        def type_on() -> None:
            while not stop.is_set():
                with suppress(InputError):
                    self.driver.enter("draft_vent", 1.0, "Pa")

        thread = threading.Thread(target=type_on, name="flood")
        thread.start()
        try:
            yield
        finally:
            stop.set()
            thread.join()

    def lost(self) -> int:
        return self.driver.statistics()["refused"]

    def nonsense(self) -> None:
        raise AssertionError("nonsense is refused when it is entered")

    def unreadable(self) -> int:
        raise AssertionError("nonsense is refused when it is entered")

    def close(self) -> None:
        """Nothing to take down."""


class TestManualContract(DriverBattery):
    """The battery on a person, who cannot vanish and whose nonsense is refused when entered."""

    cannot = frozenset({Ability.FAIL, Ability.LOSE, Ability.SILENCE, Ability.NONSENSE})

    def bench(self, folder: Path) -> Bench:
        """A person who types fast."""
        return _ManualBench()


def test_cases_that_make_no_sense_do_not_exist() -> None:
    assert getattr(TestManualContract, "test_silence_raises") is None  # noqa: B009
    assert callable(TestManualContract.test_a_flood_is_bounded_and_counted_to_the_last)


async def test_entries_wait_for_a_session_and_come_after_their_channel() -> None:
    manual = Manual(StillClock())
    first = manual.enter("draft_collector", -1.25, "in. w.c.", "slanted  tube")
    second = manual.enter("call_heat", 1, "")
    assert manual.statistics() == {"entered": 2, "refused": 0, "waiting": 2}
    session = Session(manual)
    await session.until(lambda: len(session.readings) == 2, "both readings")
    third = manual.enter("draft_collector", -1.2, "in. w.c.", "slanted tube")
    await session.until(lambda: len(session.readings) == 3, "a third reading")
    await session.cancel()
    tube = Channel("draft_collector", "by hand: slanted tube", "in. w.c.")
    call = Channel("call_heat", "by hand: not named", "")
    assert session.emitted == [tube, first, call, second, third]
    assert manual.channels == (tube, call)
    assert all(origin_of(channel.instrument) == "by hand" for channel in manual.channels)
    assert manual.statistics()["waiting"] == 0


async def test_an_entry_that_the_listener_refused_waits_for_the_next_session() -> None:
    manual = Manual(StillClock())
    manual.enter("temp_flue", 118, "degF")

    def refuse(emission: Emission) -> None:
        if isinstance(emission, Reading):
            raise OSError("disk full")

    assert isinstance(await Session(manual, refuse).failure(), OSError)
    session = Session(manual)
    await session.until(lambda: session.readings, "reading")
    await session.cancel()
    assert [type(emission) for emission in session.emitted] == [Channel, Reading]


def test_another_unit_at_the_same_meter_is_another_channel_and_the_number_stays_as_typed() -> None:
    manual = Manual(StillClock())
    manual.enter("temp_supply", 122, "degF", "probe")
    assert manual.enter("temp_supply", 50, "°C", "probe").value == 50
    assert manual.enter("temp_supply", 50, "°C", "other probe").value == 50
    assert [channel.unit for channel in manual.channels] == ["degF", "°C", "°C"]
    assert [channel.instrument for channel in manual.channels] == [
        "by hand: probe",
        "by hand: probe (°C)",
        "by hand: other probe",
    ]
    again = Manual(StillClock(), known=manual.channels)
    again.enter("temp_supply", 50, "°C", "probe")
    assert [channel.instrument for channel in again.channels] == ["by hand: probe (°C)"], "a recording is continued"


def test_two_entries_of_one_instant_are_two_readings() -> None:
    """While a replay is paused its now stands still; the second number must not be taken for the first."""
    manual = Manual(StillClock())
    times = [manual.enter("draft_vent", value, "Pa").time for value in (1.0, 2.0, 3.0)]
    assert times == [times[0], times[0] + 1000, times[0] + 2000]


@pytest.mark.parametrize("point", sorted(POINTS))
def test_every_point_takes_its_unit_of_the_screen(point: str) -> None:
    measure = MEASURES[POINTS[point].measure]
    for unit in (measure.inside, measure.trade, measure.metric):
        reading = Manual(StillClock()).enter(point, 1, unit)
        assert isinstance(reading.value, float)
        assert reading.value == 1


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (("draft_colector", 1, "Pa"), "no point 'draft_colector'; nearest known: draft_collector"),
        (("temp_rise", 1, "degF"), "no point 'temp_rise'"),
        (("draft_collector", 1, "V"), "does not measure"),
        (("draft_collector", 1, "inH20"), "unknown unit 'inH20'"),
        (("draft_collector", 1, ""), "has no unit; write for example '1 inH2O'"),
        (("humidity_room", 45, " "), "has no unit; write for example '45 %'"),
        (("draft_collector", float("nan"), "Pa"), "not a finite number"),
        (("draft_collector", float("-inf"), "Pa"), "not a finite number"),
        (("draft_collector", 1e308, "kPa"), "not a finite number"),
        (("draft_collector", 1, "Pa", "a@b"), "name of a meter"),
        (("draft_collector", 1, "Pa", "[a]"), "name of a meter"),
        (("draft_collector", 1, "Pa", "a\x07"), "name of a meter"),
        (("draft_collector", 1, "Pa", "a" * 41), "name of a meter"),
        (("draft_collector", 1, "Pa", "", StillClock().time + NANOSECONDS + 1), "in the future"),
        (("draft_collector", 1, "Pa", "", -1), "before 1970"),
    ],
)
def test_what_cannot_be_taken_is_refused_in_one_sentence(entry: tuple[object, ...], words: str) -> None:
    manual = Manual(StillClock())
    with pytest.raises(InputError) as raised:
        manual.enter(*entry)  # type: ignore[arg-type]
    assert words in str(raised.value)
    assert str(raised.value).startswith("by hand: ")
    assert "\n" not in str(raised.value)
    assert manual.statistics() == {"entered": 0, "refused": 1, "waiting": 0}
    assert manual.channels == ()


def test_an_entry_may_be_dated_back_and_one_second_ahead() -> None:
    clock = StillClock()
    manual = Manual(clock)
    for time in (clock.time, clock.time + NANOSECONDS, clock.time - 3600 * NANOSECONDS):
        assert manual.enter("temp_outdoor", -7, "degC", time=time).time == time


def test_when_nobody_takes_them_entries_are_refused_aloud() -> None:
    manual = Manual(StillClock(), limit=3)
    for number in range(3):
        manual.enter("temp_room", number, "degC")
    with pytest.raises(InputError, match="3 entries wait already; start the recording"):
        manual.enter("temp_room", 4, "degC")
    assert manual.statistics() == {"entered": 3, "refused": 1, "waiting": 3}


async def test_the_number_of_meters_is_bounded() -> None:
    manual = Manual(StillClock(), limit=2)
    session = Session(manual)
    for meter in ("a", "b"):
        manual.enter("temp_room", 20, "degC", meter)
    await session.until(lambda: len(session.readings) == 2, "readings")
    with pytest.raises(InputError, match="2 meters are known"):
        manual.enter("temp_room", 20, "degC", "c")
    manual.enter("temp_room", 20, "degC", "a")
    await session.until(lambda: len(session.readings) == 3, "reading of a known meter")
    await session.cancel()


@pytest.mark.parametrize(
    ("text", "entry"),
    [
        ("0.52 inH2O", (0.52, "inH2O")),
        (" -1.25 in. w.c. ", (-1.25, "in. w.c.")),
        ("−3 Pa", (-3.0, "Pa")),  # noqa: RUF001
        ("35F", (35.0, "F")),
        (".5 %", (0.5, "%")),
        ("1e-6 A", (1e-6, "A")),
        ("1", (1.0, "")),
    ],
)
def test_typed_entries(text: str, entry: tuple[float, str]) -> None:
    assert parse_entry(text) == entry


@pytest.mark.parametrize("text", ["", "inH2O", "0.5.2 Pa", "1 2 Pa", "nan Pa", "0,52 Pa", "1,000 Pa", "1/2 Pa x\n5"])
def test_typed_entries_that_are_not_a_number_with_a_unit(text: str) -> None:
    if text.startswith("1/2"):
        _, unit = parse_entry("1/2 Pa")
        with pytest.raises(InputError, match="unit"):
            Manual(StillClock()).enter("draft_vent", 1, unit)
        return
    with pytest.raises(InputError, match="not a number with a unit"):
        parse_entry(text)


@pytest.mark.parametrize(
    ("point", "text", "value"),
    [
        ("switch_closed", "closed", 1.0),
        ("switch_closed", " Open", 0.0),
        ("switch_closed", "1", 1.0),
        ("gas_valve", "on", 1.0),
        ("gas_valve", "off", 0.0),
    ],
)
def test_the_state_of_a_contact_may_be_a_word(point: str, text: str, value: float):
    assert parse_entry(text, point) == (value, "")


@pytest.mark.parametrize(
    ("point", "text", "hint"),
    [
        ("gas_valve", "closed", "write 1 or 0, or on or off; 1 is: gas valve energised"),
        ("humidifier_valve", "open", "write 1 or 0, or on or off; 1 is: humidifier valve open"),
        ("switch_closed", "on", "write 1 or 0, or closed or open; 1 is: pressure switch closed"),
        ("gas_manifold", "closed", "write for example '0.52 inH2O'"),
    ],
)
def test_a_word_that_means_nothing_at_a_point_is_refused(point: str, text: str, hint: str):
    """An open valve is on, and an open switch is off."""
    with pytest.raises(InputError) as caught:
        parse_entry(text, point)
    assert caught.value.hint == hint
