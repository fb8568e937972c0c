"""What hands add to a call: readings with meter and time, what was wrong with them, photographs."""

import base64
import math
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from analysis.model import Event, EventKind
from collector.alarm_rule import AlarmRule
from collector.alarm_states import AlarmState
from collector.arguments import Answer
from collector.attachments import PIECE
from collector.by_hand import beginning
from collector.collector import Collector
from collector.commands import Commands
from collector.exchange import export_csv
from collector.normalize import series
from collector.recording import Recording
from collector.store import Store
from collector.uploads import PATIENCE, Uploads
from drivers.base import InputError
from drivers.manual import Manual
from drivers.replay import Replay
from tests.collector.calls import INCH, T0, call
from tests.collector.pictures import JPEG, PNG
from tests.support import until

MANIFOLD = "gas_manifold@by hand: dial gauge"
DANGER = AlarmRule(name="danger", point="room_co", above=36e-6, priority="safety", text="carbon monoxide")
SECOND = 10**9


@asynccontextmanager
async def hands(path: Path) -> AsyncIterator[tuple[Collector, Commands]]:
    manual = Manual(now=lambda: collector.now())  # noqa: PLW0108 - there is none yet
    async with call(path, manual, rules=[DANGER]) as collector:
        yield collector, Commands(collector, manual=manual)


def send(commands: Commands, content: bytes, upload: str = "00000001", size: int = 100_000) -> dict[str, Any]:
    for number, start in enumerate(range(0, max(1, len(content)), size)):
        data = base64.b64encode(content[start : start + size]).decode()
        commands.execute("photo_part", {"upload": upload, "number": number, "data": data})
    return {"upload": upload, "name": "plate.jpg"}


async def enter(collector: Collector, commands: Commands, **given: object) -> Answer:
    count = collector.readings
    answer = commands.execute("type_in", {"point": "gas_manifold", "meter": "dial gauge", **given})
    await until(lambda: collector.readings == count + 1, what="it is taken in")
    return answer


async def test_an_entry_keeps_its_text_its_meter_and_its_time(tmp_path: Path):
    async with hands(tmp_path / "a.lightoff") as (collector, commands):
        before = collector.now()
        answer = await enter(collector, commands, value="3.50 inH2O", at="-5min")
        assert answer.text.startswith("gas manifold: 3.50 inH2O recorded at ")
        (told,) = commands.entries()
        assert (told["text"], told["withdrawn"]) == ("gas manifold: 3.50 inH2O, dial gauge", False)
    with Recording(tmp_path / "a.lightoff") as recording:
        rows = recording.read(MANIFOLD)
        assert rows.value.tolist() == [3.5]
        assert 0 <= rows.time[0] - (before - 300 * SECOND) < 10 * SECOND
        (event,) = recording.events({EventKind.ENTRY})
    assert (event.time, event.subject, event.data["typed"]) == (rows.time[0], MANIFOLD, "3.50 inH2O")
    assert event.text.startswith("gas manifold: 3.50 inH2O, dial gauge (typed in at ")


async def test_the_state_of_a_contact_is_typed_as_a_word(tmp_path: Path):
    async with hands(tmp_path / "a.lightoff") as (collector, commands):
        await enter(collector, commands, point="switch_closed", value="closed", meter="")
        assert collector.latest["switch_closed@by hand: not named"][2] == 1.0


async def test_what_is_dated_back_is_recorded_and_does_not_stand_for_now(tmp_path: Path):
    async with hands(tmp_path / "a.lightoff") as (collector, commands):
        await enter(collector, commands, value="3.5 inH2O")
        await enter(collector, commands, value="2.0 inH2O", at="-5min")
        assert collector.latest[MANIFOLD][2] == pytest.approx(3.5 * INCH, rel=1e-6)
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.read(MANIFOLD).value.tolist() == [2.0, 3.5]


