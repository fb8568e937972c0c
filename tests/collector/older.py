"""Recordings as the programs of formats 1 and 2 left them, written with SQLite alone, and those of format 3."""

import json
import math
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from pcodec import ChunkConfig, standalone

from analysis.model import Channel, Event, Reading
from collector.attachments import Attachment, pieces
from collector.blocks import COLUMNS, Block, checksum_of, decoded

TABLES = """
CREATE TABLE channel (
    id INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, point TEXT NOT NULL, instrument TEXT NOT NULL,
    unit TEXT NOT NULL, low REAL, high REAL, accuracy TEXT, response_time REAL);
CREATE TABLE reading (
    channel INTEGER NOT NULL REFERENCES channel(id), time INTEGER NOT NULL, value, quality INTEGER NOT NULL,
    PRIMARY KEY (channel, time)) WITHOUT ROWID;
CREATE TABLE event (
    id INTEGER PRIMARY KEY, time INTEGER NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL, subject TEXT,
    data TEXT NOT NULL);
"""
ATTACHMENTS = """
CREATE TABLE attachment (
    id TEXT PRIMARY KEY, time INTEGER NOT NULL, name TEXT NOT NULL, media_type TEXT NOT NULL, text TEXT NOT NULL,
    size INTEGER NOT NULL) WITHOUT ROWID;
CREATE TABLE attachment_piece (
    attachment TEXT NOT NULL, number INTEGER NOT NULL, bytes BLOB NOT NULL, UNIQUE (attachment, number));
"""


def older(
    path: Path,
    channels: Sequence[Channel],
    readings: Iterable[Reading],
    events: Iterable[Event] = (),
    attached: Sequence[tuple[Attachment, bytes]] = (),
    *,
    version: int = 2,
    killed: bool = False,
) -> Path:
    """Such a recording; `killed` leaves part of it in the log beside it, as kill -9 does."""
    db = sqlite3.connect(path, isolation_level=None)
    marks = f"PRAGMA application_id={0x4C4F4646}; PRAGMA user_version={version};"
    db.executescript(f"BEGIN; {TABLES} {ATTACHMENTS if version > 1 else ''} {marks} COMMIT; PRAGMA journal_mode=WAL;")
    ids = {}
    for number, one in enumerate(channels, start=1):
        ids[one.key] = number
        facts = (one.key, one.point, one.instrument, one.unit, one.low, one.high, one.accuracy, one.response_time)
        db.execute("INSERT INTO channel VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", (number, *facts))
    rows = [(ids[r.channel], r.time, None if math.isnan(r.value) else r.value, int(r.quality)) for r in readings]
    db.execute("BEGIN")
    db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?)", rows)
    for event in events:
        told = (event.time, str(event.kind), event.text, event.subject, json.dumps(dict(event.data)))
        db.execute("INSERT INTO event (time, kind, text, subject, data) VALUES (?, ?, ?, ?, ?)", told)
    for own, content in attached:
        for piece in pieces(own, content):
            db.execute("INSERT INTO attachment_piece VALUES (?, ?, ?)", (own.id, piece.number, piece.content))
        row = (own.id, own.time, own.name, own.media_type, own.text, own.size)
        db.execute("INSERT INTO attachment VALUES (?, ?, ?, ?, ?, ?)", row)
    db.execute("COMMIT")
    if killed:
        left = {ending: Path(f"{path}{ending}").read_bytes() for ending in ("", "-wal")}
        db.close()
        for ending, content in left.items():
            Path(f"{path}{ending}").write_bytes(content)
        return path
    db.execute("PRAGMA journal_mode=DELETE")
    db.close()
    return path


def of_format_3(path: Path) -> Path:
    """A finished recording as the programs of format 3 left it: the same tables, times and values in plain columns."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("BEGIN")
    for number, *facts in db.execute(f"SELECT id, {COLUMNS} FROM block").fetchall():
        block = Block(*facts)
        rows = decoded(block)
        plain = replace(
            block,
            time=standalone.simple_compress(rows.time, ChunkConfig()),
            value=standalone.simple_compress(rows.value, ChunkConfig()),
        )
        content = (plain.time, plain.value, checksum_of(plain), number)
        db.execute("UPDATE block SET time=?, value=?, checksum=? WHERE id=?", content)
    db.execute("PRAGMA user_version=3")
    db.execute("COMMIT")
    db.close()
    return path
