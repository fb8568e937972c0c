"""The contract of every driver as one battery of tests.

A driver is added in its own test module: a bench (`class FooBench` with the members of `Bench`) over a real peer, and

    class TestFooContract(DriverBattery):
        cannot = frozenset({Ability.LOSE})          # only what makes no sense for it

        def bench(self, folder: Path) -> Bench:
            return FooBench(folder)

Cases whose ability is in `cannot` do not exist there, so that nothing is skipped. A bench whose source is finite (a
file) makes it long enough for the test not to see its end, and lets it go on by as many readings as `say` is given.
"""

import asyncio
from collections import defaultdict
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import ClassVar, TypeVar

from analysis.model import Channel, Reading
from drivers.base import Driver, DriverError, Emission, SilentError
from tests.drivers.bench import Ability, Bench
from tests.drivers.session import DefectError, Session, nothing_left
from tests.support import until

Case = TypeVar("Case", bound=Callable[..., object])


def needs(ability: Ability) -> Callable[[Case], Case]:
    """Mark a case that a driver without this ability does not have."""

    def mark(case: Case) -> Case:
        case.needed = ability  # type: ignore[attr-defined]
        return case

    return mark


class DriverBattery:
    """The cases; a subclass named `Test...` gives the bench."""

    cannot: ClassVar[frozenset[Ability]] = frozenset()

    def __init_subclass__(cls) -> None:
        for name, case in vars(DriverBattery).items():
            if getattr(case, "needed", None) in cls.cannot:
                setattr(cls, name, None)

    def bench(self, folder: Path) -> Bench:
        """A fresh bench; `folder` is empty and its own."""
        raise AssertionError(f"{type(self).__name__} gives no bench")

    async def test_emits_readings_of_announced_channels_only(self, tmp_path: Path) -> None:
        """A channel comes before its first reading, and a value is a float."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            known = {channel.key for channel in driver.channels}
            session = await Session(driver).listen(bench)
            await session.hear(bench, 5)
            await session.cancel()
        for emission in session.emitted:
            if isinstance(emission, Channel):
                known.add(emission.key)
            elif isinstance(emission, Reading):
                assert emission.channel in known, f"{emission.channel} was not announced"
                assert isinstance(emission.value, float), f"{emission.value!r} is not a float"

    async def test_every_reading_is_emitted_once(self, tmp_path: Path) -> None:
        """What the peer says comes out once."""
        with closing(self.bench(tmp_path)) as bench:
            session = await Session(bench.make()).listen(bench)
            await session.hear(bench, 7)
            await session.hear(bench, 1)
            await session.cancel()
        assert len(session.readings) == 8, f"{len(session.readings)} readings of 8 things said"

    async def test_times_are_whole_nanoseconds_that_do_not_fall(self, tmp_path: Path) -> None:
        """Times are of type int and do not fall within a channel."""
        with closing(self.bench(tmp_path)) as bench:
            session = await Session(bench.make()).listen(bench)
            await session.hear(bench, 20)
            await session.cancel()
        times: dict[str, list[int]] = defaultdict(list)
        for reading in session.readings:
            assert type(reading.time) is int, f"{reading.time!r} is not an int"
            times[reading.channel].append(reading.time)
        for channel, series in times.items():
            assert series == sorted(series), f"times of {channel} fall: {series}"

    async def test_cancelled_at_once(self, tmp_path: Path) -> None:
        """A session that had hardly begun ends and leaves nothing."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            with nothing_left():
                session = Session(driver)
                await asyncio.sleep(0)
                await session.cancel()

    async def test_cancelled_while_waiting_leaves_nothing(self, tmp_path: Path) -> None:
        """A session that waits for its peer ends and leaves nothing."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            with nothing_left():
                session = await Session(driver).listen(bench)
                await session.hear(bench, 1)
                await session.cancel()

    async def test_cancelled_twice_leaves_nothing(self, tmp_path: Path) -> None:
        """A session that is cancelled again while it ends still cleans up."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            with nothing_left():
                session = await Session(driver).listen(bench)
                session.task.cancel()
                await asyncio.sleep(0)
                await asyncio.sleep(0)
                await session.cancel()

    async def test_a_new_session_after_a_cancelled_one(self, tmp_path: Path) -> None:
        """One driver serves any number of sessions."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            for _ in range(3):
                session = await Session(driver).listen(bench)
                await session.hear(bench, 3)
                await session.cancel()

    async def test_what_emit_raises_is_heard_and_leaves_nothing(self, tmp_path: Path) -> None:
        """An error of the one who listens comes out of `run` and ends the session."""
        defect = DefectError("of the one who listens")

        def refuse(emission: Emission) -> None:
            if isinstance(emission, Reading):
                raise defect

        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            with nothing_left():
                session = await Session(driver, refuse).listen(bench)
                bench.say(3)
                assert await session.failure() is defect, "another error than the listener's came out"
                assert len(session.readings) == 1, "the session went on after the listener's error"
                del session
                defect.__traceback__ = None
            again = await Session(driver).listen(bench)
            await again.hear(bench, 1)
            await again.cancel()

    @needs(Ability.FAIL)
    async def test_what_hinders_a_session_is_named_and_passes(self, tmp_path: Path) -> None:
        """A first session that cannot start says why; when the reason is gone a new one works."""
        with closing(self.bench(tmp_path)) as bench:
            for failure in bench.failures():
                driver = bench.make()
                with failure.prepared(), nothing_left():
                    error = await Session(driver).failure()
                _assert_speaks(error, driver, failure.expected, failure.title)
                session = await Session(driver).listen(bench)
                await session.hear(bench, 2)
                await session.cancel()

    @needs(Ability.LOSE)
    async def test_a_lost_peer_raises_and_a_new_session_finds_it_again(self, tmp_path: Path) -> None:
        """Losing the peer raises at once, and again while it is away, until it is back."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            for _ in range(2):
                session = await Session(driver).listen(bench)
                await session.hear(bench, 3)
                bench.lose()
                error = await session.failure()
                _assert_speaks(error, driver, DriverError, "lost")
                assert isinstance(error, DriverError)
                assert error.retry, "a lost peer may come back"
                with nothing_left():
                    away = await Session(driver).failure()
                _assert_speaks(away, driver, DriverError, "away")
                bench.bring_back()
            session = await Session(driver).listen(bench)
            await session.hear(bench, 3)
            await session.cancel()

    @needs(Ability.LOSE)
    async def test_losing_the_peer_leaves_nothing(self, tmp_path: Path) -> None:
        """A session that lost its peer leaves nothing."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            session = await Session(driver).listen(bench)
            await session.cancel()
            bench.lose()
            bench.bring_back()
            with nothing_left():
                session = await Session(driver).listen(bench)
                await session.hear(bench, 1)
                bench.lose()
                await session.failure()

    @needs(Ability.SILENCE)
    async def test_silence_raises(self, tmp_path: Path) -> None:
        """A peer that is there and says nothing is told from one that is well."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make(patience=0.3)
            with nothing_left():
                error = await Session(driver).failure()
            _assert_speaks(error, driver, SilentError, "silent")

    @needs(Ability.FLOOD)
    async def test_a_flood_is_bounded_and_counted_to_the_last(self, tmp_path: Path) -> None:
        """What does not fit is counted: readings and losses add up to what was said."""
        with closing(self.bench(tmp_path)) as bench:
            session = await Session(bench.make()).listen(bench)
            await session.hear(bench, 1)
            before = bench.lost()
            said = bench.flood()
            await session.until(lambda: len(session.readings) + bench.lost() - before > said, "end of the flood")
            said += 1 + await _said_until_heard(session, bench)
            everything = lambda: len(session.readings) + bench.lost() - before  # noqa: E731
            await session.until(lambda: everything() >= said, "the last of it")
            await session.cancel()
            assert bench.lost() > before, "the flood was held whole: what is the bound?"
            assert everything() == said, f"{len(session.readings)} read, {bench.lost() - before} lost of {said}"

    @needs(Ability.FLOOD)
    async def test_cancelled_during_a_flood_leaves_nothing(self, tmp_path: Path) -> None:
        """A session in a flood ends in time and leaves nothing."""
        with closing(self.bench(tmp_path)) as bench:
            driver = bench.make()
            with nothing_left():
                session = await Session(driver).listen(bench)
                with bench.flooding():
                    await session.until(lambda: len(session.readings) > 100, "flood")
                    await session.cancel()

    @needs(Ability.NONSENSE)
    async def test_nonsense_is_counted_and_makes_no_reading(self, tmp_path: Path) -> None:
        """What cannot be read makes neither a reading nor an error, and is counted."""
        with closing(self.bench(tmp_path)) as bench:
            session = await Session(bench.make()).listen(bench)
            before = bench.unreadable()
            bench.nonsense()
            await session.until(lambda: bench.unreadable() > before, "counted nonsense")
            await session.hear(bench, 2)
            await session.cancel()
            assert len(session.readings) == 2, f"nonsense became a reading: {session.readings}"


async def _said_until_heard(session: Session, bench: Bench) -> int:
    """Let the peer say one thing after another until one is heard: who is limited is not heard at once. [1]"""
    before = len(session.readings)
    for said in range(1, 51):
        bench.say(1)
        with suppress(AssertionError):
            await until(lambda: len(session.readings) > before, within=0.2)
            return said
    raise AssertionError("nothing is heard after a flood")


def _assert_speaks(error: BaseException | None, driver: Driver, expected: type[DriverError], title: str) -> None:
    """The error is the program's own, names the instrument, and is one sentence."""
    assert isinstance(error, expected), f"{title}: {error!r} is no {expected.__name__}"
    assert error.instrument == driver.name, f"{title}: the error is about {error.instrument!r}"
    assert driver.name in str(error), f"{title}: no name in {str(error)!r}"
    assert "\n" not in str(error), f"{title}: more than a line in {str(error)!r}"
    assert error.hint, f"{title}: no word on what to try in {str(error)!r}"
