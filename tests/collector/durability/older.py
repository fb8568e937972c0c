"""Recordings as the programs of older formats left them."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from collector.store import Store
from tests.collector.durability.load import contents


def format_1(path: Path, batches: int) -> None:
    """Without attachments."""
    with Store(path) as store:
        for batch in range(batches):
            store.append(contents(batch))
    with closing(sqlite3.connect(path)) as db:
        db.executescript("DROP TABLE attachment; DROP TABLE attachment_piece; PRAGMA user_version=1; VACUUM;")


OLDER: dict[int, Callable[[Path, int], None]] = {1: format_1}
"""Maker of a recording of so many batches, for each format that is raised."""
