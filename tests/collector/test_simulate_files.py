"""The three files of a simulated call: complete or not there, always the same, and the truth apart."""

import gzip
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.model import Channel, EventKind, Reading
from collector.recording import Recording
from collector.simulate_files import ENDINGS, LIVE_ENDING, Content, Places, has_ending, truth_text, write
from collector.store import Store
from drivers.base import InputError, LightoffError

DRAFT = Channel("draft_collector", "simulated: draft meter", "inH2O", accuracy="0.5 % + 0.01 inH2O")
CLOSED = Channel("switch_closed", "simulated: logger", "1")
START = 1_768_372_200 * 10**9
JOB = '[site]\nname = "invented"\n'
ROWS = [
    Reading(DRAFT.key, START + 100_000_000, -0.3),
    Reading(CLOSED.key, START + 100_000_000, 1.0),
    Reading(DRAFT.key, START + 200_000_000, -0.0004),
    Reading(DRAFT.key, START + 305_000_000, -1.2345),
]


def content(readings: Iterator[Reading] | list[Reading] | None = None) -> Content:
    return Content(
        channels=(DRAFT, CLOSED),
        readings=ROWS if readings is None else readings,
        digits={DRAFT.key: 3, CLOSED.key: 0},
        job=JOB,
        truth=lambda: {"seed": 1, "causes": [{"cause": "no_call", "severity": 0.70000001}]},
        start=START,
        about="simulated and invented, seed 1",
    )


def names(folder: Path) -> list[str]:
    return sorted(file.name for file in folder.iterdir())


CSV = (
    "time,draft_collector@simulated: draft meter [inH2O],switch_closed@simulated: logger [1]\n"
    "2026-01-14T06:30:00.100Z,-0.300,1\n"
    "2026-01-14T06:30:00.200Z,0.000,\n"
    "2026-01-14T06:30:00.305Z,-1.234,\n"
)


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz"])
def test_csv_with_the_digits_of_the_meters(tmp_path, name):
    assert write(Places.beside(tmp_path / name), content()) == 4
    assert names(tmp_path) == sorted([name, "a.toml", "a.truth.json"])
    written = (tmp_path / name).read_bytes()
    assert (gzip.decompress(written) if name.endswith(".gz") else written).decode() == CSV
    assert (tmp_path / "a.toml").read_text() == JOB
    (tmp_path / "b").mkdir()
    write(Places.beside(tmp_path / "b" / name), content())
    assert (tmp_path / "b" / name).read_bytes() == written, "the same bytes again"
    if name.endswith(".gz"):
        assert written[3:8] == bytes(5), "neither its name nor when it was made (RFC 1952, flags and MTIME)"


def test_a_recording_has_the_job_inside_and_not_the_truth(tmp_path):
    assert write(Places.beside(tmp_path / "a.lightoff"), content()) == 4
    assert names(tmp_path) == ["a.lightoff", "a.toml", "a.truth.json"]
    with Recording(tmp_path / "a.lightoff") as recording:
        assert recording.channels == (DRAFT, CLOSED)
        assert recording.job() == JOB
        assert recording.read(DRAFT.key).value.tolist() == [-0.3, 0.0, -1.234]
        events = [(event.kind, event.text, event.time) for event in recording.events()]
    assert (EventKind.RECORDER, "simulated and invented, seed 1", START) in events
    assert b"no_call" not in (tmp_path / "a.lightoff").read_bytes()


