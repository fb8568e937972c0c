"""Sharing a call that runs: what its process is told, and what people say who watch elsewhere.

The two sides of talking back, to be connected to a page:

* `TakesRemote` is called on the recorder's side with each note or request, once for each identity however often it
  came: `Sharing.takes_remote`. By itself it keeps an event of the kind `remote_note` or `remote_request` in the
  recording, from where the page has it. When that is durable, its identity goes back as an acknowledgement.
* `SaysRemote` is what a viewer's page calls: `drivers.share.Share.say`. It keeps the same event in the viewer's
  recording at once, with `state` "sent" in its data, and one with "arrived" when the acknowledgement is there. What is
  not acknowledged is sent again, also after both programs were restarted; what is refused is not, and is kept once more
  with "refused" and `why`.

What a technician answers (`remote_done` with the `id` of the request) is an event of the recording like any other, and
is shared like any other. Nothing else comes from outside: no setting, no limit, no acknowledgement of an alarm.
"""

import logging
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Protocol

from analysis.model import Event, EventKind, origin_of
from collector.alarm_rule import PRIORITIES
from collector.alarm_states import AlarmState
from collector.archive_target import Secrets
from collector.carrier import Carrier
from collector.collector import Collector
from collector.job import Job
from collector.recording import Recording
from collector.share_target import ShareTarget, call_of, share_target
from collector.store import Written
from drivers.base import InputError
from drivers.codecs.cbor import packed
from drivers.share_messages import CONNECTS, NOTE, PRIVATE, VERSION, event_map

TURN = 0.2
"""Readings of so long go together. [s]"""
STATUS = 1.0
"""Longest time until the process is told anew how the call stands. [s]"""
log = logging.getLogger(__name__)

QUIET = {AlarmState.NORMAL, AlarmState.SUPPRESSED}
REMOTE = (EventKind.REMOTE_NOTE, EventKind.REMOTE_REQUEST)
MOST_REFUSED = 1000
"""Refused notes and requests that are known by their identity; the oldest go first. [1]"""
MOST_SAID = 20
"""Different reasons for not being shared that are said in the log. [1]"""


class TakesRemote(Protocol):
    """Takes what somebody said who watches the call elsewhere; it becomes one event of the recording."""

    def __call__(self, event: Event, /) -> None:
        """A `remote_note` or `remote_request`: `id`, `at` [ns], `author` and `viewer` in its data, a point its subject.

        InputError where it is not taken; whoever sent it is told why, and it is not sent again.
        """
        ...


class SaysRemote(Protocol):
    """Says something to whoever records the call that is watched."""

    def __call__(self, kind: str, text: str, *, at: int, author: str) -> str:
        """Send a `note` or a `request` about a time [ns]; its identity. InputError where it cannot be said."""
        ...


