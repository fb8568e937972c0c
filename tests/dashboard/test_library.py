"""What the list of recordings tells: read from the files, once, and never an error."""

import os
import threading
from pathlib import Path
from typing import Any

import pytest

from analysis.model import EventKind
from collector.library import DELETED, Library
from collector.store import Store
from dashboard import library
from dashboard.library import MOST_EVENTS, MOST_LISTED, Summaries, events_of, summary_of
from tests.collector.recordings import DRAFT, SECOND, SUPPLY, T0, event, ramp, recorded

RAISED: dict[str, Any] = {"alarm": "co", "from": "normal", "to": "unacknowledged"}
SEEN: dict[str, Any] = {"alarm": "co", "from": "unacknowledged", "to": "acknowledged"}


def rows(summaries: Summaries) -> list[dict[str, Any]]:
    return list(summaries.listing()["recordings"])


def names(summaries: Summaries) -> list[str]:
    return [row["name"] for row in rows(summaries)]


def test_a_summary_is_what_the_file_says(tmp_path: Path):
    path = recorded(
        tmp_path / "call.lightoff",
        [(DRAFT, 0.0, 0.5), (SUPPLY, 2.5, 110.0), (DRAFT, 1320.0, 0.6)],
        event(EventKind.JOB, 0, "job file a.toml", text='[site]\nname = "back basement"\n', name="a.toml"),
        event(EventKind.ALARM, 5, "raised", **RAISED),
        event(EventKind.ALARM, 6, "seen", **SEEN),
        event(EventKind.ALARM, 7, "raised again", **RAISED),
        event(EventKind.NOTE, 8, "water in the hose"),
        event(EventKind.MARK, 9, "mark"),
        event(EventKind.MARK, 10, "mark"),
        event(EventKind.INSTRUMENT, 11, "lost"),
    )
    row = summary_of(path, 4096)
    assert (row.name, row.size, row.job) == ("call.lightoff", 4096, "back basement")
    assert (row.began, row.length, row.counted) == (T0 / SECOND, 1320.0, False)
    assert (row.alarms, row.notes, row.marks, row.attempts) == (2, 1, 2, None)
    assert row.problem == ""


@pytest.mark.parametrize(
    ("text", "name", "told"),
    [
        ('[site]\nname = "back basement"', "a.toml", "back basement"),
        ("[site]\naltitude = 3", "tuesday.toml", "tuesday"),
        ("not toml at all [", "tuesday.job.toml", "tuesday"),
        ("site = 3", "", "job without a name"),
    ],
)
def test_the_job_is_the_name_of_the_site_or_of_the_job(tmp_path: Path, text: str, name: str, told: str):
    job = event(EventKind.JOB, 0, "job", text=text, name=name)
    assert summary_of(recorded(tmp_path / "call.lightoff", ramp(DRAFT, 1), job), 1).job == told


def test_times_from_the_start_are_told_as_such(tmp_path: Path):
    row = summary_of(recorded(tmp_path / "call.lightoff", ramp(DRAFT, 60), start=0), 1)
    assert (row.began, row.length, row.counted, row.job) == (0.0, 60.0, True, None)


def test_a_recording_without_a_reading_has_neither_beginning_nor_length(tmp_path: Path):
    row = summary_of(recorded(tmp_path / "call.lightoff", []), 1)
    assert (row.began, row.length, row.alarms, row.problem) == (None, None, 0, "")


def test_the_newest_first_and_only_recordings(tmp_path: Path):
    for place, name in enumerate(("b", "c", "a")):
        path = recorded(tmp_path / f"{name}.lightoff", ramp(DRAFT, 1))
        os.utime(path, ns=(0, (place + 1) * SECOND))
    (tmp_path / "letter.txt").write_text("dear Sir")
    (tmp_path / ".hidden.lightoff").write_text("")
    (tmp_path / "folder.lightoff").mkdir()
    assert names(Summaries(tmp_path)) == ["a.lightoff", "c.lightoff", "b.lightoff"]


def test_what_cannot_be_read_is_listed_with_the_reason(tmp_path: Path):
    (tmp_path / "letter.lightoff").write_text("dear Sir")
    whole = recorded(tmp_path / "half.lightoff", ramp(DRAFT, 3000))
    whole.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2 // 4096 * 4096])
    recorded(tmp_path / "good.lightoff", ramp(DRAFT, 1))
    recorded(tmp_path / "colon.lightoff", ramp(DRAFT, 1)).rename(tmp_path / "co:lon.lightoff")
    with (tmp_path / os.fsdecode(b"\xff.lightoff")).open("w"):
        pass
    told = {row["name"]: row["problem"] for row in rows(Summaries(tmp_path))}
    assert told["good.lightoff"] == ""
    assert told["letter.lightoff"] == "This is no recording, or its beginning is damaged."
    assert "half.lightoff" in told["half.lightoff"]
    assert str(tmp_path) not in told["half.lightoff"]
    assert told["co:lon.lightoff"].endswith("rename it.")
    assert told["?.lightoff"].endswith("rename it.")


