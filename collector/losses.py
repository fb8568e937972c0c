"""What an instrument lost, in words."""

from collections.abc import Mapping

from collector.supervisor import Status

WORDS = {
    "unreadable": ("1 message could not be read", "{} messages could not be read"),
    "cut_lines": ("1 line came in half", "{} lines came in half"),
    "discarded_bytes": ("1 byte of such lines thrown away", "{} bytes of such lines thrown away"),
    "dropped_lines": ("1 line lost: this computer was too slow", "{} lines lost: this computer was too slow"),
    "dropped_bytes": ("1 byte lost: this computer was too slow", "{} bytes lost: this computer was too slow"),
    "unanswered": ("1 question had no answer", "{} questions had no answer"),
    "declined": ("it refused an answer once", "it refused an answer {} times"),
    "unasked_bytes": ("1 byte came that answered nothing", "{} bytes came that answered nothing"),
    "refused": ("1 entry refused", "{} entries refused"),
}
"""What drivers count, by the keys of their statistics: one, and several."""

NO_LOSS = frozenset({"messages", "readings", "entered", "waiting"})
"""What they count too, and is none."""


def losses(status: Status, statistics: Mapping[str, int]) -> list[str]:
    """How often the instrument was lost and what of it could not be read; empty where nothing was."""
    said = []
    if status.lost:
        times = "once" if status.lost == 1 else f"{status.lost} times"
        said.append(f"lost {times}" + (f", without readings for {_span(status.away)}" if status.away else ""))
    counted = {key: count for key, count in statistics.items() if count and key not in NO_LOSS}
    return said + [_words(key, count) for key, count in counted.items()]


def _words(key: str, count: int) -> str:
    one, several = WORDS.get(key, (f"{key.replace('_', ' ')} 1", f"{key.replace('_', ' ')} {{}}"))
    return one if count == 1 else several.format(count)


def _span(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
