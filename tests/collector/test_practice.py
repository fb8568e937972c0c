"""Faults set by hand in a simulated unit while it runs: from the feed to the plant, and not a word in the recording."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from collector.commands import Commands
from collector.feed import Feed
from collector.practice import Practice
from collector.recording import Recording
from drivers.base import InputError
from drivers.manual import Manual
from drivers.simulate.causes import Cause
from tests.collector.calls import DRAFT, T0, Told, call
from tests.collector.test_feed import connected
from tests.support import until

WORDS = {"drain_blocked": "condensate drain blocked", "no_call": "call does not arrive"}


class Pretended(Told):
    """The driver of a simulated unit that only remembers what is wrong with it."""

    def __init__(self) -> None:
        super().__init__("simulated: unit", replace(DRAFT, instrument="simulated: draft meter"))
        self.causes: dict[str, Cause] = {}
        self.repaired: list[str] = []

    @property
    def words(self) -> Mapping[str, str]:
        return WORDS

    @property
    def set_now(self) -> Sequence[Cause]:
        return tuple(self.causes.values())

    def inject(self, cause: str, severity: float) -> None:
        self.causes[cause] = Cause(cause, severity)

    def repair(self, cause: str) -> None:
        self.repaired.append(cause)
        del self.causes[cause]


def test_a_driver_with_a_simulated_plant_is_known_as_one():
    assert isinstance(Pretended(), Practice)
    assert not isinstance(Told("meter", DRAFT), Practice)


async def test_what_is_set_over_the_feed_reaches_the_plant_and_leaves_no_trace(tmp_path: Path):
    plant, manual = Pretended(), Manual(now=lambda: T0)
    async with call(tmp_path / "a.lightoff", plant, manual) as collector:
        feed = Feed(collector, Commands(collector, manual=manual, plant=plant), about=dict)
        async with feed.serve() as (host, port), connected(host, port, feed.token) as client:
            assert (await client.next("status"))["practice"] == {"set": []}
            ok, answer = await client.command("inject", cause="drain_blocked", severity=0.65)
            assert ok
            assert "drain" not in answer, "somebody may look on who is to find it"
            assert plant.causes == {"drain_blocked": Cause("drain_blocked", 0.65)}
            told = {"set": [{"cause": "drain_blocked", "severity": 0.65}]}
            assert (await client.next("status", practice=told))["practice"] == told
            right = await client.command("repair", cause="drain_blocked")
            beside = await client.command("repair", cause="no_call")
            assert right == (True, "condensate drain blocked: in order from now on, whatever it was before")
            assert beside == (True, "call does not arrive: in order from now on, whatever it was before")
            assert plant.repaired == ["drain_blocked"]
            await client.next("status", practice={"set": []})
            assert (await client.command("note", text="seen"))[0]
        plant.say(plant.channels[0], 0, 0.5)
        await until(lambda: collector.latest, what="a reading")
    with Recording(tmp_path / "a.lightoff") as recording:
        texts = [f"{event.text} {event.subject} {event.data}" for event in recording.events()]
        assert any("seen" in text for text in texts)
        for word in ("drain", "no_call", "call does not arrive", "severity", "in order"):
            assert not any(word in text for text in texts), word
    assert b"drain" not in (tmp_path / "a.lightoff").read_bytes()


@pytest.mark.parametrize(
    ("name", "arguments", "says"),
    [
        ("inject", {"cause": "drain_bloked", "severity": 0.5}, "'drain_bloked' is nothing that can be wrong here"),
        ("inject", {"cause": "drain_blocked", "severity": 1.5}, "severity 1.5 of drain_blocked is outside 0 to 1"),
        ("inject", {"cause": "drain_blocked", "severity": "much"}, "'severity' must be a number"),
        ("inject", {"cause": "drain_blocked"}, "'severity' must be a number"),
        ("inject", {"severity": 0.5}, "'cause' must be a text"),
        ("repair", {"cause": "none"}, "'none' is nothing that can be wrong here"),
    ],
)
async def test_what_cannot_be_set_is_answered_in_one_sentence(tmp_path: Path, name, arguments, says):
    plant = Pretended()
    async with call(tmp_path / "a.lightoff", plant) as collector:
        commands = Commands(collector, plant=plant)
        with pytest.raises(InputError) as refused:
            commands.execute(name, arguments)
        assert says in str(refused.value)
    assert plant.causes == {}


async def test_without_a_simulated_unit_nothing_is_set(tmp_path: Path):
    async with call(tmp_path / "a.lightoff", Told("meter", DRAFT)) as collector:
        commands = Commands(collector)
        assert commands.practice_state() is None
        for name in ("inject", "repair"):
            with pytest.raises(InputError, match="no simulated unit is running"):
                commands.execute(name, {"cause": "drain_blocked", "severity": 0.5})
