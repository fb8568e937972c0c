"""The archive of a call that runs: its process beside the recorder, what that is told, and what it tells."""

import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from analysis.model import Event, EventKind
from collector.archive_target import Secrets, target_of
from collector.carrier import Carrier
from collector.collector import Collector
from collector.job_sections import ArchiveSettings
from collector.sinks.sink import Target
from drivers.base import Now

TOLD_AFTER = 30.0
"""A server that is away for so long is an event of the recording; shorter ones are on the page alone. [s]"""


def program() -> tuple[str, ...]:
    """The program of the process."""
    return (sys.executable, "-P", "-m", "collector.forward_worker")


class Archive(Carrier):
    """Has what is recorded sent to the server of the job in force."""

    word = "archive"

    def __init__(
        self,
        recording: Path,
        settings: Callable[[], ArchiveSettings],
        *,
        secrets: Secrets,
        now: Now,
        tell: Callable[[Event], None],
        command: Sequence[str] = (),
    ) -> None:
        super().__init__(recording, settings, command=command or program())
        self._secrets, self._now, self._tell = secrets, now, tell
        self._away: int | None = None

    def _target(self, settings: ArchiveSettings) -> Target | None:
        return target_of(settings, self._secrets)

    def _given(self, target: Target) -> Mapping[str, Any]:
        return {
            "recording": str(self._recording.absolute()),
            "url": target.url,
            "bucket": target.bucket,
            "org": target.org,
            "secret": target.secret,
        }

    def _take(self, said: dict[str, Any]) -> None:
        super()._take(said)
        self._event_of(said)

    def status(self) -> dict[str, Any] | None:
        """How far the server has what is recorded; None where the job names none."""
        if not self._server and not self._trouble:
            return None
        own = {"state": "waiting", "text": self._trouble} if self._trouble else {}
        return {"state": "sending", "text": "", "behind": 0.0, "aside": 0, **self._said, **own, "server": self._server}

    def left(self) -> str:
        """What the server does not have at the end, in one sentence; empty where it has all."""
        if not self._server and not self._trouble:
            return ""
        aside = f", and it refuses {count} readings" if (count := self._said.get("aside")) else ""
        if self._said.get("sent_all") and not self._trouble and not aside:
            return ""
        why = f" ({text})" if (text := self._trouble or self._said.get("text")) else ""
        server = self._server or "the archive"
        missing = "" if self._said.get("sent_all") else f"{server} does not have all of {self._recording.name} yet{why}"
        what = f"{missing}{aside}" if missing else f"{server} has {self._recording.name}{aside}"
        return f"{what}: lightoff archive {self._recording} sends what is missing"

    def _event_of(self, said: Mapping[str, Any]) -> None:
        """A server that is away for long, and its return, stand in the recording."""
        waiting = said["state"] == "waiting"
        if waiting and self._away is None and said["stood_still"] >= TOLD_AFTER:
            self._away = int(said["since"])
            self._event(f"the archive takes nothing: {said['text']}", "away")
        elif not waiting and self._away is not None:
            self._away = None
            self._event(f"the archive {self._server} takes readings again", "back")

    def _event(self, text: str, state: str) -> None:
        self._tell(Event(self._now(), EventKind.ARCHIVE, text, None, {"state": state}))


def archive_of(
    recording: Path, secrets: Secrets | None, collector: Collector, settings: Callable[[], ArchiveSettings]
) -> Archive | None:
    """What sends a recording to the server of the job in force; None where there are no secrets to be read."""
    if secrets is None:
        return None
    archive = Archive(recording, settings, secrets=secrets, now=collector.now, tell=collector.ingest)
    collector.recorder.committed.append(archive.committed)
    return archive
