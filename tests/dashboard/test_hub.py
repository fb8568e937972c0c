"""What browsers are told: everything known at first, then what comes; a slow one loses readings, counted."""

import json
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

from analysis.model import Plate
from dashboard.attempts import MOST
from dashboard.hub import EVENTS, MESSAGES_WAITING, Hub, Listener, plate_from

STATUS = {"type": "status", "now": 5, "replay": None}


def readings(*rows: tuple[str, int, float]) -> dict[str, Any]:
    return {"type": "readings", "readings": [[key, time, value, 0] for key, time, value in rows]}


def hub() -> Hub:
    made = Hub(Path("call.lightoff"))
    made.publish({"type": "feed", "connected": True})
    made.publish({"type": "hello", "plate": {}, "limits": []})
    made.publish({"type": "channels", "channels": [{"key": "a@x"}]})
    return made


def test_a_new_browser_is_told_what_is_known_with_the_latest_of_each() -> None:
    told = hub()
    told.publish(readings(("a@x", 1, 1.0), ("b@x", 1, 7.0)))
    told.publish(readings(("a@x", 2, 2.0)))
    told.publish({"type": "event", "text": "mark"})
    told.publish(STATUS)
    with told.listening() as listener:
        messages = listener.take()
    assert [message["type"] for message in messages] == ["feed", "hello", "channels", "event", "readings", "status"]
    assert messages[4]["readings"] == [["a@x", 2, 2.0, 0], ["b@x", 1, 7.0, 0]]
    assert told.listeners == 0


def test_what_was_read_of_a_channel_that_is_gone_is_told_to_nobody() -> None:
    """Neither to a new browser nor to one whose readings wait; a recorder that does not say takes nothing away."""
    told = hub()
    with told.listening() as listener:
        listener.take()
        told.publish(readings(("a@x", 1, 1.0), ("b@x", 1, 7.0), ("rise", 1, 9.0), ("margin", 1, 3.0)))
        told.publish({"type": "channels", "channels": [{"key": "a@x"}], "derived": ["rise"]})
        left = [row[0] for message in listener.take() if message["type"] == "readings" for row in message["readings"]]
        assert left == ["a@x", "rise"]
    assert [row[0] for message in told.known() if message["type"] == "readings" for row in message["readings"]] == left
    told.publish({"type": "channels", "channels": []})
    assert [row[0] for message in told.known() if message["type"] == "readings" for row in message["readings"]] == left


def test_another_job_comes_with_its_plate_and_limits_and_takes_no_reading_away() -> None:
    told = hub()
    told.publish(readings(("a@x", 1, 1.0)))
    with told.listening() as listener:
        listener.take()
        told.publish(readings(("a@x", 2, 2.0)))
        job = {"type": "job", "job": "new.toml", "plate": {"rise": [19.4, 36.1]}, "limits": [{"name": "hot"}]}
        told.publish(job)
        assert listener.take() == [job, readings(("a@x", 2, 2.0))]
        assert told.plate == Plate(rise=(19.4, 36.1))
        assert told.limits == [{"name": "hot"}]
    with told.listening() as later:
        hello, _, known = later.take()[1:4]
    assert hello == {"type": "hello", "plate": {"rise": [19.4, 36.1]}, "limits": [{"name": "hot"}], "job": "new.toml"}
    assert known["readings"] == [["a@x", 2, 2.0, 0]]
    for broken in ({"type": "job"}, {"type": "job", "job": "x", "plate": [], "limits": {}}):
        told.publish(broken)
    assert told.plate == Plate(rise=(19.4, 36.1))


def test_a_job_before_any_greeting_is_nothing() -> None:
    made = Hub(Path("call.lightoff"))
    made.publish({"type": "job", "job": "x", "plate": {"rise": [1.0, 2.0]}, "limits": []})
    assert made.plate == Plate()


def test_a_slow_browser_loses_its_oldest_readings_and_only_its_own() -> None:
    told = hub()
    with told.listening(3) as slow, told.listening() as quick:
        for number in range(10):
            told.publish(readings(("a@x", number, float(number))))
        told.publish({"type": "event", "text": "kept"})
        kept = slow.take()
        assert [row[1] for message in kept if message["type"] == "readings" for row in message["readings"]] == [7, 8, 9]
        assert [message["count"] for message in kept if message["type"] == "behind"] == [7]
        assert any(message.get("text") == "kept" for message in kept)
        assert slow.dropped == 7
        rows = [message["readings"] for message in quick.take() if message["type"] == "readings"]
        assert len(rows[0]) == 10
        assert quick.dropped == 0
        assert slow.take() == []


