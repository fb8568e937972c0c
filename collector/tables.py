"""The small tables of a recording: channels, events and attachments, each row with its checksum."""

import json
import math
from collections.abc import Iterable

from analysis.model import Channel, Event
from collector.attachments import Attachment, Piece
from collector.database import Connection, checksum_of


def put_channel(db: Connection, number: int, channel: Channel) -> None:
    """Put a channel under its number, or what is told anew of it."""
    numbers = (None if one is None or math.isnan(one) else one + 0.0 for one in (channel.low, channel.high))
    time = channel.response_time
    facts = (
        *(number, channel.key, channel.point, channel.instrument, channel.unit, *numbers, channel.accuracy),
        None if time is None or math.isnan(time) else time + 0.0,
    )
    db.execute(
        "INSERT INTO channel VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 0, ?) ON CONFLICT (id) DO UPDATE SET low=excluded.low,"
        " high=excluded.high, accuracy=excluded.accuracy, response_time=excluded.response_time,"
        " checksum=excluded.checksum",
        (*facts, checksum_of(*facts)),
    )


def put_events(db: Connection, events: Iterable[Event]) -> None:
    """Add events, with numbers of our own: the checksum is of them too."""
    (last,) = db.execute("SELECT max(id) FROM event").fetchone()
    for number, event in enumerate(events, start=(last or 0) + 1):
        facts = (event.time, str(event.kind), _text(event.text), _text(event.subject), json.dumps(dict(event.data)))
        put_event(db, (number, *facts))


def put_event(db: Connection, facts: tuple[int, int, str | None, str | None, str | None, str]) -> None:
    """Add an event as it stands in its row."""
    db.execute("INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?)", (*facts, checksum_of(*facts)))


def put_attachment(db: Connection, one: Attachment) -> None:
    """Tell of an attachment; its pieces are there."""
    facts = (one.id, one.time, _text(one.name), one.media_type, _text(one.text), one.size)
    db.execute("INSERT INTO attachment VALUES (?, ?, ?, ?, ?, ?, ?)", (*facts, checksum_of(*facts)))


def put_piece(db: Connection, piece: Piece) -> None:
    """Add a piece of an attachment."""
    checksum = checksum_of(piece.attachment, piece.number, content=piece.content)
    db.execute(
        "INSERT INTO attachment_piece VALUES (?, ?, ?, ?)", (piece.attachment, piece.number, piece.content, checksum)
    )


def _text(text: str | None) -> str | None:
    """Text that SQLite takes: half a character in a name or a note must not end the recording."""
    return None if text is None else text.encode("utf-8", "replace").decode()
