"""Recordings that go out as Parquet and come back, and all that is in them."""

import math
import struct
from pathlib import Path
from typing import Any

import duckdb

from analysis.model import Channel
from collector.exchange_parquet import export_parquet, import_parquet
from collector.recording import Recording
from collector.store import Store

DRAFT = Channel("draft_switch", "draft meter", "inH2O", -5.0, 5.0, "0.5 % + 0.01 inH2O", 0.25)
SUPPLY = Channel("temp_supply", 'duct "T", no. 2', "degF")


def written(path: Path, *items) -> Path:
    with Store(path) as store:
        store.append(list(items))
    return path


def sent(source: Path, target: Path, **options) -> int:
    with Recording(source) as recording:
        return export_parquet(recording, target, **options)


def taken(source: Path, target: Path, **options):
    return import_parquet(source, target, job=None, now=1, **options)


def bits(values) -> list[str]:
    return ["nan" if math.isnan(value) else struct.pack(">d", value).hex() for value in values]


def everything(path: Path) -> dict[str, Any]:
    """All that a recording has, in a form that compares to the last bit."""
    with Recording(path) as recording:
        rows = {channel.key: recording.read(channel.key) for channel in recording.channels}
        return {
            "channels": recording.channels,
            "readings": {
                key: (own.time.tolist(), bits(own.value.tolist()), own.quality.tolist()) for key, own in rows.items()
            },
            "events": recording.events(),
            "job": recording.job(),
            "withdrawn": recording.withdrawn(),
        }


def asked(path: Path, question: str) -> list[tuple[Any, ...]]:
    """What DuckDB, a reader from outside, answers of a file."""
    with duckdb.connect() as db:
        return db.execute(question.replace("FILE", f"'{path}'")).fetchall()
