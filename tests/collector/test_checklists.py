"""Checks of a call: ticked, opened, closed, kept in the recording, taken up again, replayed, refused."""

import asyncio
import re
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from analysis.model import Event, EventKind, Reading
from collector.check_states import MOST_OPEN, MOST_TICKS, REMEMBERED
from collector.checklists import INDUCER_ONLY, LISTS, OPENINGS, OTHER, words
from collector.checks import LONGEST_DETAIL, Checklists
from collector.collector import Collector
from collector.recording import Recording
from collector.store import Store
from drivers.base import InputError
from drivers.replay import Replay
from tests.collector.calls import DRAFT, SECOND, T0, Told, call
from tests.support import until


def names(checks: Checklists) -> list[str]:
    opened: Any = checks.status()["open"]
    return [entry["text"] for entry in opened]


def ticked(checks: Checklists, name: str) -> list[str]:
    lists: Any = checks.status()["lists"]
    return [tick["item"] for one in lists if one["list"] == name for tick in one["ticked"]]


def written(path: Path) -> list[Event]:
    with Recording(path) as recording:
        return recording.events({EventKind.CHECK})


async def kept(collector: Collector) -> None:
    """Wait until everything taken in is in the recording."""
    async with asyncio.timeout(10):
        await collector.recorder.caught_up()


def opened(number: int, item: str, text: str, seconds: float, state: str = "open") -> Event:
    data = {"list": "open", "item": item, "state": state, "id": f"open-{number}"}
    return Event(T0 + round(seconds * SECOND), EventKind.CHECK, text, None, data)


def tick(name: str, item: str, text: str, seconds: float, state: str = "ticked") -> Event:
    data = {"list": name, "item": item, "state": state, "id": f"{name}-{item}"}
    return Event(T0 + round(seconds * SECOND), EventKind.CHECK, text, None, data)


def test_the_lists_stand_in_the_order_of_the_trade_and_every_name_is_its_own():
    before, safe = ([item.item for item in one.items] for one in LISTS)
    assert before == ["room_co", "smell", "plate", "faults", "filter", "terminations", "zeroed", "appliances"]
    assert safe[:4] == ["ports", "tees", "hoses", "trap"]
    assert [item.item for item in LISTS[1].items if item.instead] == ["tagged"]
    everything = [one.item for one in (*OPENINGS, OTHER)]
    assert len(set(everything)) == len(everything)
    assert all(len(set(names)) == len(names) for names in (before, safe))


def test_what_must_not_fire_says_so_and_nothing_advises_to_defeat_a_safety():
    firing = {one.item: one.caution for one in OPENINGS if one.firing}
    assert firing.pop("drain") == "power off; prime the trap again before firing"
    assert firing == dict.fromkeys(("burner_box", "intake_pipe", "vent_joint"), INDUCER_ONLY)
    text = str(words()) + " ".join(one.caution + one.closed for one in OPENINGS)
    assert not re.search(r"jumper|bypass|taped", text)
    assert [part.strip() for part in re.findall(r"[^;,']*\btape\b", text)] == ["never tape"] * text.count("tape it")


async def test_ticks_and_openings_are_told_and_kept_in_the_recording(tmp_path):
    path = tmp_path / "a.lightoff"
    async with call(path) as collector:
        checks = Checklists(collector)
        assert checks.check({"list": "before", "item": "zeroed", "done": True}) == "before you start: meters zeroed"
        assert ticked(checks, "before") == ["zeroed"]
        assert checks.check({"list": "before", "item": "zeroed", "done": True}).endswith("ticked already")
        checks.check({"list": "before", "item": "zeroed", "done": False})
        assert ticked(checks, "before") == []
        assert checks.open({"item": "burner_box"}) == "opened: burner-box cover off"
        checks.open({"item": "vent_joint", "text": " second  elbow "})
        checks.open({"item": "other", "text": "ladder: leans on the vent"})
        status: Any = checks.status()
        assert [(one["id"], one["text"], one["caution"]) for one in status["open"]] == [
            ("open-1", "burner-box cover off", INDUCER_ONLY),
            ("open-2", "vent joint open (second elbow)", INDUCER_ONLY),
            ("open-3", "ladder: leans on the vent", ""),
        ]
        assert checks.left_open().startswith("still open: burner-box cover off, vent joint open (second elbow), ladder")
        assert checks.close({"id": "open-1"}) == "closed: burner-box cover refitted"
        assert checks.close({"id": "open-3"}) == "closed: ladder: leans on the vent, put back"
        assert checks.reopen({"id": "open-1"}) == "opened again: burner-box cover off"
        assert names(checks) == ["vent joint open (second elbow)", "burner-box cover off"]
        status = checks.status()
        (done,) = status["closed"]
        assert done["how"] == "ladder: leans on the vent, put back"
        assert done["closed"] >= done["since"]
        await kept(collector)
    assert [(event.text, event.data) for event in written(path)][:4] == [
        (
            "before you start: meters zeroed",
            {"list": "before", "item": "zeroed", "state": "ticked", "id": "before-zeroed"},
        ),
        (
            "before you start: meters zeroed, not done",
            {"list": "before", "item": "zeroed", "state": "unticked", "id": "before-zeroed"},
        ),
        (
            "opened: burner-box cover off",
            {"list": "open", "item": "burner_box", "state": "open", "id": "open-1"},
        ),
        (
            "opened: vent joint open (second elbow)",
            {"list": "open", "item": "vent_joint", "state": "open", "id": "open-2", "detail": "second elbow"},
        ),
    ]


