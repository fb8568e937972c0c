"""What I did: entered, taken back, kept in the recording, taken up again, exported, replayed, refused."""

import asyncio
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from analysis.diagnosis.done import TESTED, Done
from analysis.model import NANOSECONDS, Event, EventKind, Reading
from collector import deeds as module
from collector.collector import Collector
from collector.deed_states import DeedStates, done_in
from collector.deed_words import words
from collector.deeds import LONGEST_DETAIL, Deeds
from collector.exchange import export_events
from collector.recording import Recording
from collector.store import Store
from drivers.base import InputError
from drivers.replay import Replay
from tests.collector.calls import DRAFT, SECOND, T0, call
from tests.never import IN_PROPOSALS, advised
from tests.support import until


def texts(deeds: Deeds) -> list[str]:
    told: Any = deeds.status()["entries"]
    return [entry["text"] for entry in told]


def written(path: Path) -> list[Event]:
    with Recording(path) as recording:
        return recording.events({EventKind.DONE})


async def kept(collector: Collector) -> None:
    """Wait until everything taken in is in the recording."""
    async with asyncio.timeout(10):
        await collector.recorder.caught_up()


def entry(number: int, what: str, seconds: float) -> Event:
    at = T0 + round(seconds * SECOND)
    return Event(at, EventKind.DONE, what, None, {"what": what, "text": what, "at": at, "id": f"done-{number}"})


async def test_entries_are_kept_taken_back_and_taken_up_again(tmp_path):
    path = tmp_path / "a.lightoff"
    async with call(path) as collector:
        deeds = Deeds(collector)
        assert deeds.did({"what": "rod_cleaned"}).startswith("done: flame rod cleaned, ")
        deeds.did({"what": "filter_changed", "text": " 16 x  25 "})
        deeds.did({"what": TESTED, "test": "terminations", "result": "intake"})
        deeds.did({"what": "other", "text": "door seated"})
        assert deeds.undo({"id": "done-1"}) == "taken back: flame rod cleaned"
        wanted = [
            "door seated",
            "Look at the terminations outside: intake covered or iced",
            "filter changed (16 x 25)",
        ]
        assert texts(deeds) == wanted
        told = deeds.done()
        await kept(collector)
    assert [one.what for one in told] == ["filter_changed", TESTED, "other"]
    assert told[1] == Done(TESTED, told[1].at, "terminations", "intake")
    events = written(path)
    assert [event.text for event in events] == [
        "flame rod cleaned",
        "filter changed (16 x 25)",
        "Look at the terminations outside: intake covered or iced",
        "door seated",
        "taken back: flame rod cleaned",
    ]
    assert {"what", "text", "at"} <= events[0].data.keys()
    assert done_in(events) == told
    with Recording(path) as recording:
        export_events(recording, tmp_path / "events.csv")
    assert "done,,taken back: flame rod cleaned" in (tmp_path / "events.csv").read_text()
    async with call(path) as collector:
        again = Deeds(collector, recorded=events)
        assert texts(again) == wanted
        again.did({"what": "intake_cleared"})
        await kept(collector)
    assert written(path)[-1].data["id"] == "done-5"


async def test_an_entry_may_say_when_it_was(tmp_path):
    async with call(tmp_path / "a.lightoff") as collector:
        deeds = Deeds(collector, began=0)
        deeds.did({"what": "trap_cleared", "at": "5 min ago"})
        (told,) = deeds.done()
        assert collector.now() / NANOSECONDS - told.at == pytest.approx(300.0, abs=20.0)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"what": "rain"}, "nothing that can be entered"),
        ({"what": "other"}, "what else was done is not said"),
        ({"what": "other", "text": "x" * (LONGEST_DETAIL + 1)}, "characters"),
        ({"what": TESTED, "test": "terminations", "result": "sunny"}, "no result 'sunny'"),
        ({"what": TESTED, "test": "meter_flame", "result": "high"}, "no result 'high'"),
        ({"what": "filter_changed", "at": "tomorrow"}, "tomorrow"),
    ],
)
async def test_what_is_no_entry_is_refused_in_one_sentence(tmp_path, given, says):
    async with call(tmp_path / "a.lightoff") as collector:
        deeds = Deeds(collector)
        with pytest.raises(InputError, match=says):
            deeds.did(given)
        with pytest.raises(InputError, match="no entry 'done-7'"):
            deeds.undo({"id": "done-7"})
        assert deeds.status()["count"] == 0


async def test_the_list_is_bounded_and_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "MOST", 2)
    async with call(tmp_path / "a.lightoff") as collector:
        deeds = Deeds(collector)
        for _ in range(2):
            deeds.did({"what": "filter_changed"})
        with pytest.raises(InputError, match="2 entries are kept already"):
            deeds.did({"what": "filter_changed"})


def test_what_cannot_be_followed_is_counted():
    states = DeedStates()
    for event in (
        entry(1, "repainted", 0),
        entry(1, "filter_changed", 1),
        entry(9, "undone", 2),
        Event(T0, EventKind.DONE, "without facts"),
        Event(T0, EventKind.DONE, "x", None, {"what": ["a"], "text": "x", "at": True, "id": 3}),
    ):
        states.apply(event)
    assert [one.text for one in states.entries.values()] == ["repainted"]
    assert (states.ignored, states.next_id()) == (4, "done-10")


async def test_a_replay_shows_what_had_been_entered_and_takes_nothing(tmp_path):
    path = tmp_path / "a.lightoff"
    with closing(Store(path)) as store:
        readings = [Reading(DRAFT.key, T0 + second * SECOND, 0.5) for second in range(60)]
        store.append([DRAFT, *readings, entry(1, "filter_changed", 10), entry(2, "rod_cleaned", 40)])
    with closing(Recording(path)) as source:
        replay = Replay(source, as_fast_as_it_goes=True, stay=True)
        async with call(tmp_path / "b.lightoff", replay) as collector:
            deeds = Deeds(collector, replaying=True)
            await until(lambda: texts(deeds) == ["rod_cleaned", "filter_changed"])
            with pytest.raises(InputError, match="nothing can be entered here"):
                deeds.did({"what": "filter_changed"})
            replay.pause()
            replay.seek(20.0)
            await until(lambda: texts(deeds) == ["filter_changed"])


def test_the_words_of_the_panel_advise_nothing_that_is_never_done():
    told: Any = words()
    said = [f"{one['text']}. {one['caution']}." for one in told["deeds"]]
    said += [f"{one['text']}. {result['text']}." for one in told["tests"] for result in one["results"]]
    assert [text for text in said if advised(text, IN_PROPOSALS)] == []