def test_a_file_that_did_not_change_is_read_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    asked: list[str] = []
    read = summary_of

    def counted(path: Path, size: int) -> library.Summary:
        asked.append(path.name)
        return read(path, size)

    monkeypatch.setattr(library, "summary_of", counted)
    path = recorded(tmp_path / "call.lightoff", ramp(DRAFT, 1))
    summaries = Summaries(tmp_path)
    assert rows(summaries) == rows(summaries)
    assert asked == ["call.lightoff"]
    with Store(path) as store:
        store.append([event(EventKind.NOTE, 1, "later")])
        assert rows(summaries)[0]["notes"] == 1, "one that grows in its log is read each time"
        assert rows(summaries)[0]["notes"] == 1
    os.utime(path, ns=(0, 5 * SECOND))
    assert rows(summaries)[0]["notes"] == 1
    assert len(asked) == 4


def test_what_is_remembered_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(library, "MOST_KEPT", 3)
    for number in range(5):
        recorded(tmp_path / f"{number}.lightoff", ramp(DRAFT, 1))
    summaries = Summaries(tmp_path)
    assert len(rows(summaries)) == 5
    assert len(summaries._known) == 3


def test_of_many_the_newest_are_listed_and_the_others_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    assert MOST_LISTED == 200
    monkeypatch.setattr(library, "MOST_LISTED", 2)
    for number in range(5):
        path = recorded(tmp_path / f"{number}.lightoff", ramp(DRAFT, 1))
        os.utime(path, ns=(0, (number + 1) * SECOND))
    listing = Summaries(tmp_path).listing()
    assert [row["name"] for row in listing["recordings"]] == ["4.lightoff", "3.lightoff"]
    assert listing["more"] == 3


def test_the_one_being_recorded_stands_first_and_says_so(tmp_path: Path):
    path = recorded(tmp_path / "now.lightoff", ramp(DRAFT, 1))
    os.utime(path, ns=(0, 1))
    recorded(tmp_path / "old.lightoff", ramp(DRAFT, 1))
    told = rows(Summaries(tmp_path, tmp_path / "." / "now.lightoff"))
    assert [(row["name"], row["running"]) for row in told] == [("now.lightoff", True), ("old.lightoff", False)]


def test_what_was_deleted_is_listed_apart(tmp_path: Path):
    recorded(tmp_path / "call.lightoff", ramp(DRAFT, 1))
    Library(tmp_path).delete("call.lightoff")
    listing = Summaries(tmp_path).listing()
    assert listing["recordings"] == []
    assert [row["name"] for row in listing["deleted"]] == ["call.lightoff"]
    assert (tmp_path / DELETED).is_dir()


def test_a_missing_and_an_empty_folder_are_empty(tmp_path: Path):
    nothing = {"looking": False, "recordings": [], "more": 0, "deleted": [], "more_deleted": 0}
    assert Summaries(tmp_path / "calls").listing() == {"folder": "calls", **nothing}
    assert Summaries(tmp_path).listing() == {"folder": tmp_path.name, **nothing}


def test_many_may_ask_at_once(tmp_path: Path):
    for number in range(5):
        recorded(tmp_path / f"{number}.lightoff", ramp(DRAFT, 1))
    summaries = Summaries(tmp_path)
    found: list[list[str]] = []
    threads = [threading.Thread(target=lambda: found.append(names(summaries))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [found[0]] * 4


def test_events_are_notes_marks_and_raised_alarms(tmp_path: Path):
    path = recorded(
        tmp_path / "call.lightoff",
        ramp(DRAFT, 1),
        event(EventKind.NOTE, 1, "<b>water</b>"),
        event(EventKind.ALARM, 2, "raised", **RAISED),
        event(EventKind.ALARM, 3, "seen", **SEEN),
        event(EventKind.RECORDER, 4, "stopped"),
        event(EventKind.MARK, 0.5, "mark"),
    )
    told = events_of(path)
    assert [(one["kind"], one["text"]) for one in told["events"]] == [
        ("mark", "mark"),
        ("note", "<b>water</b>"),
        ("alarm", "raised"),
    ]
    assert told["events"][0]["time"] == (T0 + SECOND // 2) / 1e6
    assert told["more"] == 0


def test_of_many_events_the_first_are_told(tmp_path: Path):
    notes = [event(EventKind.NOTE, number, "x" * 900) for number in range(MOST_EVENTS + 7)]
    told = events_of(recorded(tmp_path / "call.lightoff", [], *notes))
    assert len(told["events"]) == MOST_EVENTS
    assert told["more"] == 7
    assert len(told["events"][0]["text"]) == 500
