"""What a server has for sure, kept in a small file beside the recording; the recording itself is never written to.

Of each channel and minute it says how many readings the server has answered for long enough ago. Readings are never
altered or removed, so a minute that holds as many as were kept holds the same ones; one that holds more has a late one.
"""

import json
import logging
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from collector.database import Closing, Connection, RecordingError, open_beside, said

ENDING = ".archive"
APPLICATION_ID = 0x4C4F4641
MOST_ASIDE = 10_000
"""Lines of a recording that are kept as they were refused; further ones are counted. [1]"""

_TABLES = """
CREATE TABLE IF NOT EXISTS call (
    id INTEGER PRIMARY KEY, call TEXT NOT NULL, target TEXT NOT NULL, about TEXT NOT NULL, UNIQUE (call, target));
CREATE TABLE IF NOT EXISTS kept (
    call INTEGER NOT NULL, channel TEXT NOT NULL, minute INTEGER NOT NULL, count INTEGER NOT NULL,
    PRIMARY KEY (call, channel, minute)) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS aside (
    call INTEGER NOT NULL, channel TEXT NOT NULL, time INTEGER NOT NULL, line TEXT NOT NULL, why TEXT NOT NULL,
    PRIMARY KEY (call, channel, time)) WITHOUT ROWID;
"""

log = logging.getLogger(__name__)


class Kept(Closing):
    """Of one recording and one server; where no file can be beside the recording it is kept in memory, and said."""

    def __init__(self, recording: Path, target: str) -> None:
        self.path = recording.with_name(f"{recording.name}{ENDING}")
        self._target = target
        self._number = 0
        self._minutes: dict[str, dict[int, int]] = {}
        self._aside: set[tuple[str, int]] = set()
        self._more_aside = 0
        self._unwritten: dict[tuple[str, int], int] = {}
        self._db: Connection | None = None
        self.failure = ""
        """Why it is kept in memory only, in one sentence; empty where it is not."""
        try:
            self._db = open_beside(self.path, _TABLES, APPLICATION_ID)
        except RecordingError as error:
            self._failed(error)

    def calls(self) -> list[Mapping[str, str]]:
        """What stands with the readings of each call that was sent from this file before."""
        if self._db is None:
            return []
        try:
            with said(self.path, "read"):
                return [json.loads(row[0]) for row in self._db.execute("SELECT about FROM call ORDER BY id")]
        except (RecordingError, ValueError) as error:
            self._without_file(error)
            return []

    def begin(self, about: Mapping[str, str]) -> None:
        """Take up what is kept of this call; a call that was never sent begins with nothing."""
        if self._db is None:
            return
        row = (about["call"], self._target)
        try:
            with said(self.path, "write"):
                facts = json.dumps(dict(about))
                self._db.execute("INSERT OR IGNORE INTO call (call, target, about) VALUES (?, ?, ?)", (*row, facts))
                found = self._db.execute("SELECT id FROM call WHERE call=? AND target=?", row).fetchone()
                self._number = int(found[0])
                rows = self._db.execute("SELECT channel, minute, count FROM kept WHERE call=?", (self._number,))
                for channel, minute, count in rows:
                    self._minutes.setdefault(channel, {})[minute] = count
                rows = self._db.execute("SELECT channel, time FROM aside WHERE call=?", (self._number,))
                self._aside = {(channel, time) for channel, time in rows}
        except RecordingError as error:
            self._without_file(error)

    def count(self, channel: str, minute: int) -> int | None:
        """Readings of a minute that the server has for sure, None where it has none."""
        return self._minutes.get(channel, {}).get(minute)

    def keep(self, counts: Mapping[tuple[str, int], int]) -> None:
        """The server has so many readings of these channels and minutes for sure."""
        for (channel, minute), count in counts.items():
            self._minutes.setdefault(channel, {})[minute] = count
        self._unwritten.update(counts)
        rows = [(self._number, *place, count) for place, count in self._unwritten.items()]
        if self._write("INSERT OR REPLACE INTO kept VALUES (?, ?, ?, ?)", rows):
            self._unwritten.clear()

    @property
    def aside(self) -> int:
        """Readings that the server did not take. [1]"""
        return len(self._aside) + self._more_aside

    def set_aside(self, channel: str, lines: Iterable[tuple[int, str]], why: str) -> None:
        """The server does not take these: time [ns] and line of each; they are tried again with the next beginning."""
        rows = []
        for time, line in lines:
            if (channel, time) in self._aside:
                continue
            if len(self._aside) >= MOST_ASIDE:
                self._more_aside += 1
                continue
            rows.append((self._number, channel, time, line, why))
            self._aside.add((channel, time))
        self._write("INSERT OR REPLACE INTO aside VALUES (?, ?, ?, ?, ?)", rows)

    def taken(self, channel: str, start: int, end: int) -> None:
        """The server has everything of a span [ns], both ends included: nothing of it is set aside any more."""
        gone = [one for one in self._aside if one[0] == channel and start <= one[1] <= end]
        if gone:
            self._aside.difference_update(gone)
            rows = [(self._number, *one) for one in gone]
            self._write("DELETE FROM aside WHERE call=? AND channel=? AND time=?", rows)

    def _write(self, statement: str, rows: Sequence[tuple[object, ...]]) -> bool:
        if self._db is None or not rows:
            return self._db is not None
        try:
            with said(self.path, "write"):
                self._db.execute("BEGIN IMMEDIATE")
                try:
                    self._db.executemany(statement, rows)
                    self._db.execute("COMMIT")
                except BaseException:
                    if self._db.in_transaction:
                        self._db.execute("ROLLBACK")
                    raise
        except RecordingError as error:
            self._failed(error)
            return False
        self.failure = ""
        return True

    def _without_file(self, error: Exception) -> None:
        """The file is damaged: it stays as it is, and nothing in it counts."""
        self._failed(error)
        self.close()
        self._db = None
        self._minutes.clear()
        self._aside.clear()

    def _failed(self, error: Exception) -> None:
        if not self.failure:
            log.warning("what the server has is kept in memory only, and sent again next time: %s", error)
        self.failure = str(error)

    def close(self) -> None:
        """Close the file."""
        if self._db is not None:
            self._db.close()