def test_of_states_only_the_newest_waits() -> None:
    told = hub()
    with told.listening() as listener:
        listener.take()
        for number in range(5):
            told.publish({**STATUS, "now": number})
        assert listener.take() == [{**STATUS, "now": 4}]


def test_a_jump_makes_readings_before_it_worthless() -> None:
    told = hub()
    told.publish(readings(("a@x", 900, 1.0)))
    with told.listening() as listener:
        listener.take()
        told.publish(readings(("a@x", 901, 1.0)))
        told.publish({"type": "jump"})
        told.publish(readings(("a@x", 5, 2.0)))
        jump, after = listener.take()
        assert jump == {"type": "jump"}
        assert after["readings"] == [["a@x", 5, 2.0, 0]]
    assert told.newest == 5e-9


def test_a_browser_far_behind_starts_afresh() -> None:
    told = hub()
    with told.listening() as listener:
        for number in range(MESSAGES_WAITING + 1):
            told.publish({"type": "event", "text": str(number)})
        assert listener.behind
        listener.start_afresh(told.known())
        messages = listener.take()
        assert not listener.behind
        assert messages[1]["type"] == "hello"
        assert sum(message["type"] == "event" for message in messages) == EVENTS


def test_a_greeting_forgets_what_came_before() -> None:
    told = hub()
    told.publish(readings(("a@x", 1, 1.0)))
    told.publish({"type": "event", "text": "old"})
    told.publish({"type": "hello", "plate": {}, "limits": []})
    assert [message["type"] for message in told.known()] == ["feed", "hello", "channels"]


def test_rows_that_are_no_readings_and_unknown_messages_are_left_out() -> None:
    told = hub()
    with told.listening() as listener:
        listener.take()
        told.publish(
            {"type": "readings", "readings": [["a@x"], None, ["a@x", "1", 2, 0], ["a@x", 3, None, 2], [[], 1, 1, 0]]}
        )
        told.publish({"type": "readings", "readings": 7})
        told.publish({"type": "surprise"})
        assert listener.take() == [{"type": "readings", "readings": [["a@x", 3, None, 2]]}]


def test_readings_lost_on_the_way_are_told_to_every_browser() -> None:
    told = hub()
    with told.listening() as one, told.listening() as two:
        for listener in (one, two):
            listener.take()
        told.publish({"type": "dropped", "count": 4})
        told.publish({"type": "dropped", "count": 2})
        for listener in (one, two):
            assert [message["count"] for message in listener.take()] == [4, 2]


async def test_waiting_ends_without_a_message_too() -> None:
    listener = Listener()
    began = time.monotonic()
    await listener.wait(0.01)
    assert time.monotonic() - began < 5
    listener.offer(STATUS)
    await listener.wait(60)
    assert listener.take() == [STATUS]


def test_plate_survives_its_way_as_json() -> None:
    plate = Plate(fuel="propane", rise=(19.4, 36.1), switch_close=(236.6, 124.5), supply_max=76.7, pipes=2)
    assert plate_from(json.loads(json.dumps(asdict(plate)))) == plate
    assert plate_from(None) == Plate()
    assert plate_from({"rise": None, "unknown": 1}) == Plate()


def attempts(*numbers: int, whole: bool = False, first: int = 1, outcome: str = "") -> dict[str, Any]:
    rows = [{"number": number, "outcome": outcome} for number in numbers]
    return {"type": "attempts", "version": 1, "whole": whole, "first": first, "attempts": rows}


def test_attempts_are_remembered_for_who_comes_late_and_passed_on_as_they_come() -> None:
    told = hub()
    told.publish(attempts(1, 2, whole=True))
    with told.listening() as listener:
        (first,) = [message for message in listener.take() if message["type"] == "attempts"]
        assert (first["whole"], [row["number"] for row in first["attempts"]]) == (True, [1, 2])
        told.publish(attempts(2, 3, outcome="heat"))
        (news,) = listener.take()
        assert (news["whole"], [row["number"] for row in news["attempts"]]) == (False, [2, 3])
        told.publish(attempts(4, first=3))
        told.publish({"type": "attempts", "attempts": [{"number": "x"}, 7, None]})
    (late,) = [message for message in told.known() if message["type"] == "attempts"]
    assert [(row["number"], row["outcome"]) for row in late["attempts"]] == [(3, "heat"), (4, "")]
    told.publish({"type": "jump"})
    assert "attempts" not in [message["type"] for message in told.known()], "of another time"
    told.publish(attempts(*range(1, MOST + 51), whole=True))
    (late,) = [message for message in told.known() if message["type"] == "attempts"]
    assert [row["number"] for row in late["attempts"]] == list(range(51, MOST + 51))
    told.publish({"type": "hello", "plate": {}, "limits": []})
    assert "attempts" not in [message["type"] for message in told.known()], "of another recording"
