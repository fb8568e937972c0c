"""Make the recordings of this folder: python replay_data/make_recordings.py [--out FOLDER] [--only NAME]

Each is a row of the table in scenarios.py; all the rest comes of the simulation. The job file of the demo is written
by hand and only read.
"""

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import replace
from pathlib import Path

from collector.derived import can_derive
from collector.job import Job, load
from collector.papers import papers_of
from collector.simulate_files import Content, Places, write
from collector.simulation import Made, readings, truth
from collector.simulation_request import Request
from drivers.codecs.recording_csv import parse_time
from drivers.simulate.instruments import Observer
from drivers.simulate.plant import Plant
from drivers.simulate.scenario import bench_calls, fitted
from drivers.simulate.unit import random_unit, unit_of
from replay_data.scenarios import SCENARIOS, Scenario

HERE = Path(__file__).parent
PROCESSES = 2
LIMITS = {
    "draft_margin": """
[[limit]]
point = "draft_margin"
below = "0.10 inH2O"             # smallest running margin: common practice, no published source
deadband = "0.02 inH2O"
on_delay = "1 s"
priority = "high"
text = "The pressure at the switch is close to its opening point: look for the cause before the switch is blamed"
""",
    "dew_point_margin": """
[[limit]]
point = "dew_point_margin"
below = "2 degF"                 # our choice
deadband = "0.5 degF"
on_delay = "30 s"
priority = "medium"
text = "The coldest watched surface is close to the dew point: turn the humidifier down"
""",
}
"""Limits of a job file that is not written by hand, where what they watch is measured."""


def make_recording(scenario: Scenario, folder: Path) -> str:
    """Write the three files of a recording; what was written, in words."""
    job = load(HERE / f"{scenario.job}.toml") if scenario.job else None
    made, start = made_of(scenario, job), parse_time(scenario.start)
    measured = frozenset(channel.point for channel in made.channels)
    limits = "" if job else "".join(text for point, text in LIMITS.items() if can_derive(point, measured))
    content = Content(
        channels=made.channels,
        readings=readings(made, start=start, seconds=60.0 * scenario.minutes, progress=lambda _: None),
        digits=made.digits,
        job=made.text(job) + limits,
        truth=lambda: truth(made),
        start=start,
        about=f"simulated and invented, seed {scenario.seed}",
    )
    places = Places.beside(folder / f"{scenario.name}.csv.gz")
    count, outcomes = write(places, content), [attempt["outcome"] for attempt in made.plant.attempts]
    told = " ".join(f"{outcomes.count(outcome)} {outcome}" for outcome in dict.fromkeys(outcomes))
    size = places.recording.stat().st_size / 1000
    return f"{scenario.name}: {scenario.minutes:g} min, {count} readings, {size:.0f} kB; {told}"


def made_of(scenario: Scenario, job: Job | None) -> Made:
    """Unit and meters of a scenario, ready to run."""
    unit = unit_of(papers_of(job), scenario.seed) if job else random_unit(scenario.seed)
    unit = fitted(unit, {cause.cause for cause in scenario.causes})
    if scenario.tank is not None:
        unit = replace(unit, physical=replace(unit.physical, gas=replace(unit.physical.gas, tank=scenario.tank)))
    humidity = unit.humidity if scenario.humidity is None else scenario.humidity
    unit = replace(unit, weather=replace(unit.weather, **scenario.weather), humidity=humidity)
    calls = bench_calls(scenario.minutes * 60.0) if scenario.calls == () else scenario.calls
    plant = Plant(unit, scenario.causes, seed=scenario.seed, calls=calls, step=scenario.step)
    request = Request(scenario.seed, scenario.causes)
    return Made(request, plant, scenario.meters, Observer(scenario.meters, scenario.seed), calls is not None)


def main() -> None:
    """Write the recordings into the folder of --out, this one unless told otherwise."""
    parser = argparse.ArgumentParser(description="Make the invented recordings of this folder.")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    names = sorted(scenario.name for scenario in SCENARIOS)
    parser.add_argument("--only", action="append", choices=names, metavar="NAME", help="this one; may be repeated")
    options = parser.parse_args()
    if not options.out.is_dir():
        parser.error(f"there is no folder {options.out} to write to: make it, or give another --out")
    wanted = [scenario for scenario in SCENARIOS if not options.only or scenario.name in options.only]
    wanted.sort(key=lambda scenario: -scenario.minutes)  # the longest first, so that both processes end together
    with ProcessPoolExecutor(PROCESSES) as processes:
        made = [processes.submit(make_recording, scenario, options.out) for scenario in wanted]
        for number, one in enumerate(as_completed(made), start=1):
            sys.stdout.write(f"{number} of {len(made)}  {one.result()}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
