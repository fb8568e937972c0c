"""What an instrument lost, in words."""

from collections.abc import Mapping

from collector.supervisor import Status

WORDS = {
    "unreadable": ("1 message could not be read", "{} messages could not be read"),
    "cut_lines": ("1 line came in half", "{} lines came in half"),
    "discarded_bytes": ("1 byte of broken messages thrown away", "{} bytes of broken messages thrown away"),
    "dropped_lines": ("1 line lost: this computer was too slow", "{} lines lost: this computer was too slow"),
    "dropped_bytes": ("1 byte lost: this computer was too slow", "{} bytes lost: this computer was too slow"),
    "dropped_messages": ("1 message lost: this computer was too slow", "{} messages lost: this computer was too slow"),
    "retained": (
        "1 message that the broker kept from before, not taken",
        "{} messages that the broker kept from before, not taken",
    ),
    "repeated": ("1 message sent again by the broker, taken once", "{} messages sent again by the broker, taken once"),
    "old": ("1 message was old by its own time", "{} messages were old by their own time"),
    "missing": ("1 message missing by its own counter", "{} messages missing by its own counter"),
    "duplicates": ("1 message came twice and was taken once", "{} messages came twice and were taken once"),
    "late": ("1 message came late", "{} messages came late"),
    "out_of_range": ("1 reading over or under its range", "{} readings over or under its range"),
    "misfits": ("1 number in a unit of something else", "{} numbers in a unit of something else"),
    "without_unit": ("1 number before it said its unit", "{} numbers before it said its unit"),
    "flood_lines": ("1 line left out: it says too much", "{} lines left out: it says too much"),
    "flood_bytes": ("1 byte left out: it says too much", "{} bytes left out: it says too much"),
    "cut_frames": ("1 message came in half", "{} messages came in half"),
    "unanswered": ("1 question got no answer", "{} questions got no answer"),
    "late_answers": ("1 answer thrown away: too late, or in doubt", "{} answers thrown away: too late, or in doubt"),
    "declined": ("it refused an answer once", "it refused an answer {} times"),
    "unasked_bytes": ("1 byte came that answered nothing", "{} bytes came that answered nothing"),
    "refused": ("1 entry refused", "{} entries refused"),
}
"""What drivers count, by the keys of their statistics: one, and several."""

NO_LOSS = frozenset({"messages", "readings", "entered", "waiting", "repeats"})
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