def test_the_truth_is_rounded_and_in_order():
    text = truth_text(
        {"seed": 7, "causes": [], "attempts": [{"start": 0.1 + 0.2, "end": -0.0001}], "events": ((1, "a"),)}
    )
    assert list(json.loads(text)) == ["seed", "causes", "attempts", "events"]
    assert json.loads(text)["attempts"] == [{"start": 0.3, "end": 0.0}]
    assert "-0.0" not in text
    assert json.loads(text)["events"] == [[1, "a"]]
    with pytest.raises(ValueError, match="JSON"):
        truth_text({"a": float("nan")})


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz", "a.lightoff"])
@pytest.mark.parametrize("error", [KeyboardInterrupt(), OSError(28, "No space left on device"), ZeroDivisionError()])
def test_what_is_cut_short_leaves_nothing_and_what_was_there_as_it_was(tmp_path, name, error):
    def readings() -> Iterator[Reading]:
        yield from ROWS[:3]
        raise error

    for ending in (name, "a.toml", "a.truth.json"):
        (tmp_path / ending).write_text("from before")
    with pytest.raises(InputError if isinstance(error, OSError) else type(error)) as refused:
        write(Places.beside(tmp_path / name), content(readings()))
    if isinstance(error, OSError):
        assert "(No space left on device)" in str(refused.value)
    assert names(tmp_path) == sorted([name, "a.toml", "a.truth.json"])
    assert {(tmp_path / file).read_text() for file in names(tmp_path)} == {"from before"}


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz", "a.lightoff"])
def test_files_of_others_beside_it_stay(tmp_path, name):
    others = [f"{part}.part{ending}" for part in (name, "a.toml", "a.truth.json") for ending in ("", "-wal", "-shm")]
    for other in others:
        (tmp_path / other).write_text("not ours")
    write(Places.beside(tmp_path / name), content())
    assert names(tmp_path) == sorted([*others, name, "a.toml", "a.truth.json"])
    assert {(tmp_path / other).read_text() for other in others} == {"not ours"}


def test_the_files_may_be_read_by_whom_files_may_be_read(tmp_path):
    (tmp_path / "usual").write_text("")
    write(Places.beside(tmp_path / "a.csv"), content())
    assert {file.stat().st_mode for file in tmp_path.iterdir()} == {(tmp_path / "usual").stat().st_mode}


def test_a_folder_that_is_gone_is_one_sentence(tmp_path):
    with pytest.raises(InputError, match=r"cannot write .*a\.csv \(No such file or directory\)"):
        write(Places.beside(tmp_path / "nowhere" / "a.csv"), content())


@pytest.mark.parametrize("name", ["a.csv", "a.b.csv", "a.csv.gz", "a.lightoff", "..csv"])
def test_a_name_has_something_before_its_ending(name):
    assert has_ending(name, *ENDINGS)
    assert not any(has_ending(ending, *ENDINGS) for ending in ENDINGS)
    assert has_ending(name, LIVE_ENDING) == (name == "a.lightoff")


def test_what_is_in_the_way_is_named(tmp_path):
    places = Places.beside(tmp_path / "a.csv")
    places.check(given_job=None, force=False)
    for place in places.all():
        place.write_text("x")
        with pytest.raises(InputError, match=f"{place.name} is there already; choose another name or say --force"):
            places.check(given_job=None, force=False)
        places.check(given_job=None, force=True)
        place.unlink()
        place.mkdir()
        with pytest.raises(InputError, match="is a folder"):
            places.check(given_job=None, force=True)
        place.rmdir()
    with pytest.raises(InputError, match="there is no folder"):
        Places.beside(tmp_path / "nowhere" / "a.csv").check(given_job=None, force=False)


def test_the_job_that_was_given_may_lie_where_the_job_goes_and_stays_as_it_is(tmp_path):
    own = tmp_path / "a.toml"
    own.write_text("# mine\n")
    places = Places.beside(tmp_path / "a.csv")
    places.check(given_job=own, force=False)
    write(places, content(), given_job=own)
    assert own.read_text() == "# mine\n"
    assert names(tmp_path) == ["a.csv", "a.toml", "a.truth.json"]


def test_a_recording_that_is_being_recorded_is_not_replaced(tmp_path):
    place = tmp_path / "a.lightoff"
    places = Places.beside(place)
    with Store(place) as store:
        store.append([DRAFT, ROWS[0]])
        with pytest.raises(LightoffError, match="is being recorded by another program"):
            places.check(given_job=None, force=True)
    places.check(given_job=None, force=True)
    write(places, content())
    with Recording(place) as recording:
        assert recording.read(DRAFT.key).value.size == 3