async def test_a_recording_that_is_continued_has_its_checks_and_gives_no_id_twice(tmp_path):
    path = tmp_path / "a.lightoff"
    async with call(path) as collector:
        first = Checklists(collector)
        first.check({"list": "safe", "item": "hoses", "done": True})
        for item in ("burner_box", "power", "hose"):
            first.open({"item": item})
        first.close({"id": "open-3"})
        before = first.status()
        await kept(collector)
    async with call(path) as collector:
        again = Checklists(collector, recorded=written(path))
        assert again.status() == before
        again.open({"item": "drain"})
        assert [entry["id"] for entry in again.status()["open"]] == ["open-1", "open-2", "open-4"]  # type: ignore[attr-defined]
        again.reopen({"id": "open-3"})
        assert "hose off" in names(again)


async def test_what_another_version_wrote_is_kept_and_shown_by_its_text(tmp_path):
    old = [
        tick("before", "ladder", "before you start: ladder secured", 0),
        tick("customer", "told", "customer: told what was found", 1),
        opened(7, "roof_hatch", "opened: roof hatch open", 2),
        Event(T0, EventKind.CHECK, "a check without facts"),
        Event(T0, EventKind.CHECK, "x", None, {"list": "open", "item": ["a"], "state": "open", "id": 3}),
        opened(9, "hose", "closed: hose on again", 3, state="closed"),
        opened(7, "roof_hatch", "opened: roof hatch open", 4),
        tick("before", "plate", "before you start: rating plate read", 5, state="half"),
    ]
    async with call(tmp_path / "a.lightoff") as collector:
        checks = Checklists(collector, recorded=old)
        status: Any = checks.status()
        assert status["lists"][0]["ticked"] == [
            {"item": "ladder", "since": T0, "title": "before you start", "text": "ladder secured"}
        ]
        assert status["lists"][2] == {
            "list": "customer",
            "ticked": [{"item": "told", "since": T0 + SECOND, "title": "customer", "text": "told what was found"}],
        }
        assert names(checks) == ["roof hatch open"]
        assert status["ignored"] == 5
        assert checks.close({"id": "open-7"}) == "closed: roof hatch open, put back"


@pytest.mark.parametrize(
    ("command", "given", "says"),
    [
        ("check", {"list": "before", "item": "zeroed"}, "'done' must be true or false"),
        ("check", {"list": "before", "item": "zeroed", "done": 1}, "'done' must be true or false"),
        ("check", {"list": "before", "item": "hoses", "done": True}, "no line 'hoses' in a list 'before'"),
        ("check", {"list": ["before"], "item": "zeroed", "done": True}, "'list' must be a text"),
        ("open_entry", {"item": "jumper"}, "'jumper' is nothing that can be opened here"),
        ("open_entry", {"item": "other", "text": "  "}, "what else was opened is not said"),
        ("open_entry", {"item": "hose", "text": "x" * (LONGEST_DETAIL + 1)}, "write 120 at most"),
        ("open_entry", {"item": "power"}, "power off is open already"),
        ("close_entry", {"id": "open-2"}, "no open entry 'open-2'"),
        ("close_entry", {}, "'id' must be a text"),
        ("reopen_entry", {"id": "open-1"}, "no closed entry 'open-1'"),
    ],
)
async def test_what_cannot_be_is_refused_in_one_sentence_and_writes_nothing(tmp_path, command, given, says):
    path = tmp_path / "a.lightoff"
    async with call(path) as collector:
        checks = Checklists(collector)
        checks.open({"item": "power"})
        with pytest.raises(InputError, match=re.escape(says)):
            checks.commands()[command](given)
        await kept(collector)
    assert len(written(path)) == 1


