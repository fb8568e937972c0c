"""Everything that is wrong with a job, or to be minded in it, before it is taken into a running call."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import cache, partial
from pathlib import Path as Folder

from analysis.points import POINTS
from collector.alarm_rule import AlarmRule
from collector.alarms import Alarms
from collector.instruments import build, cautions
from collector.job import InstrumentSettings, Job, JobError, Mistake, check, parse
from collector.job_lines import Path, line_of, read_tables, shown_key
from collector.papers import papers_of
from collector.profiles import available, named, secret_from
from drivers.base import LightoffError

NO_SIMULATED = "a simulated unit is set up in the file with an editor, not here: what is wrong with it must not show"
LOOKED_FOR = "its file is looked for when this is saved"
WITH_A_CALL = "a replay begins and ends with a call, not within one"


@dataclass(frozen=True, slots=True)
class Found:
    """What a check found."""

    job: Job | None
    """None where there is a mistake."""
    mistakes: tuple[Mistake, ...]
    cautions: tuple[Mistake, ...]
    """To be minded; they hinder nothing."""

    def told(self) -> dict[str, object]:
        """For the page; plain JSON values."""
        return {
            "mistakes": [asdict(mistake) for mistake in self.mistakes],
            "cautions": [asdict(caution) for caution in self.cautions],
        }


def examined(
    text: str,
    name: str,
    rules: Callable[[Job], Sequence[AlarmRule]],
    *,
    folder: Folder | None = None,
    running: Sequence[InstrumentSettings] = (),
) -> Found:
    """All mistakes of a text: those of `collector.job.check`, then what its instruments lack and alarms that clash.

    A text may come from anywhere, so no file that it names is opened, and what a simulated unit is set to is not shown;
    unless its own user asks, and says in which `folder` it is. `running` instruments have theirs.
    """
    try:
        job = parse(text, name)
    except JobError:
        return Found(None, tuple(check(text)), ())
    read = read_tables(text)
    lines = {} if isinstance(read, Mistake) else read[1]

    def at(path: Path, what: str) -> Mistake:
        return Mistake(line_of(lines, path), shown_key(path), what)

    mistakes = [at(path, what) for path, what in (*_instruments(job, folder), *_alarms(job, rules))]
    mistakes.sort(key=lambda mistake: mistake.line)
    minded = [at(path, what) for path, what in _minded(job, folder, running)]
    return Found(None if mistakes else job, tuple(mistakes), tuple(minded))


def _instruments(job: Job, folder: Folder | None) -> list[tuple[Path, str]]:
    """Instruments that cannot be made, and what each lacks."""
    found: list[tuple[Path, str]] = []
    usable: list[InstrumentSettings] = []
    make = partial(
        build, now=lambda: 0, papers=papers_of(job), profiles=cache(partial(named, beside=folder)), secrets=_unread
    )
    for index, one in enumerate(job.instruments):
        if folder is None and one.driver == "simulate":
            found.append((("instrument", index, "driver"), NO_SIMULATED))
            continue
        if folder is None and (one.driver == "replay" or _names_a_file(one)):
            continue
        lacks = list(_lacks(one, make))
        if not lacks:
            usable.append(one)
        if folder is not None and one.secret:
            try:
                secret_from(one.secret, one.name, beside=folder)
            except LightoffError as error:
                lacks.append((("secret",), str(error)))
        found += [(("instrument", index, *key), what) for key, what in lacks]
    try:
        make(usable)
    except LightoffError as error:  # each alone is right, so it is the last one named that stands in another's way
        names = [one.name for one in job.instruments]
        last = max((index for index, name in enumerate(names) if f"'{name}'" in error.what), default=0)
        found.append((("instrument", last, "address"), str(error)))
    return found


def _lacks(one: InstrumentSettings, make: Callable[[list[InstrumentSettings]], object]) -> Iterator[tuple[Path, str]]:
    """All that hinders an instrument, by its key: after a channel it is looked at without that, or at another point."""
    told: set[Path] = set()
    points = iter(POINTS)
    while True:
        try:
            make([one])
            return
        except LightoffError as error:
            if isinstance(error, JobError) and error.mistakes:  # of the profile, which has lines of its own
                yield from ((("profile",), f"{error.where}: {mistake}") for mistake in error.mistakes)
                return
            key = _key_in(error, one.name)
            if key not in told:
                yield key, str(error)
            told.add(key)
        channels = {value: point for value, point in one.channels.items() if ("channels", value) != key}
        if len(channels) == len(one.channels):
            return
        if not channels:
            if (point := next(points, None)) is None:
                return
            channels = {str(key[1]): point}
        one = one.model_copy(update={"channels": channels})


def _names_a_file(one: InstrumentSettings) -> bool:
    return bool(one.profile) and one.profile not in available()


def _unread(place: str, instrument: str) -> str:  # noqa: ARG001
    """A secret as far as a check is concerned: it is not looked for."""
    return "0" * 32


def _key_in(error: LightoffError, name: str) -> Path:
    """The key that a refused instrument lacks, as far as the sentence names it."""
    text = error.what.replace(f"'{name}'", "")
    quoted = re.search(r"has no '(\w+)'", text)
    if quoted and quoted[1] in InstrumentSettings.model_fields:
        return (quoted[1],)
    value = re.search(r"has '(\w+)' in |has no value '(\w+)'", text)
    if value:
        return ("channels", value[1] or value[2])
    for key, pattern in _NAMED:
        if re.search(pattern, text):
            return (key,)
    return ()


_NAMED = (
    *((key, rf"\b{key}\b") for key in ("driver", "device", "topic", "address")),
    ("units", r"\bunit\b"),
    *((key, rf"\b{key}\b") for key in ("channels", "profile")),
)
"""Keys by what a sentence says, the most telling word first."""


def _alarms(job: Job, rules: Callable[[Job], Sequence[AlarmRule]]) -> list[tuple[Path, str]]:
    try:
        Alarms(rules(job))
    except ValueError as error:
        names = [limit.name for limit in job.limits]
        index = next((index for index, name in enumerate(names) if f"alarm '{name}'" in str(error)), None)
        return [(("limit", index, "name") if index is not None else ("limit",), str(error))]
    return []


def _minded(job: Job, folder: Folder | None, running: Sequence[InstrumentSettings]) -> list[tuple[Path, str]]:
    """What can hurt comes first."""
    there = {(one.driver, one.profile) for one in running}
    found: list[tuple[Path, str]] = [
        (("instrument", index, "isolated"), text)
        for index, one in enumerate(job.instruments)
        for text in cautions([one])
    ]
    for index, one in enumerate(job.instruments if folder is None else ()):
        if one.driver == "replay" and one.address:
            found.append((("instrument", index, "address"), f"{one.name}: {WITH_A_CALL}"))
        if _names_a_file(one) and (one.driver, one.profile) not in there:
            found.append((("instrument", index, "profile"), f"{one.name}: {LOOKED_FOR}"))
    return found
