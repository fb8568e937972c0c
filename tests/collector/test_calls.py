"""The list of calls: what is somebody else's word is looked at, the worst comes first, the list is bounded."""

from collections.abc import Mapping
from typing import Any

import pytest

from collector.calls import SILENT, Calls
from drivers.base import InputError
from drivers.share_messages import read_status, status_map
from drivers.share_topics import CallTopics

HERE = {"name": "site", "origin": "", "begun": 10**18, "now": 10**18, "online": True}


class Watch:
    """A monotonic clock that is set."""

    time = 1000.0

    def __call__(self) -> float:
        return self.time


def made(most: int = 2000) -> tuple[Calls, Watch]:
    watch = Watch()
    return Calls(read_status, watch, most), watch


def say(calls: Calls, name: str, said: Mapping[str, Any] | bytes, *, retained: bool = False) -> None:
    payload = said if isinstance(said, bytes) else status_map({**HERE, **said})
    calls.take(CallTopics("north", "ann", name).status, payload, retained=retained)


def order(calls: Calls) -> list[str]:
    return [row["call"] for row in calls.rows()]


def test_the_worst_alarm_comes_first_and_what_is_over_last():
    calls, _ = made()
    say(calls, "calm", {"begun": 2 * 10**18})
    say(calls, "low", {"alarm": {"text": "x", "priority": "low"}})
    say(calls, "over", {"online": False, "alarm": {"text": "x", "priority": "safety"}})
    say(calls, "safety", {"alarm": {"text": "x", "priority": "safety"}})
    say(calls, "older", {"begun": 10**17})
    assert order(calls) == ["safety", "low", "calm", "older", "over"]


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("", ""),
        ("simulated", "simulated"),
        ("by hand, replay", "by hand, replay"),
        ("live", "unknown"),
        ("real, honestly", "unknown"),
        ("simulated, live", "unknown"),
        (" ", "unknown"),
    ],
)
def test_an_origin_that_is_not_known_passes_for_none(said: str, shown: str):
    calls, _ = made()
    say(calls, "call", {"origin": said})
    assert calls.rows()[0]["origin"] == shown


def test_fields_of_the_wrong_kind_count_as_not_said():
    calls, _ = made()
    wrong = {"begun": "yesterday", "phase": ["x"], "alarm": {"text": 7, "priority": "worse"}, "online": 1}
    say(calls, "call", wrong)
    (row,) = calls.rows()
    assert (row["begun"], row["phase"], row["alarm"], row["priority"], row["state"]) == (0, "", "", "", "ended")
    say(calls, "long", {"name": "x" * 199 + "\u202e", "phase": {"text": "ab\x00" * 500}})
    texts = {row["call"]: row for row in calls.rows()}["long"]
    assert texts["name"] == "x" * 199
    assert len(texts["phase"]) == 200
    assert texts["phase"].isprintable()


def test_what_is_no_status_changes_nothing_and_is_counted():
    calls, _ = made()
    say(calls, "call", {})
    say(calls, "call", b"\xff")
    calls.take("lightoff/1/north/ann/call/readings", b"x", retained=False)
    calls.take("lightoff/1/north/ann", b"x", retained=False)
    assert (order(calls), calls.unreadable) == (["call"], 1)


def test_a_call_that_says_nothing_more_is_silent_and_one_that_is_taken_back_is_gone():
    calls, watch = made()
    say(calls, "kept", {}, retained=True)
    say(calls, "now", {})
    states = {row["call"]: row["state"] for row in calls.rows()}
    watch.time += 1
    assert {row["call"]: row["state"] for row in calls.rows()} == {"kept": "silent", "now": "running"}, states
    watch.time += SILENT
    assert calls.rows()[0]["state"] == "silent"
    assert calls.topics("ann", "now").call == "now"
    say(calls, "now", b"")
    assert order(calls) == ["kept"]
    with pytest.raises(InputError, match="not on the list any more"):
        calls.topics("ann", "now")


def test_of_too_many_the_ended_and_the_oldest_are_left_out():
    calls, _ = made(most=2)
    say(calls, "over", {"online": False, "begun": 3 * 10**18})
    for place, name in enumerate(("first", "second", "third")):
        say(calls, name, {"begun": (place + 1) * 10**17})
    assert (sorted(order(calls)), calls.left_out) == (["second", "third"], 2)
