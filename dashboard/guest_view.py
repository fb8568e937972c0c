"""What guests are told of a call: what is measured and what it means, and nothing about this machine."""

from typing import Any

Message = dict[str, Any]

PASSED = frozenset({"feed", "channels", "readings", "event", "attempts", "jump", "dropped", "behind", "reply"})
"""Messages that go on as they are; others are left out, also such as are added later."""

OF_HELLO = frozenset({"type", "plate", "limits", "site", "kept"})
UNSAID: Message = {"recording": "", "job": None, "causes": {}}
"""What a page expects of a greeting and guests are not told: names of files, and causes that may be practised."""
OF_STATUS = frozenset(
    "type now making making_high speakers phase warnings first_drop alarms flood instruments suspicions replay".split()
)
OF_INSTRUMENT = frozenset(
    "name origin state since readings age rate channels losses errors lost_since latency"
    " zeros zeroed accuracy response_time isolated needs_isolation".split()
)
"""Not the text of its trouble, which may name a port, a file or a broker."""


def for_guest(message: Message) -> Message | None:
    """A message as a guest is told it, None where it is not for guests."""
    match message:
        case {"type": "page"}:
            return {**message, "guest": True}
        case {"type": "hello"} | {"type": "job"}:
            return {name: fact for name, fact in message.items() if name in OF_HELLO} | UNSAID
        case {"type": "status"}:
            return _status(message)
        case {"type": kind} if kind in PASSED:
            return message
    return None


def _status(message: Message) -> Message:
    """The state of the call; where the recorder stands still, that it does and not which folder is full."""
    known = {name: fact for name, fact in message.items() if name in OF_STATUS}
    instruments = known.get("instruments")
    if isinstance(instruments, list):
        known["instruments"] = [_instrument(one) for one in instruments if isinstance(one, dict)]
    recorder = message.get("recorder")
    state = recorder.get("state") if isinstance(recorder, dict) else None
    return known | {"recorder": {"state": state, "text": "", "lost": 0, "queued": 0}, "entries": []}


def _instrument(one: Message) -> Message:
    """The rest is there, as a page expects it, and empty."""
    kept = {name: fact for name, fact in one.items() if name in OF_INSTRUMENT}
    return kept | {"text": "", "next_try": None, "last_error": None}
