"""Clocks that were off, put right at import: what is moved, what follows, and what the recording says of it."""

import gzip
import math
from pathlib import Path

import pytest

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.exchange import export_csv, import_csv
from collector.exchange_parquet import export_parquet, import_parquet
from collector.recording import Recording
from collector.shifts import Shifts
from collector.store import Store
from drivers.base import InputError

DRAFT = Channel("draft_switch", "draft meter", "inH2O")
VALVE = Channel("gas_valve", "contact logger", "1")


def written(path: Path, *items) -> Path:
    with Store(path) as store:
        store.append(list(items))
    return path


def sent(source: Path, target: Path) -> None:
    with Recording(source) as recording:
        export_parquet(recording, target)


def taken(source: Path, target: Path, *shifts: str):
    return import_parquet(source, target, job=None, now=1, shifts=Shifts.parse(shifts))


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_clock_that_was_off_is_put_right_and_that_is_told(tmp_path, form):
    rows = [Reading(DRAFT.key, 10**9, 0.5), Reading(DRAFT.key, 2 * 10**9, math.nan, Quality.BAD)]
    other = [Reading(VALVE.key, 10**9, 1.0)]
    gone = Event(9, EventKind.WITHDRAWN, "withdrawn", None, {"channel": DRAFT.key, "at": 10**9})
    source = written(tmp_path / "a.lightoff", DRAFT, VALVE, *rows, *other, *([gone] if form == "parquet" else []))
    with Recording(source) as recording:
        (export_parquet if form == "parquet" else export_csv)(recording, tmp_path / f"a.{form}")
    shifts = Shifts.parse(["draft meter=-3600.000000001"])
    out = tmp_path / "b.lightoff"
    if form == "parquet":
        import_parquet(tmp_path / "a.parquet", out, job=None, now=77, shifts=shifts)
    else:
        import_csv(tmp_path / "a.csv", out, job=None, start=0, now=77, shifts=shifts)
    with Recording(tmp_path / "b.lightoff") as recording:
        moved = recording.read(DRAFT.key)
        assert moved.time.tolist() == [-3_599_000_000_001, -3_598_000_000_001]
        assert [repr(value) for value in moved.value.tolist()] == ["0.5", "nan"]
        assert recording.read(VALVE.key).time.tolist() == [10**9]
        (told,) = recording.events({EventKind.CLOCK})
        if form == "parquet":
            assert recording.withdrawn() == {DRAFT.key: {-3_599_000_000_001}}
    assert (told.time, told.subject) == (77, "draft meter")
    assert told.text == (
        f"draft meter: its times were moved by -3600.000000001 s when a.{form} was imported, as stated then"
    )
    assert told.data == {"shift": -3_600_000_000_001, "channels": [DRAFT.key], "from": f"a.{form}"}


def test_a_channel_goes_before_its_instrument_and_what_would_leave_the_calendar_is_reported(tmp_path):
    valve, switch = VALVE, Channel("switch_closed", "contact logger", "1")
    end = 2**63 - 1
    source = written(
        tmp_path / "a.lightoff",
        valve,
        switch,
        *(Reading(one.key, at, 1.0) for one in (valve, switch) for at in (0, end)),
    )
    sent(source, tmp_path / "a.parquet")
    done = taken(tmp_path / "a.parquet", tmp_path / "b.lightoff", "contact logger=1", "gas_valve@contact logger=-1")
    assert [str(one) for one in done.problems] == [
        "row 4: switch_closed@contact logger: its time is out of range when it is moved"
    ]
    with Recording(tmp_path / "b.lightoff") as recording:
        assert recording.read(valve.key).time.tolist() == [-(10**9), end - 10**9]
        assert recording.read(switch.key).time.tolist() == [10**9]


def test_a_shift_of_what_is_not_there_makes_nothing(tmp_path):
    source = written(tmp_path / "a.lightoff", DRAFT, Reading(DRAFT.key, 1, 1.0))
    sent(source, tmp_path / "a.parquet")
    with pytest.raises(InputError, match="has no instrument or channel 'draft metre'; nearest known: draft meter"):
        taken(tmp_path / "a.parquet", tmp_path / "b.lightoff", "draft metre=1")
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(b"time,draft_switch@draft meter [inH2O]\n0,1\n"))
    with pytest.raises(InputError, match="has no instrument or channel 'x'"):
        import_csv(
            tmp_path / "a.csv.gz", tmp_path / "b.lightoff", job=None, start=0, now=1, shifts=Shifts.parse(["x=1"])
        )
    assert not (tmp_path / "b.lightoff").exists()


@pytest.mark.parametrize("text", ["meter", "meter=", "=1", "meter=1 s", "meter=1e3", "meter=nan", "meter=1.0000000001"])
def test_shifts_that_say_nothing_are_said(text):
    with pytest.raises(ValueError, match="is not INSTRUMENT=SECONDS"):
        Shifts.parse([text])
