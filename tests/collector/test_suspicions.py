"""What may be swapped is suspected, said once, and never where everything is on its right side."""

import csv
import gzip
from functools import cache
from pathlib import Path

import pytest

from analysis.model import Event, EventKind, Plate, Quality, Reading
from collector.job import load
from collector.normalize import Normalizer
from collector.recording import Recording
from collector.speakers import Speakers
from collector.suspicion_rules import RULES, WATCHED
from collector.suspicions import Suspicions
from drivers.codecs.recording_csv import CsvReader
from tests.collector.calls import CLOSED, DRAFT, INCH, PLATE, SECOND, T0, Told
from tests.collector.calls import call as running_call
from tests.support import until

RECORDINGS = sorted((Path(__file__).parents[2] / "replay_data").glob("*.csv.gz"))


class Bench:
    """Suspicions with times in seconds, and everything that they told."""

    def __init__(self, plate: Plate = PLATE) -> None:
        self.suspicions = Suspicions(plate)
        self.events: list[Event] = []

    def read(self, at: float, quality: Quality = Quality.GOOD, **values: float) -> None:
        for point, value in values.items():
            time = T0 + round(at * SECOND)
            self.events += self.suspicions.step(point, time, value, quality, f"{point} meter")

    def names(self) -> list[str]:
        return [told.name for told in self.suspicions.told()]


@cache
def watched(path: Path) -> tuple[tuple[str, int, float, Quality, str], ...]:
    """Point, time, inside value, quality and instrument of what is looked at in a bundled recording."""
    with gzip.open(path, "rt", newline="") as text:
        rows = csv.reader(text)
        head = next(rows)
        columns = [0, *(at for at, name in enumerate(head) if name.partition("@")[0].split(" [")[0] in WATCHED)]
        # Of what comes several times a second every fourth row will do: nothing here happens faster.
        slow = [at for at in columns if not head[at].startswith(("time", "draft", "gas_", "static", "flame", "amps"))]
        kept = (row for number, row in enumerate(rows) if number % 4 == 0 or any(row[at] for at in slow))
        lines = (",".join([row[at] for at in columns]) for row in (head, *kept))
        reader = CsvReader(lines, "recording")
        normalizers = {channel.key: Normalizer(channel) for channel in reader.channels}
        found = []
        for reading in reader:
            normalize = normalizers[reading.channel]
            value, quality = normalize(reading.value, reading.quality, reading.time)
            found.append((normalize.channel.point, reading.time, value, quality, normalize.channel.instrument))
    return tuple(found)


def played(path: Path, *, inverted: str = "", swapped: tuple[str, ...] = ()) -> Bench:
    """A bundled recording, one of its points with the other sign, or two with each other's readings."""
    job = path.with_name(path.name.removesuffix(".csv.gz") + ".toml")
    bench, speakers = Bench(load(job).plate), Speakers()
    for point, time, value, quality, instrument in watched(path):
        if speakers.hear(point, f"{point}@{instrument}", time, quality):
            named = swapped[1 - swapped.index(point)] if point in swapped else point
            signed = -value if point == inverted else value
            bench.events += bench.suspicions.step(named, time, signed, quality, instrument)
    return bench


@pytest.mark.parametrize("path", RECORDINGS, ids=lambda path: path.name.removesuffix(".csv.gz"))
def test_nothing_is_suspected_in_any_bundled_recording(path: Path) -> None:
    """Whatever is wrong with these units, every hose, probe and lead is on its side."""
    assert [event.text for event in played(path).events] == []


HEALTHY = next(path for path in RECORDINGS if "healthy_natural" in path.name)
INVERTED = {
    "draft_switch": "switch_hoses",
    "draft_switch_high": "switch_high_hoses",
    "draft_collector": "collector_hoses",
    "draft_transition": "transition_hoses",
    "gas_inlet": "gas_inlet_hoses",
    "gas_manifold": "gas_manifold_hoses",
    "flame_current": "flame_leads",
}


@pytest.mark.parametrize("point", INVERTED)
def test_a_simulated_meter_with_the_other_sign_is_suspected_once(point: str) -> None:
    """And of everything else nothing is."""
    bench = played(HEALTHY, inverted=point)
    if point not in {one[0] for one in watched(HEALTHY)}:
        pytest.fail(f"{point} is not in the recording")
    assert [event.data for event in bench.events] == [{"suspicion": INVERTED[point], "over": False}]
    assert bench.events[0].kind == "problem"
    assert "may be swapped: check the" in bench.events[0].text


