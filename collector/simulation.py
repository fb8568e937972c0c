"""A simulated call: a unit, what is wrong with it and the meters on it, as fast as it goes or live."""

import math
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from operator import itemgetter

from analysis.model import NANOSECONDS, Channel, Event, Reading
from collector.job import Job
from collector.simulation_request import Request, without_causes
from drivers.base import Emission, Now
from drivers.simulate.causes import Cause
from drivers.simulate.faults import FAULTS
from drivers.simulate.instruments import Observer
from drivers.simulate.job_text import job_text
from drivers.simulate.live import Simulated
from drivers.simulate.meters import Meter, Sensor, standard_meters
from drivers.simulate.papers import Papers
from drivers.simulate.plant import Plant
from drivers.simulate.scenario import BY_THERMOSTAT, prepared
from drivers.simulate.unit import random_unit, unit_of

SLICE = 10.0
"""The plant runs so long between two looks of its meters. [s]"""


class Practised(Simulated):
    """A plant that runs live, and knows what is wrong with it now."""

    def __init__(self, made: "Made", now: Now) -> None:
        self._set = {cause.cause: cause for cause in made.request.causes}
        hidden = set(BY_THERMOSTAT if made.called else ())
        if made.plant.unit.humidifier is None:
            hidden.add("humidifier_overrun")
        self._words = {cause: text for cause, text in words().items() if cause not in hidden}
        super().__init__(
            made.plant, made.observer, now=now, name="practice unit", start=now(), speed=made.request.speed
        )

    @property
    def words(self) -> Mapping[str, str]:
        """Every cause that it can be given, and what that is in the trade's words."""
        return self._words

    @property
    def set_now(self) -> Sequence[Cause]:
        """What is wrong with it now."""
        return tuple(self._set.values())

    def inject(self, cause: str, severity: float = 0.7, course: str = "constant") -> None:
        """Let something be wrong from now on; InputError when there is no such cause or severity."""
        wanted = Cause(cause, severity, 0.0, course)
        super().inject(cause, severity, course)
        self._set[cause] = wanted

    def repair(self, cause: str) -> None:
        """Let it be in order from now on."""
        super().repair(cause)
        self._set.pop(cause, None)


@dataclass(frozen=True, slots=True)
class Made:
    """A unit with its meters, ready to run."""

    request: Request
    plant: Plant
    meters: tuple[Meter, ...]
    observer: Observer
    called: bool
    """Calls come from a bench; else from the thermostat, which chooses between furnace and heat pump."""

    @property
    def channels(self) -> tuple[Channel, ...]:
        """What the meters give, the points to which they are moved included."""
        return tuple(self._sensors)

    @property
    def digits(self) -> dict[str, int]:
        """Digits after the decimal point that each channel's meter shows. [1]"""
        return {channel.key: sensor.decimals for channel, sensor in self._sensors.items()}

    @property
    def _sensors(self) -> dict[Channel, Sensor]:
        entries = [entry for meter in self.meters for entry in meter.inputs]
        return {
            replace(channel, point=point): entry.sensor
            for channel, entry in zip(self.observer.channels, entries, strict=True)
            for point in (channel.point, *(move.point for move in entry.moves))
        }

    def text(self, job: Job | None) -> str:
        """Text of its job: the one given, without what is wrong and with the seed used, else what its papers say."""
        if job is not None:
            return without_causes(job, self.request)
        return job_text(self.plant.unit.papers, self.channels, seed=self.request.seed)


def words() -> dict[str, str]:
    """Every cause that a unit can have, and what that is in the trade's words."""
    return {cause: fault.words for cause, fault in FAULTS.items() if cause != "none"}


def explained() -> list[tuple[str, str]]:
    """Every cause, what it is and what its severity means, for a help page."""
    return [(cause, f"{fault.words}; severity: {fault.severity}") for cause, fault in FAULTS.items()]


def make(request: Request, papers: Papers | None, *, minutes: float | None = None) -> Made:
    """A unit with these papers, or a random one, for so long or to run live; InputError when none can be like that."""
    unit = random_unit(request.seed) if papers is None else unit_of(papers, request.seed)
    names = {cause.cause for cause in request.causes}
    called = not names & BY_THERMOSTAT
    plant = prepared(unit, request.causes, seed=request.seed, minutes=minutes)
    owned = random.Random(f"meters {request.seed}") if request.instruments == "random" else request.instruments
    meters = standard_meters(plant.points, owned)
    return Made(request, plant, meters, Observer(meters, request.seed), called)


def readings(made: Made, *, start: int, seconds: float, progress: Callable[[float], None]) -> Iterator[Reading | Event]:
    """What the meters show while the unit runs for so long, and that one was moved to another point, in time's order.

    At the end the plant is finished.
    """
    held: list[tuple[int, Emission]] = []
    ran = 0.0
    while ran < seconds - 1e-9:
        step = min(SLICE, seconds - ran)
        block = made.plant.advance(step)
        ran += step
        held += made.observer.observe(block).timed(start)
        released = start + (ran - made.observer.slack(ran)) * NANOSECONDS if ran < seconds - 1e-9 else math.inf
        held.sort(key=itemgetter(0))
        count = next((place for place, (time, _) in enumerate(held) if time > released), len(held))
        for _, item in held[:count]:
            if not isinstance(item, Channel):
                yield item
        del held[:count]
        progress(ran / seconds)
    made.plant.finish()


def truth(made: Made) -> dict[str, object]:
    """What was true of a unit that has run."""
    plant = made.plant
    return {
        "seed": made.request.seed,
        "causes": [_told(cause) for cause in plant.causes if cause.cause != "none"],
        "attempts": [dict(attempt) for attempt in plant.attempts],
        "events": [{"time": time, "text": text} for time, text in plant.events],
    }


def _told(cause: Cause) -> dict[str, object]:
    """A cause as the truth tells it; `until` only where it was mended."""
    return {name: value for name, value in asdict(cause).items() if value != math.inf}


def live_driver(request: Request, papers: Papers | None, now: Now) -> Practised:
    """Driver of a unit that runs live; InputError when no unit can be like that."""
    return Practised(make(request, papers), now)