async def test_everything_that_is_kept_is_bounded(tmp_path):
    async with call(tmp_path / "a.lightoff") as collector:
        checks = Checklists(collector)
        for number in range(MOST_OPEN):
            checks.open({"item": "other", "text": f"port {number}"})
        with pytest.raises(InputError, match="200 entries are open already; close some of them first"):
            checks.open({"item": "hose"})
        for number in range(1, MOST_OPEN + 1):
            checks.close({"id": f"open-{number}"})
        with pytest.raises(InputError, match="no closed entry"):
            checks.reopen({"id": f"open-{MOST_OPEN - REMEMBERED}"})
        checks.reopen({"id": f"open-{MOST_OPEN - REMEMBERED + 1}"})
        strange = [tick("before", f"item {number}", "before: x", number) for number in range(MOST_TICKS + 2)]
        full = Checklists(collector, recorded=strange)
        assert (len(ticked(full, "before")), full.status()["ignored"]) == (MOST_TICKS, 2)


STORY = (
    tick("before", "zeroed", "before you start: meters zeroed", -5),
    opened(1, "burner_box", "opened: burner-box cover off", 10),
    opened(1, "burner_box", "closed: burner-box cover refitted", 20, state="closed"),
    opened(2, "drain", "opened: drain opened", 30),
)


def story(path: Path) -> Path:
    with Store(path) as store:
        readings = [Reading(DRAFT.key, T0 + second * SECOND, 0.5) for second in range(41)]
        store.append([DRAFT, *readings, *STORY])
    return path


def stands(collector: Collector, seconds: float) -> bool:
    return collector.now() == T0 + seconds * SECOND


def holds(checks: Checklists, held: list[str]) -> bool:
    return names(checks) == held


async def test_a_replay_shows_what_held_where_it_stands_also_when_it_is_moved_back(tmp_path):
    path = tmp_path / "again.lightoff"
    with closing(Recording(story(tmp_path / "a.lightoff"))) as source:
        replay = Replay(source, as_fast_as_it_goes=True, stay=True)
        async with call(path, replay) as collector:
            checks = Checklists(collector, replaying=True)
            await until(lambda: names(checks) == ["drain opened"], what="the end")
            assert ticked(checks, "before") == ["zeroed"]
            replay.pause()
            for position, held in ((15, ["burner-box cover off"]), (25, []), (5, []), (35, ["drain opened"])):
                replay.seek(position)
                await until(partial(stands, collector, position), what=f"moved to {position}")
                await until(partial(holds, checks, held), what=f"what held at {position}")
                assert ticked(checks, "before") == ["zeroed"]
            with pytest.raises(InputError, match="a replay plays what was recorded"):
                checks.check({"list": "before", "item": "plate", "done": True})
            with pytest.raises(InputError, match="a replay plays what was recorded"):
                checks.open({"item": "hose"})
            with pytest.raises(InputError, match="a replay plays what was recorded"):
                checks.close({"id": "open-2"})
            assert checks.left_open() == ""
    assert [event.text for event in written(path)] == [event.text for event in STORY], "each is recorded once"


async def test_a_replay_moved_ahead_shows_what_was_opened_on_the_way(tmp_path):
    with closing(Recording(story(tmp_path / "a.lightoff"))) as source:
        replay = Replay(source, stay=True)
        async with call(tmp_path / "again.lightoff", replay) as collector:
            checks = Checklists(collector, replaying=True)
            replay.pause()
            replay.seek(15)
            await until(lambda: names(checks) == ["burner-box cover off"], what="what was opened before")


async def test_a_loop_begins_without_what_was_open_at_its_end(tmp_path):
    with closing(Recording(story(tmp_path / "a.lightoff"))) as source:
        replay = Replay(source, speed=100, loop=True)
        async with call(tmp_path / "again.lightoff", replay) as collector:
            checks = Checklists(collector, replaying=True)
            seen: list[tuple[bool, tuple[str, ...]]] = []
            collector.followers.append(
                lambda _: seen.append((collector.now() > T0 + 41 * SECOND, tuple(names(checks))))
            )
            await until(lambda: (True, ("burner-box cover off",)) in seen, what="the second round")


async def test_a_check_is_followed_whoever_brings_it(tmp_path):
    """Taken in by the collector like any event, not handed over by a command."""
    async with call(tmp_path / "a.lightoff", Told("draft meter", DRAFT)) as collector:
        checks = Checklists(collector)
        collector.ingest(replace(STORY[1], time=collector.now()))
        assert names(checks) == ["burner-box cover off"]
