"""A writer under load whose every batch is known beforehand, and the look whether a file holds exactly some of them.

Started as a program it appends batches, and says each when the store has returned for it: what it has said is
acknowledged. Sixteen channels at 10 Hz; some batches come late and lie between earlier ones.
"""

import argparse
import sys
from pathlib import Path
from time import sleep

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Event, EventKind, Quality, Reading
from collector.database import RecordingError
from collector.recording import Recording
from collector.sealing import SEALED_AFTER
from collector.store import Store, Written
from tests.collector.older import older

CHANNELS = tuple(Channel("temp_supply", f"invented meter {number:02}", "degF") for number in range(16))
START = 1_768_372_280 * 10**9
"""Time of the first reading. [ns]"""
TICK = 100_000_000
"""Time between two readings of a channel. [ns]"""
WIDEST = 4
"""Ticks in the largest batch. [1]"""
LATE = 16
"""Every such batch comes late."""

Table = tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.int8]]


def times(batch: int) -> NDArray[np.int64]:
    """Times of the readings of each channel in a batch. [ns]"""
    ticks = np.arange(1 + batch % WIDEST, dtype=np.int64)
    if batch % LATE == LATE - 1:  # twelve batches ago, half a tick beside what was read then
        return START + ((batch - 12) * WIDEST + ticks) * TICK + TICK // 2
    return START + (batch * WIDEST + ticks) * TICK


def table(channel: int, time: NDArray[np.int64]) -> Table:
    """What a channel says at these times."""
    mixed = (time // (TICK // 2) * 7919 + channel * 104_729) % 4001
    value = np.where(mixed % 50 == 0, np.nan, mixed / 100 - 20)
    quality = np.where(mixed % 50 == 0, Quality.BAD, np.where(mixed % 37 == 0, Quality.SUSPECT, Quality.GOOD))
    return time, value, quality.astype(np.int8)


def contents(batch: int) -> list[Written]:
    """A batch: its readings, instant after instant, and the note that names it."""
    columns = [
        zip(*(part.tolist() for part in table(number, times(batch))), strict=True) for number in range(len(CHANNELS))
    ]
    items: list[Written] = [
        Reading(channel.key, time, value, Quality(quality))
        for row in zip(*columns, strict=True)
        for channel, (time, value, quality) in zip(CHANNELS, row, strict=True)
    ]
    note = Event(int(times(batch)[0]), EventKind.NOTE, f"batch {batch}", None, {"batch": batch})
    return [*CHANNELS, *items, note] if batch == 0 else [*items, note]


def held(path: Path) -> int:
    """How many batches a recording holds; AssertionError where it is not exactly the first so many, each whole."""
    with Recording(path) as recording:
        notes = [event.data["batch"] for event in recording.events({EventKind.NOTE})]
        count = len(notes)
        assert sorted(int(str(note)) for note in notes) == list(range(count)), "a batch is missing or there twice"
        assert recording.channels == (CHANNELS if count else ()), "a channel is missing or was invented"
        wished = np.sort(np.concatenate([np.empty(0, np.int64), *(times(batch) for batch in range(count))]))
        for number, channel in enumerate(CHANNELS):
            rows = recording.read(channel.key)
            time, value, quality = table(number, wished)
            assert np.array_equal(rows.time, time), f"{channel.key}: other times than recorded"
            assert np.array_equal(rows.value, value, equal_nan=True), f"{channel.key}: other values than recorded"
            assert np.array_equal(rows.quality, quality), f"{channel.key}: other qualities than recorded"
        assert recording.span() == ((wished[0], wished[-1]) if count else None)
    return count


def left_by_format(version: int, path: Path, batches: int, *, killed: bool = False) -> None:
    """The first batches as the program of an older format left them."""
    items = [item for batch in range(batches) for item in contents(batch)]
    readings = [item for item in items if isinstance(item, Reading)]
    events = [item for item in items if isinstance(item, Event)]
    older(path, CHANNELS, readings, events, version=version, killed=killed)


def acknowledged(said: str) -> int:
    """How many batches a writer that was begun with the first has said."""
    return sum(word.isdigit() for word in said.split())


def main() -> None:
    """Append batches until the last, or until something ends it; say each that is acknowledged."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("path", type=Path)
    arguments.add_argument("--first", type=int, default=0)
    arguments.add_argument("--last", type=int, default=sys.maxsize)
    arguments.add_argument("--pause", type=float, default=0.0)
    arguments.add_argument("--sealed-after", type=int, default=SEALED_AFTER)
    arguments.add_argument("--remove-at", type=int, default=-1)
    chosen = arguments.parse_args()
    with Store(chosen.path, sealed_after=chosen.sealed_after) as store:
        print("open", flush=True)  # noqa: T201
        for batch in range(chosen.first, chosen.last):
            if batch == chosen.remove_at:
                chosen.path.unlink()
            _append(store, contents(batch))
            print(batch, flush=True)  # noqa: T201
            sleep(chosen.pause)
    print("closed", flush=True)  # noqa: T201


def _append(store: Store, batch: list[Written]) -> None:
    """Try until the store has it, as the recorder does."""
    while True:
        try:
            store.append(batch)
        except RecordingError:
            print("refused", flush=True)  # noqa: T201
        else:
            return


if __name__ == "__main__":
    main()
