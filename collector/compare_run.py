"""Two recordings analysed and compared: did the repair work?"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from analysis.comparison import Comparison, Item, Side, Tried, chain, compare
from analysis.model import NANOSECONDS, EventKind, origin_of
from collector.analysis_run import Analysis, analyzed
from collector.check_states import CheckStates
from collector.opened import Opened

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Compare:
    """What two recordings say about each other."""

    before: Analysis
    after: Analysis
    found: Comparison
    chain: tuple[Item, ...]
    notes: tuple[str, ...]
    """What the comparison as a whole rests on, or lacks: sentences."""

    @property
    def units(self) -> str:
        """`trade` or `metric`."""
        return self.after.units


def compared(before: Opened, after: Opened, progress: Progress | None = None, *, units: str = "trade") -> Compare:
    """Analyse and compare what was recorded before a repair and after it."""
    tell = progress or (lambda _: None)
    first = analyzed(before, lambda share: tell(0.45 * share), units=units)
    second = analyzed(after, lambda share: tell(0.45 * (1 + share)), units=units)
    sides = side_of(first), side_of(second)
    found = compare(*sides)
    links = chain(*sides, found)
    tell(1.0)
    return Compare(first, second, found, links, tuple(_notes(first, second, found)))


def side_of(analysis: Analysis) -> Side:
    """A recording as it is compared."""
    job = analysis.opened.job
    return Side(
        measures=analysis.measures,
        attempts=analysis.recognition.attempts,
        plate=job.plate,
        baseline=job.baseline,
        altitude=job.altitude,
        vent_length=job.furnace.vent_length,
        meters=_meters(analysis.opened),
        tests=tuple(_tests(analysis.opened)),
    )


def _meters(opened: Opened) -> dict[str, str]:
    """What tells a meter from others, by the key of its channel: unit, accuracy, and the address that a job states."""
    addresses = {one.name: f"{one.address or ''} {one.device or ''}" for one in opened.job.instruments}
    found = {}
    for one in opened.series:
        channel = one.channel
        origin = origin_of(channel.instrument)
        name = channel.instrument.removeprefix(f"{origin}: ") if origin else channel.instrument
        found[channel.key] = f"{channel.unit} · {channel.accuracy or ''} · {addresses.get(name, '')}"
    return found


def _tests(opened: Opened) -> Iterator[Tried]:
    """What was opened for a test and put back, by the entries in the recording."""
    states = CheckStates()
    for event in opened.events:
        if event.kind is EventKind.CHECK:
            states.apply(event)
    for entry in (*states.closed.values(), *states.open.values()):
        end = None if entry.closed is None else entry.closed / NANOSECONDS
        yield Tried(entry.item, entry.text, entry.since / NANOSECONDS, end)


def _notes(before: Analysis, after: Analysis, found: Comparison) -> Iterator[str]:
    for one in (before.opened, after.opened):
        if one.problem_count:
            count = "1 row or cell" if one.problem_count == 1 else f"{one.problem_count} rows or cells"
            yield f"{count} of {one.name} could not be read; `lightoff analyze` says which."
    first, second = before.opened.job, after.opened.job
    serials = (first.unit.serial, second.unit.serial)
    if None not in serials and serials[0] != serials[1]:
        yield f"The job files name two units, serial {serials[0]} and {serials[1]}: a comparison speaks of one only."
    if after.opened.start < before.opened.start and before.opened.start - after.opened.start > 1.0:
        yield "The second recording is older than the first: BEFORE comes first."
    if None in (first.altitude, second.altitude):
        yield "Altitude is not in both job files: taken as the same place, nothing corrected for it."
    if found.conditions.outdoor is None:
        yield "Outdoor air was not measured on both visits (temp_outdoor): not corrected, its usual change counted."
    if found.conditions.pipes is None:
        yield "The job file does not say how many pipes (`furnace.pipes`): combustion air is taken from outdoors."
    same = sorted({key for one in found.measures if one.same_meter for key in one.after.channels})
    meters = ", ".join(dict.fromkeys(key.partition("@")[2] for key in same))
    if meters:
        yield (
            f"Taken as the same meter on both visits, by name, unit, accuracy and address: {meters}; what it errs by on"
            " both cancels for the most part."
        )
    else:
        yield "No meter was used on both visits, as far as names and papers tell: no error of a meter cancels."