@pytest.mark.parametrize(
    ("points", "name"),
    [(("temp_supply", "temp_return"), "air_probes"), (("static_supply", "static_return"), "static_hoses")],
)
def test_two_simulated_meters_in_each_others_place_are_suspected(points: tuple[str, ...], name: str) -> None:
    assert [event.data["suspicion"] for event in played(HEALTHY, swapped=points).events] == [name]


def test_every_rule_is_tried_here() -> None:
    assert set(INVERTED.values()) | {"air_probes", "static_hoses"} == set(RULES)


def test_a_moment_is_no_suspicion_and_a_suspicion_has_to_be_wrong_without_a_break() -> None:
    bench = Bench()
    for second in range(4):
        bench.read(second, switch_closed=1.0, draft_switch=-0.6 * INCH)
    bench.read(4, draft_switch=0.0)
    for second in range(5, 10):
        bench.read(second, draft_switch=-0.6 * INCH)
    assert bench.names() == []
    bench.read(10, draft_switch=-0.6 * INCH)
    assert bench.names() == ["switch_hoses"]
    [told] = bench.suspicions.told()
    assert told.since == T0 + 5 * SECOND
    assert told.instruments == ("draft_switch meter",)


def test_what_is_suspected_stays_until_the_signs_are_right_for_a_while() -> None:
    bench = Bench()
    for second in range(7):
        bench.read(second, switch_closed=1.0, draft_switch=-0.6 * INCH)
    for second in range(7, 60):
        bench.read(second, switch_closed=0.0, draft_switch=0.0)
    assert bench.names() == ["switch_hoses"], "the inducer stopped: nothing is known of the hoses"
    for second in range(60, 64):
        bench.read(second, switch_closed=1.0, draft_switch=0.6 * INCH)
    bench.read(64, draft_switch=-0.6 * INCH)
    assert bench.names() == ["switch_hoses"]
    for second in range(65, 72):
        bench.read(second, draft_switch=0.6 * INCH)
    assert bench.names() == []
    assert [event.data["over"] for event in bench.events] == [False, True]


def test_without_an_inducer_known_to_run_nothing_is_suspected_of_the_draft() -> None:
    bench = Bench()
    for second in range(20):
        bench.read(second, draft_switch=-0.6 * INCH, draft_collector=0.6 * INCH)
    assert bench.names() == []
    for second in range(20, 40):
        bench.read(second, amps_inducer=1.2, draft_collector=0.6 * INCH)
    assert bench.names() == ["collector_hoses"]


def test_a_bad_reading_and_an_old_one_tell_nothing() -> None:
    bench = Bench()
    for second in range(20):
        bench.read(second, quality=Quality.BAD, flame_current=-3e-6)
    bench.read(20, blower_on=1.0, gas_valve=1.0, temp_return=20.0)
    for second in range(90, 200):
        bench.read(second, blower_on=1.0, gas_valve=1.0, temp_supply=10.0)
    assert bench.names() == []


def test_a_replay_that_is_moved_back_begins_anew() -> None:
    bench = Bench()
    for second in range(100, 110):
        bench.read(second, flame_current=-3e-6)
    assert bench.names() == ["flame_leads"]
    bench.read(50, flame_current=3e-6)
    assert bench.names() == []


async def test_it_is_recorded_told_and_changes_no_value(tmp_path: Path) -> None:
    path = tmp_path / "a.lightoff"
    driver = Told("draft meter", DRAFT)
    async with running_call(path, driver, Told("contact logger", CLOSED)) as collector:
        collector.ingest(Reading(CLOSED.key, T0, 1.0))
        for second in range(8):
            driver.say(DRAFT, second, -0.6)
        await until(collector.suspicions.told, what="suspicion")
        _, _, value, quality = collector.latest[DRAFT.key]
        assert value == pytest.approx(-0.6 * INCH)
        assert quality is Quality.GOOD
    with Recording(path) as recording:
        [event] = [event for event in recording.events({EventKind.PROBLEM}) if "suspicion" in event.data]
        assert recording.read(DRAFT.key).value.tolist() == [-0.6] * 8
    assert event.subject == "draft meter"
    assert event.text == (
        "draft meter: the pressure at the pressure switch reads reversed while the inducer runs; "
        "its hoses may be swapped: check the hoses"
    )
