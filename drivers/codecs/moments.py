"""Moments as people write them: `06:31`, `-5min`, `5 min ago`, a date with its time."""

import re
from datetime import UTC, datetime, time, timedelta, tzinfo

from analysis.model import NANOSECONDS
from drivers.base import InputError

CLOCKS_APART = 600
"""A clock time so little ahead of now is another clock, or a mistake, and not yesterday's. Our choice. [s]"""
OUTSIDE = 3600
"""A time without a date is a mistake where it lies further before the recording. Our choice. [s]"""

_SIZES = {"s": 1, "sec": 1, "min": 60, "h": 3600}
_BACK = re.compile(r"[-−]\s*(\d+(?:\.\d+)?)\s*(s|sec|min|h)|(\d+(?:\.\d+)?)\s*(s|sec|min|h) ago")  # noqa: RUF001
_CLOCK = re.compile(r"(\d{1,2}):(\d\d)(?::(\d\d)(\.\d{1,9})?)?")
_DATE = re.compile(r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d(?::\d\d)?)(\.\d{1,9})?\s*(Z|[+-]\d\d:?\d\d)?")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def parse_moment(text: str, now: int, zone: tzinfo | None = None, *, began: int | None = None) -> int:
    """UTC [ns] of a moment up to `now` [ns], which an empty text is; local time where no zone is written.

    `zone` is the local one, by default the machine's. A clock time is the last such time before now. InputError in one
    sentence for what is no moment, for one in the future, and where it is given for one long before a recording that
    `began` [ns] then, unless its date is written: yesterday's 23:59 is a slip of the hand.
    """
    found = _parsed(text, now, zone)
    if began is not None and found < began - OUTSIDE * NANOSECONDS and not is_dated(text):
        meant = f"{_local(found, zone):%Y-%m-%d %H:%M:%S}"
        hours = (began - found) / (3600 * NANOSECONDS)
        raise InputError(
            f"the time {' '.join(text.split())} is {meant}, {hours:.0f} h before the recording,"
            f" which began {_local(began, zone):%Y-%m-%d %H:%M:%S}",
            f"correct the time, or write it with its date if it is meant: {meant}",
        )
    return found


def is_dated(text: str) -> bool:
    """Whether a moment is written with its date."""
    return _DATE.fullmatch(" ".join(text.split())) is not None


def _parsed(text: str, now: int, zone: tzinfo | None) -> int:
    given = " ".join(text.split())
    if given in ("", "now"):
        return now
    if (match := _BACK.fullmatch(given)) is not None:
        amount, unit = match[1] or match[3], match[2] or match[4]
        return now - round(float(amount) * _SIZES[unit] * NANOSECONDS)
    if (match := _CLOCK.fullmatch(given)) is not None:
        return _last(given, match, now, zone)
    if (match := _DATE.fullmatch(given)) is not None:
        found = _dated(given, match, zone)
        if found > now:
            raise InputError(f"the time {given} lies in the future", "correct the time")
        return found
    raise InputError(f"'{given[:40]}' is no time", "write 06:31, 06:31:20, -5min or 2026-01-14 06:31")


def _last(given: str, match: re.Match[str], now: int, zone: tzinfo | None) -> int:
    """The last time before now at which a local clock showed this."""
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    try:
        clock = time(hour, minute, second)
    except ValueError:
        raise InputError(f"'{given}' is no time of day", "write for example 06:31") from None
    today = _local(now, zone).date()
    fraction = _fraction(match[4])
    shown = [
        _nanoseconds(datetime.combine(today + timedelta(days), clock.replace(fold=fold)), zone) + fraction
        for days in (1, 0, -1)
        for fold in (0, 1)  # when clocks are put back an hour is shown twice
    ]
    if any(0 < one - now <= CLOCKS_APART * NANOSECONDS for one in shown):
        raise InputError(f"the time {given} lies in the future", "correct the time, or write it with its date")
    return max(one for one in shown if one <= now)


def _dated(given: str, match: re.Match[str], zone: tzinfo | None) -> int:
    date, clock, fraction, offset = match.groups()
    try:
        found = datetime.fromisoformat(f"{date}T{clock}{offset or ''}")
    except ValueError:
        raise InputError(f"'{given}' is no date with a time", "write for example 2026-01-14 06:31") from None
    return _nanoseconds(found, zone) + _fraction(fraction)


def _nanoseconds(moment: datetime, zone: tzinfo | None) -> int:
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone) if zone else moment.astimezone()
    span = moment.astimezone(UTC) - _EPOCH
    return (span.days * 86_400 + span.seconds) * NANOSECONDS


def _local(now: int, zone: tzinfo | None) -> datetime:
    return datetime.fromtimestamp(now // NANOSECONDS, UTC).astimezone(zone)


def _fraction(text: str | None) -> int:
    return int(f"{(text or '.')[1:]}000000000"[:9])


def told(moment: int, now: int, zone: tzinfo | None = None) -> str:
    """A moment as local time of day, with its date where that is not the date of `now`."""
    there, here = _local(moment, zone), _local(now, zone)
    return f"{there:%H:%M:%S}" if there.date() == here.date() else f"{there:%Y-%m-%d %H:%M:%S}"