async def test_a_wrong_entry_counts_as_never_read_and_stays_in_the_recording(tmp_path: Path):
    path = tmp_path / "a.lightoff"
    async with hands(path) as (collector, commands):
        await enter(collector, commands, value="3.5 inH2O", at="-2min")
        wrong = await enter(collector, commands, value="35 inH2O", at="-1min")
        text = commands.execute("withdraw", wrong.data).text
        assert text.startswith("withdrawn: gas manifold: 35 inH2O, dial gauge, of ")
        assert collector.latest[MANIFOLD][2] == pytest.approx(3.5 * INCH, rel=1e-6), "what was entered before stands"
        right = await enter(collector, commands, value="3.6 inH2O", at="-1min")
        assert right.data["at"] != wrong.data["at"]
        assert [one["withdrawn"] for one in commands.entries()] == [False, True, False]
        with pytest.raises(InputError, match="is withdrawn already"):
            commands.execute("withdraw", wrong.data)
        with pytest.raises(InputError, match="there is no such entry"):
            commands.execute("withdraw", {**wrong.data, "at": "7"})
    with Recording(path) as recording:
        assert recording.read(MANIFOLD).value.tolist() == [3.5, 35.0, 3.6]
        assert recording.withdrawn() == {MANIFOLD: {int(str(wrong.data["at"]))}}
        (channel,) = [one for one in recording.channels if one.key == MANIFOLD]
        assert series(recording, channel).value.tolist() == pytest.approx([3.5 * INCH, 3.6 * INCH], rel=1e-6)
        assert recording.latest(int(str(wrong.data["at"])) + 1)[MANIFOLD].value == 3.5
        assert export_csv(recording, tmp_path / "a.csv") == 2
    assert ",35" not in (tmp_path / "a.csv").read_text()


async def test_a_time_long_before_the_recording_is_refused_and_nothing_is_recorded(tmp_path: Path):
    """20 h ago, as 23:59 is in the evening; the same with its date is meant."""
    async with hands(tmp_path / "a.lightoff") as (collector, commands):
        given = {"point": "room_co", "value": "350 ppm", "at": "-20h"}
        with pytest.raises(InputError, match=r"20 h before the recording, which began .*; correct the time, or write"):
            commands.execute("type_in", given)
        with pytest.raises(InputError, match="20 h before the recording"):
            commands.execute("photo_keep", {"at": "-20h", **send(commands, PNG)})
        assert (commands.entries(), collector.alarms.state("danger")) == ([], AlarmState.NORMAL)
        dated = datetime.fromtimestamp(collector.now() / SECOND).astimezone() - timedelta(hours=20)
        await enter(collector, commands, value="3.5 inH2O", at=f"{dated:%Y-%m-%d %H:%M}")


async def test_a_recording_that_is_continued_began_when_it_did(tmp_path: Path):
    path = tmp_path / "a.lightoff"
    started = Event(T0, EventKind.RECORDER, "recording started", None, {"wall": T0})
    with Store(path) as store:
        store.append([started, Event(T0 + SECOND, EventKind.RECORDER, "recording stopped")])
    with Recording(path) as recording:
        assert beginning(recording) == T0
    async with call(path, manual := Manual(now=time.time_ns)) as collector:
        commands = Commands(collector, manual=manual, began=T0)
        await enter(collector, commands, value="3.5 inH2O", at="-20h")


async def test_the_only_entry_withdrawn_leaves_no_value_and_no_alarm(tmp_path: Path):
    async with hands(tmp_path / "a.lightoff") as (collector, commands):
        wrong = await enter(collector, commands, point="room_co", value="350 ppm", meter="badge")
        assert collector.alarms.state("danger") is AlarmState.UNACKNOWLEDGED
        commands.execute("withdraw", wrong.data)
        assert math.isnan(collector.latest["room_co@by hand: badge"][2])
        assert collector.alarms.state("danger") is AlarmState.RETURNED


async def test_an_alarm_that_another_meter_holds_is_not_ended_by_a_withdrawal(tmp_path: Path):
    async with hands(tmp_path / "a.lightoff") as (collector, commands):
        await enter(collector, commands, point="room_co", value="80 ppm", meter="other")
        wrong = await enter(collector, commands, point="room_co", value="350 ppm", meter="badge")
        commands.execute("withdraw", wrong.data)
        assert collector.alarms.state("danger") is AlarmState.UNACKNOWLEDGED


