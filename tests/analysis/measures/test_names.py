"""The table of names against what is really computed, on bundled recordings."""

import pytest

from analysis.measures import measures
from analysis.measures.measured import Measured
from analysis.measures.names import NAMES, meaning, measure_of_name
from tests.analysis.measures.bundled import bundled

RECORDINGS = ("healthy_natural_gas", "flame_rod_dirty", "night_dual_fuel", "switch_now_and_then")


def measured(name: str) -> tuple[Measured, ...]:
    found = bundled(name)
    return measures(found.series, found.attempts, found.job.plate, found.job.baseline, found.job.timing)


@pytest.fixture(scope="module")
def everything() -> dict[str, tuple[Measured, ...]]:
    return {name: measured(name) for name in RECORDINGS}


def test_no_name_stands_twice_in_the_table() -> None:
    names = [name for entry in NAMES for name in entry.names]
    assert len(names) == len(set(names))


def test_every_measure_of_a_recording_is_in_the_table_in_its_unit(everything: dict[str, tuple[Measured, ...]]) -> None:
    for one in (one for found in everything.values() for one in found):
        entry, measure = meaning(one.name), measure_of_name(one.name)
        unit = entry.unit if measure is None else f"{measure.inside}{'/min' if entry.per_minute else ''}"
        assert one.quantity.unit == unit, one.name


def test_every_entry_of_the_table_is_computed_somewhere(everything: dict[str, tuple[Measured, ...]]) -> None:
    seen = {meaning(one.name) for found in everything.values() for one in found}
    assert [entry.pattern for entry in NAMES if entry not in seen] == []


def test_no_measure_is_given_twice_for_one_attempt(everything: dict[str, tuple[Measured, ...]]) -> None:
    for found in everything.values():
        keys = [(one.name, one.attempt) for one in found if not one.name.startswith("phase.")]
        assert len(keys) == len(set(keys))


def test_every_number_has_a_span_within_the_recording_and_an_uncertainty(
    everything: dict[str, tuple[Measured, ...]],
) -> None:
    for name, found in everything.items():
        recording = bundled(name)
        start = min(float(one.time[0]) for one in recording.series)
        end = max(float(one.time[-1]) for one in recording.series)
        for one in found:
            assert start - 1 <= one.start <= one.end <= end + 1, one.name
            assert one.quantity.u >= 0, one.name
            assert one.quantity.how is not None, one.name


def test_without_channels_only_the_phases_are_told() -> None:
    recording = bundled("healthy_natural_gas")
    found = measures((), recording.attempts, recording.job.plate, recording.job.baseline, recording.job.timing)
    assert {one.name.partition(".")[0] for one in found} <= {"phase", "cycle", "attempts", "ignition", "switch_closed"}