class Sharing(Carrier):
    """Shares what is recorded at the broker of the job in force."""

    turn = TURN
    word = "sharing"

    def __init__(
        self,
        recording: Path,
        job: Callable[[], Job],
        collector: Collector,
        *,
        secrets: Secrets,
        folder: Path | None = None,
        command: Sequence[str] = (),
        known: Sequence[Event] = (),
    ) -> None:
        super().__init__(
            recording, lambda: (job().share, job().archive.technician, job().text), command=command or program()
        )
        self._job, self._collector, self._secrets, self._folder = job, collector, secrets, folder
        self.takes_remote: TakesRemote = collector.ingest
        """Takes a note or request from elsewhere."""
        self.diagnosis: Mapping[str, Any] | None = None
        """What is thought to be wrong, as it goes with the status; None: nothing is said."""
        self.paused: Callable[[], bool] = lambda: False
        """Whether what is shared is a replay that stands still."""
        self._events: list[str] = []
        self._count = sum(event.kind not in PRIVATE for event in known)
        self._remote = {str(event.data.get("id")): True for event in known if event.kind in REMOTE}
        self._acknowledged: list[str] = []
        self._refused: dict[str, str] = {}
        self._refusals: list[tuple[str, str]] = []
        self._logged: set[str] = set()
        self._told: Mapping[str, Any] = {}
        self._told_at = -float("inf")
        self._begun = collector.now()

    def _target(self, settings: Any) -> ShareTarget | None:
        share, technician, _ = settings
        name = call_of(self._recording)
        return share_target(share, self._secrets, call=name, technician=technician, folder=self._folder)

    def _given(self, target: ShareTarget) -> Mapping[str, Any]:
        self._told_at = -float("inf")
        broker, topics = target.broker, target.topics
        return {
            "recording": str(self._recording.absolute()),
            **{name: getattr(broker, name) for name in ("host", "port", "tls", "user")},
            **{name: getattr(topics, name) for name in ("company", "technician", "call")},
            "secret": target.secret,
            "certificate": target.certificate,
            "status": self._standing(),
        }

    def committed(self, items: Sequence[Written]) -> None:
        """These are durable."""
        super().committed(items)
        for item in items:
            if isinstance(item, Event) and item.kind not in PRIVATE:
                self._count += 1
                remote = item.kind in REMOTE and (identity := str(item.data.get("id"))) in self._remote
                if remote:
                    self._remote[identity] = True  # also where nothing is shared just now: it may be asked again
                if not self._server:
                    continue
                self._events.append(packed({"v": VERSION, "events": [event_map(item)]}).hex())
                if remote:
                    self._acknowledged.append(identity)

    def _line(self) -> Mapping[str, Any] | None:
        marks = super()._line() or {}
        events, self._events = self._events, []
        acknowledged, self._acknowledged = self._acknowledged, []
        events += [packed({"v": VERSION, "ack": identity}).hex() for identity in acknowledged]
        refusals, self._refusals = self._refusals, []
        events += [packed({"v": VERSION, "refused": identity, "why": why}).hex() for identity, why in refusals]
        line: dict[str, Any] = {**marks, **({"events": events} if events else {})}
        status, now = self._standing(), self._collector.clock() / 1e9
        if {**status, "now": 0} != {**self._told, "now": 0} or abs(now - self._told_at) >= STATUS:
            line["status"] = status
            if self._told_at < 0:
                line["job"] = self._job().text
            self._told, self._told_at = status, now
        return line or None

    def _standing(self) -> dict[str, Any]:
        """How the call stands, for whoever looks at many."""
        collector, now = self._collector, self._collector.now()
        told = collector.sequence.told(now)
        alarms = [alarm for alarm in collector.alarms.snapshot() if alarm.state not in QUIET]
        worst = min(alarms, key=lambda alarm: PRIORITIES.index(alarm.priority), default=None)
        origins = sorted({origin for channel in collector.channels if (origin := origin_of(channel.instrument))})
        return {
            "name": self._job().site.name or call_of(self._recording),
            "origin": ", ".join(origins),
            "begun": self._begun,
            "now": now,
            "online": True,
            "paused": self.paused(),
            "phase": asdict(told) if told else None,
            "alarm": {"text": worst.text, "priority": worst.priority, "state": str(worst.state)} if worst else None,
            "events": self._count,
            "diagnosis": self.diagnosis,
        }

    def _take(self, said: dict[str, Any]) -> None:
        if (remote := said.get("remote")) is None:
            super()._take(said)
            self._log(str(said.get("text", "")))
            return
        identity = str(remote["id"])
        if identity in self._refused:
            self._refusals.append((identity, self._refused[identity]))
            return
        if identity in self._remote:
            if self._remote[identity]:  # its acknowledgement was lost
                self._acknowledged.append(identity)
            return
        self._remote[identity] = False
        kind = EventKind.REMOTE_NOTE if remote["kind"] == NOTE else EventKind.REMOTE_REQUEST
        data = {name: remote[name] for name in ("id", "at", "author", "viewer")}
        try:
            self.takes_remote(Event(self._collector.now(), kind, remote["text"], remote.get("point") or None, data))
        except InputError as error:
            del self._remote[identity]
            log.warning(
                "a %s from elsewhere is refused: %s", "note" if kind is EventKind.REMOTE_NOTE else "request", error
            )
            self._refused[identity] = str(error)
            self._refusals.append((identity, str(error)))
            if len(self._refused) > MOST_REFUSED:
                del self._refused[next(iter(self._refused))]

    def _log(self, trouble: str) -> None:
        """Say why the call is not shared, each reason once; the page says it as long as it holds."""
        if self._said.get("state") == "waiting" and trouble not in (CONNECTS, *self._logged):
            if len(self._logged) < MOST_SAID:
                log.warning("not shared now: %s", trouble)
            self._logged.add(trouble)

    def status(self) -> dict[str, Any] | None:
        """How far the broker has what is recorded; None where the job names none."""
        if not self._server and not self._trouble:
            return None
        own = {"state": "waiting", "text": self._trouble} if self._trouble else {}
        return {"state": "waiting", "text": "it begins", "behind": 0.0, **self._said, **own, "server": self._server}

    def ended(self) -> int:
        """Number of the newest attempt that is over, 0 where none is or nothing is shared. [1]"""
        if not self._server:
            return 0
        rows = (self._collector.sequence.attempts().since(0) or {}).get("attempts", ())
        return max((int(row["number"]) for row in rows if row["end"] is not None), default=0)

    def use_diagnosis(self, found: Mapping[str, Any] | None) -> None:
        """It goes with the status from now on."""
        self.diagnosis = found

    def left(self) -> str:
        """What viewers may lack at the end, in one sentence; empty where they lack nothing."""
        if (not self._server and not self._trouble) or (self._said.get("sent_all") and not self._trouble):
            return ""
        why = f" ({text})" if (text := self._trouble or self._said.get("text")) else ""
        return f"who watched {self._server or 'the call'} may not have all of it{why}: {self._recording} has"


def program() -> tuple[str, ...]:
    """The program of the process."""
    return (sys.executable, "-P", "-m", "collector.share_worker")


def sharing_of(
    recording: Path,
    secrets: Secrets | None,
    collector: Collector,
    job: Callable[[], Job],
    *,
    folder: Path | None = None,
) -> Sharing | None:
    """What shares a recording at the broker of the job in force; None where there are no secrets to be read."""
    if secrets is None:
        return None
    with Recording(recording) as before:
        known = before.events()
    sharing = Sharing(recording, job, collector, secrets=secrets, folder=folder, known=known)
    collector.recorder.committed.append(sharing.committed)
    return sharing
