"""What is drawn for a recording: the unit, what is wrong with it, when it is called, which meters, which papers."""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.diagnosis.causes import CAUSES
from analysis.model import Plate, Timing
from analysis.points import POINTS
from drivers.simulate.causes import COURSES, Cause
from drivers.simulate.meters import Meter, standard_meters
from drivers.simulate.plant import Plant
from drivers.simulate.scenario import BY_THERMOSTAT, fitted, prepared
from drivers.simulate.unit import Unit, random_unit

CONTACTS = tuple(point.name for point in POINTS.values() if point.measure == "contact")
TAPS = ("draft_switch", "draft_collector", "draft_transition", "draft_burner_box")
KITS = {
    "random": 0.44,
    "full": 0.06,
    "draft and supply": 0.08,
    "contacts": 0.08,
    "flame": 0.05,
    "draft": 0.07,
    "draft and contacts": 0.08,
    "draft and flame": 0.08,
    "draft, flame, supply": 0.06,
}
"""Which channels, and in what share of recordings; our choice, as are all the shares here."""
_SHOWS_NO_START = {"lockouts_misset", "heat_pump_weak", "humidifier_overrun"}
_PAPERS = (("whole", 0.6), ("no timing", 0.12), ("none", 0.28))


@dataclass(frozen=True, slots=True)
class Scenario:
    """One visit, drawn."""

    plant: Plant
    meters: tuple[Meter, ...]
    seconds: float
    kit: str
    """Name in `KITS`."""
    timing: Timing | None
    """As the job file has it; the defaults where that leaves them out; None without a job file."""
    plate: Plate | None


def scenario(seed: int) -> Scenario:
    """The visit of a seed, always the same."""
    chance = _chance(seed)
    seconds = _seconds(chance)
    causes = _causes(chance)
    unit = random_unit(chance.randrange(1_000_000))
    plant = _plant(unit, causes, seconds, chance)
    kit = chance.choices(list(KITS), list(KITS.values()))[0]
    meters = _with_rates(_meters(kit, plant.points, chance), chance)
    papers = chance.choices([name for name, _ in _PAPERS], [share for _, share in _PAPERS])[0]
    timing = {"whole": unit.papers.timing, "no timing": Timing(), "none": None}[papers]
    return Scenario(plant, meters, seconds, kit, timing, None if papers == "none" else unit.papers.plate)


def _chance(seed: int) -> random.Random:
    return random.Random(f"visit {seed}")


def _seconds(chance: random.Random) -> float:
    return 60.0 * round(chance.uniform(15.0, 40.0))


def _causes(chance: random.Random) -> tuple[Cause, ...]:
    count = chance.choices((0, 1, 2), (0.2, 0.6, 0.2))[0]
    known = [cause for cause in CAUSES if cause not in ("none", *_SHOWS_NO_START)]
    return tuple(
        Cause(
            cause,
            round(chance.uniform(0.3, 1.0), 2),
            chance.choice((0.0, 0.0, round(chance.uniform(0.0, 600.0), 1))),
            chance.choices(COURSES, (0.5, 0.25, 0.25))[0],
        )
        for cause in chance.sample(known, count)
    )


def _plant(unit: Unit, causes: tuple[Cause, ...], seconds: float, chance: random.Random) -> Plant:
    seed = chance.randrange(1_000_000)
    names = {cause.cause for cause in causes}
    if names & BY_THERMOSTAT or chance.random() < 0.4:
        return prepared(unit, causes, seed=seed, minutes=seconds / 60.0)
    return Plant(fitted(unit, names), causes, seed=seed, calls=_calls(seconds, chance))


def _calls(seconds: float, chance: random.Random) -> list[tuple[float, float, int]]:
    """Calls of all lengths: some end in the purge, some while the igniter glows, most with the unit warm."""
    calls, now = list[tuple[float, float, int]](), chance.uniform(5.0, 60.0)
    while now < seconds - 30.0:
        length = chance.choice((chance.uniform(5.0, 90.0), chance.uniform(90.0, 300.0), chance.uniform(300.0, 1200.0)))
        staged = chance.choice((0.0, chance.uniform(0.1, 0.9) * length, length))
        calls += [(now, now + staged, 1)] if staged else []
        calls += [(now + staged, now + length, 2)] if staged < length else []
        now += length + chance.choice((chance.uniform(3.0, 60.0), chance.uniform(60.0, 400.0)))
    return calls


def _meters(kit: str, points: Sequence[str], chance: random.Random) -> tuple[Meter, ...]:
    if kit == "full":
        return standard_meters(points, "full")
    tap = chance.choice(TAPS)
    wanted = {
        "draft": [tap],
        "flame": ["flame_current"],
        "contacts": [],
        "random": [],
        "draft and supply": [tap, "temp_supply"],
        "draft and contacts": [tap],
        "draft and flame": [tap, "flame_current"],
        "draft, flame, supply": [tap, "flame_current", "temp_supply"],
    }[kit]
    available = set(points) if kit == "random" else {*wanted, *(CONTACTS if "contacts" in kit else ())}
    for _ in range(200):
        meters = standard_meters([point for point in points if point in available], chance)
        there = {entry.point for meter in meters for entry in meter.inputs}
        if there.issuperset(wanted) and ("contacts" not in kit or there & set(CONTACTS)):
            return meters
    raise AssertionError(f"no meters for {kit}")


def _with_rates(meters: tuple[Meter, ...], chance: random.Random) -> tuple[Meter, ...]:
    """Now and then all at one rate, as a logger samples; a logger of contacts that is polled, too."""
    rate = chance.choices((None, 10.0, 1.0), (0.6, 0.2, 0.2))[0]
    polled = chance.choices((None, 10.0, 1.0), (0.8, 0.1, 0.1))[0]
    return tuple(
        replace(meter, rate=polled)
        if meter.rate is None and polled
        else replace(meter, rate=rate)
        if meter.rate is not None and rate
        else meter
        for meter in meters
    )
