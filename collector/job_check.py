"""Everything that is wrong with a job, or to be minded in it, before it is taken into a running call."""

import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

from collector.alarm_rule import AlarmRule
from collector.alarms import Alarms
from collector.instruments import build, cautions
from collector.job import InstrumentSettings, Job, JobError, Mistake, check, parse
from collector.job_lines import Path, line_of, read_tables, shown_key
from collector.papers import papers_of
from collector.profiles import available
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
    running: Sequence[InstrumentSettings] = (),
) -> Found:
    """All mistakes of a text: those of `collector.job.check`, then what its instruments lack and alarms that clash.

    `running` are the instruments of the call, whose profiles are there.
    """
    try:
        job = parse(text, name)
    except JobError:
        return Found(None, tuple(check(text)), ())
    read = read_tables(text)
    lines = {} if isinstance(read, Mistake) else read[1]

    def at(path: Path, what: str) -> Mistake:
        return Mistake(line_of(lines, path), shown_key(path), what)

    mistakes = [at(path, what) for path, what in (*_instruments(job), *_alarms(job, rules))]
    minded = [at(path, what) for path, what in _minded(job, running)]
    return Found(None if mistakes else job, tuple(mistakes), tuple(minded))


def _instruments(job: Job) -> list[tuple[Path, str]]:
    """Instruments that cannot be made; a file that one names is not opened: the text may come from anywhere."""
    found: list[tuple[Path, str]] = []
    usable: list[InstrumentSettings] = []
    for index, one in enumerate(job.instruments):
        if one.driver == "simulate":
            found.append((("instrument", index, "driver"), NO_SIMULATED))
            continue
        if one.driver == "replay" or _names_a_file(one):
            continue
        try:
            build([one], now=lambda: 0, papers=papers_of(job), secrets=_unread)
            usable.append(one)
        except LightoffError as error:
            found.append((("instrument", index, *_key_in(error, one.name)), str(error)))
    try:
        build(usable, now=lambda: 0, papers=papers_of(job), secrets=_unread)
    except LightoffError as error:  # each alone is right, so it is the last one named that stands in another's way
        names = [one.name for one in job.instruments]
        last = max((index for index, name in enumerate(names) if f"'{name}'" in error.what), default=0)
        found.append((("instrument", last, "address"), str(error)))
    return found


def _names_a_file(one: InstrumentSettings) -> bool:
    return bool(one.profile) and one.profile not in available()


def _unread(place: str, instrument: str) -> str:  # noqa: ARG001
    """A secret as far as a check is concerned: it is not looked for."""
    return "0" * 32


def _key_in(error: LightoffError, name: str) -> Path:
    """The key that a refused instrument lacks, as far as the sentence names it."""
    text = error.what.replace(f"'{name}'", "")
    for key, pattern in (("driver", r"\bdriver\b"), ("units", r"\bunit\b"), ("channels", r"\bchannels\b")):
        if re.search(pattern, text):
            return (key,)
    quoted = re.search(r"has no '(\w+)'", text)
    return (quoted[1],) if quoted and quoted[1] in InstrumentSettings.model_fields else ()


def _alarms(job: Job, rules: Callable[[Job], Sequence[AlarmRule]]) -> list[tuple[Path, str]]:
    try:
        Alarms(rules(job))
    except ValueError as error:
        names = [limit.name for limit in job.limits]
        index = next((index for index, name in enumerate(names) if f"alarm '{name}'" in str(error)), None)
        return [(("limit", index, "name") if index is not None else ("limit",), str(error))]
    return []


def _minded(job: Job, running: Sequence[InstrumentSettings]) -> list[tuple[Path, str]]:
    """What can hurt comes first."""
    there = {(one.driver, one.profile) for one in running}
    found: list[tuple[Path, str]] = [
        (("instrument", index, "isolated"), text)
        for index, one in enumerate(job.instruments)
        for text in cautions([one])
    ]
    for index, one in enumerate(job.instruments):
        if one.driver == "replay" and one.address:
            found.append((("instrument", index, "address"), f"{one.name}: {WITH_A_CALL}"))
        if _names_a_file(one) and (one.driver, one.profile) not in there:
            found.append((("instrument", index, "profile"), f"{one.name}: {LOOKED_FOR}"))
    return found