async def test_a_photograph_is_told_of_when_it_is_durable_and_comes_back_byte_for_byte(tmp_path: Path):
    path, content = tmp_path / "a.lightoff", JPEG + bytes(range(256)) * (3 * PIECE // 256)
    async with hands(path) as (collector, commands):
        told: list[str] = []
        collector.followers.append(lambda event: told.append(_content(path, event)) if event.kind == "photo" else None)
        given = send(commands, content)
        answer = commands.execute("photo_keep", {**given, "text": "rating plate", "at": "-1min"})
        assert answer.text == "photograph attached: rating plate"
        await until(lambda: told, what="the event")
        assert told == [f"{len(content)} bytes"], "all of it was there when it was told of"
    with Recording(path) as recording:
        (kept,) = recording.attachments()
        (event,) = recording.events({EventKind.PHOTO})
        assert (kept.name, kept.media_type, kept.text) == ("plate.jpg", "image/jpeg", "rating plate")
        assert recording.content(kept.id) == content
        assert (event.data["attachment"], event.time, event.text) == (kept.id, kept.time, "rating plate")


def _content(path: Path, event: Any) -> str:
    with Recording(path) as recording:
        return f"{len(recording.content(event.data['attachment']))} bytes"


async def test_a_reading_comes_with_its_photograph_or_not_at_all(tmp_path: Path):
    async with hands(tmp_path / "a.lightoff") as (collector, commands):
        with pytest.raises(InputError, match="is no picture"):
            commands.execute("type_in", {"point": "gas_inlet", "value": "7 inH2O", **send(commands, b"<svg/>")})
        with pytest.raises(InputError, match="has no unit"):
            commands.execute("type_in", {"point": "gas_inlet", "value": "7", **send(commands, PNG)})
        assert commands.entries() == []
        answer = await enter(collector, commands, value="3.5 inH2O", **send(commands, PNG))
        assert answer.text.endswith(", with its photograph")
    with Recording(tmp_path / "a.lightoff") as recording:
        (event,) = recording.events({EventKind.PHOTO})
        assert (event.data["channel"], str(event.data["at"])) == (MANIFOLD, answer.data["at"])


async def test_a_replay_carries_entries_withdrawals_and_photographs_as_events(tmp_path: Path):
    """Also from a place after all of it: what is in force there is what a live page showed."""
    path = tmp_path / "a.lightoff"
    async with hands(path) as (collector, commands):
        first = await enter(collector, commands, value="3.5 inH2O", at="-3min", **send(commands, PNG))
        wrong = await enter(collector, commands, value="35 inH2O", at="-2min")
        commands.execute("withdraw", wrong.data)
        await enter(collector, commands, point="gas_inlet", value="7 inH2O")
    key = f"gas_manifold@replay: {MANIFOLD.partition('@')[2]}"
    for place in (0.0, 179.0):
        with Recording(path) as source:
            replay = Replay(source, as_fast_as_it_goes=True)
            replay.seek(place)
            target = tmp_path / f"{place:.0f}.lightoff"
            async with call(target, replay) as collector:
                await until(lambda: collector.supervisors[0].status.state == "ended", what="its end")
                assert collector.latest[key][2] == pytest.approx(3.5 * INCH, rel=1e-6)
    with Recording(tmp_path / "0.lightoff") as recording:
        (photo,) = recording.events({EventKind.PHOTO})
        assert recording.withdrawn() == {key: {int(str(wrong.data["at"]))}}
        assert (photo.data["channel"], str(photo.data["at"])) == (key, first.data["at"])
        assert "attachment" not in photo.data, "its bytes are in the recording that was replayed"
        assert len(recording.events({EventKind.ENTRY})) == 3


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"upload": "../x", "number": 0, "data": ""}, "'upload' must be 8 to 64 hexadecimal digits"),
        ({"upload": "00000001", "number": 1, "data": ""}, "a part of the photograph is missing"),
        ({"upload": "00000001", "number": 0, "data": 7}, "'data' must be a text of base64"),
        ({"upload": "00000001", "number": 0, "data": "no base64!"}, "'data' must be a text of base64"),
        ({"upload": "00000001", "number": 0, "data": "A" * 3_000_000}, "'data' must be a text of base64"),
    ],
)
def test_a_part_that_cannot_be_is_refused(given: dict[str, object], says: str):
    uploads = Uploads()
    with pytest.raises(InputError, match=says):
        uploads.part(given)
    with pytest.raises(InputError, match="did not come"):
        uploads.take({"upload": "00000001"})


def test_what_is_on_its_way_is_bounded_and_what_is_given_up_is_dropped():
    now = [0.0]
    uploads = Uploads(lambda: now[0])
    part = base64.b64encode(bytes(2_000_000)).decode()
    for name in ("00000001", "00000002", "00000003"):
        uploads.part({"upload": name, "number": 0, "data": part})
    with pytest.raises(InputError, match="3 photographs are on their way already"):
        uploads.part({"upload": "00000004", "number": 0, "data": part})
    for number in range(1, 10):
        uploads.part({"upload": "00000001", "number": number, "data": part})
    with pytest.raises(InputError, match="more than 20 MiB"):
        uploads.part({"upload": "00000001", "number": 10, "data": part})
    now[0] = PATIENCE + 1
    uploads.part({"upload": "00000004", "number": 0, "data": part})
    with pytest.raises(InputError, match="did not come"):
        uploads.take({"upload": "00000002"})
