"""The bundled recording tells its story: a drain that backs up, in pressures, temperatures and moisture."""

import math
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from tests.replay_data.recording import Array, Recording, figure, fired

FLOW_TAPS = ("draft_burner_box", "draft_transition", "draft_vent")


def early_and_late(recording: Recording) -> tuple[tuple[float, float], tuple[float, float]]:
    """Spans [s] in the first high stage: soon after it began, just before it fell."""
    began, fell = recording.changes("switch_high_closed", 1)[0], recording.changes("switch_high_closed", 0)[0]
    return (began + 15, began + 45), (fell - 30, fell - 2)


def test_collector_grows_while_flow_falls_as_with_a_doubled_secondary(recording: Recording) -> None:
    """Signs of a doubled secondary resistance, from the balance of a fan with four resistances in series.

    Normal hot run of a network worked by hand (fan 2.40 - 0.80 q^2, losses 0.15, 0.35, 0.75, 0.35 times q^2, in. w.c.):
    q^2 = 2.40 / (0.80 + 1.60) = 1: burner box -0.150, transition -0.500, collector -1.250, vent 0.350.
    Secondary 1.50: q^2 = 2.40 / (0.80 + 2.35) = 0.762: -0.114 (-24 %), -0.381 (-24 %), -1.524 (+22 %), 0.267 (-24 %).
    """
    early, late = early_and_late(recording)
    change = {tap: recording.mean(tap, *late) / recording.mean(tap, *early) - 1 for tap in FLOW_TAPS}
    assert all(-0.40 < value < -0.15 for value in change.values()), change
    assert 1.08 < recording.mean("draft_collector", *late) / recording.mean("draft_collector", *early) < 1.30
    pull = [
        recording.mean("draft_burner_box", *span) - recording.mean("draft_collector", *span) for span in (early, late)
    ]
    at_switch = [recording.mean("draft_switch", *span) for span in (early, late)]
    assert pull[1] > 1.1 * pull[0]  # the taps never explain an open switch
    assert at_switch[0] == pytest.approx(pull[0], abs=0.02)
    assert at_switch[1] < 0.9 * at_switch[0]  # water over the port does


def test_network_of_the_script_gives_the_hand_worked_signs(script: ModuleType) -> None:
    density = (1.0, 0.308, 0.783, 0.886)  # hot run: intake, primary, secondary, inducer, of room air
    gas = [script.ROOM_AIR / value for value in density]
    normal, doubled, slow = script.taps(gas, 1.0), script.taps(gas, 1.0, 2.0), script.taps(gas, 0.85)
    for name in ("burner_box", "transition", "vent"):
        assert getattr(doubled, name) / getattr(normal, name) == pytest.approx(0.762, abs=0.003)
    assert doubled.collector / normal.collector == pytest.approx(1.524 / 1.250, abs=0.003)
    assert slow.collector / normal.collector == pytest.approx(0.85**2, abs=1e-9)  # fan law: pressure as speed squared


def test_light_off_puffs_and_water_slugs(recording: Recording) -> None:
    valve = recording.changes("gas_valve", 1)[0]
    times, box = recording.readings("draft_burner_box")
    assert box[(times > valve) & (times < valve + 4)].max() > recording.mean("draft_burner_box", 30, valve) + 0.03
    _, collector = recording.readings("draft_collector")
    _, late = early_and_late(recording)
    dry, wet = (
        np.std(np.diff(collector[(times >= start) & (times < end)], n=2)) for start, end in ((90.0, 120.0), late)
    )
    assert wet > 2 * dry


def test_clean_furnace_gives_the_baseline_of_the_job(
    script: ModuleType, job: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (("CONDENSATE", 0.0), ("DURATION", 900.0), ("CALLS", ((8.0, math.inf),))):
        monkeypatch.setattr(script, name, value)
    truth = script.simulate(job, np.random.default_rng(1))
    assert truth["switch_closed"][int(20 / script.STEP) :].min() == 1  # without water it never trips
    for point, text in job["furnace"]["baseline"].items():
        assert truth[point][-600:].mean() == pytest.approx(figure(text), abs=0.01), point


def test_draft_margin_is_healthy_first_and_gone_at_each_trip(recording: Recording, job: dict[str, Any]) -> None:
    times, pressure = recording.readings("draft_switch")
    open_switch = ~recording.held("switch_closed", times)
    margin = np.where(open_switch, np.nan, pressure - figure(job["furnace"]["switch_open"][1]))
    assert margin[(times > 15) & (times < 300)].min() > 0.10
    fires = fired(job, "draft_margin", times, margin)
    assert min(fires) > 300
    trips = recording.changes("switch_closed", 0)
    assert len(trips) == 4
    for trip in trips:
        assert np.nanmin(margin[(times > trip - 1.5) & (times < trip)]) < 0
        assert any(trip - 60 < start < trip for start in fires), trip


def dew_point(temp: Array, humidity: Array) -> Array:
    """Dew point [degF]; Magnus form with the constants of WMO No. 8 (17.62, 243.12 degC)."""
    celsius = (temp - 32) / 1.8
    gamma = np.log(humidity / 100) + 17.62 * celsius / (243.12 + celsius)
    return np.asarray(1.8 * 243.12 * gamma / (17.62 - gamma) + 32)


def test_dew_point_margin_sinks_below_its_limit(recording: Recording, job: dict[str, Any]) -> None:
    # 70 degF at 35, 45, 50 %: 41.12, 47.71, 50.53 degF, computed with psychrolib 2.5.0 (ASHRAE Fundamentals ch. 1).
    known = dew_point(np.full(3, 70.0), np.array([35.0, 45.0, 50.0]))
    assert known == pytest.approx([41.12, 47.71, 50.53], abs=0.1)
    times, humidity = recording.readings("humidity_room")
    surface, room = (np.interp(times, *recording.readings(point)) for point in ("temp_surface", "temp_room"))
    margin = surface - dew_point(room, humidity)
    assert margin[0] > 2.2
    assert 300 < fired(job, "dew_point_margin", times, margin)[0] < 900
    assert margin.min() < 0.5
    assert recording.mean("temp_outdoor", 0, 1300) == pytest.approx(5, abs=0.5)
    assert room.mean() == pytest.approx(70, abs=1)
    assert humidity.max() / 100 > job["humidifier"]["setting"] + 0.05


def test_rise_fits_plate_and_airflow(recording: Recording, script: ModuleType, job: dict[str, Any]) -> None:
    """Output = 1.08 x cfm x rise at sea level (60 x 0.075 x 0.24), times the density ratio of the site.

    0.9095 at 2,600 ft: (1 - 2.25577e-5 x 792.5)^5.2559, standard atmosphere in ASHRAE Fundamentals ch. 1.
    """
    furnace = job["furnace"]
    halves = [
        recording.mean("temp_supply", start, start + 20) - recording.mean("temp_return", start, start + 20)
        for start in (340, 360)
    ]
    assert abs(halves[1] - halves[0]) < 1.0
    low, high = (figure(text) for text in furnace["rise"])
    assert low < halves[0] < high
    output = figure(furnace["input"][0]) * 1000 * furnace["efficiency"]
    expected = output / (1.08 * 0.9095 * script.FLOW_HIGH * 2118.88)
    assert 0.85 * expected < halves[1] < expected  # the humidifier takes some, the duct is still warming
    assert recording.readings("temp_supply")[1].max() < figure(furnace["supply_max"])
    static = recording.mean("static_supply", 340, 380) - recording.mean("static_return", 340, 380)
    assert 0.3 < static < figure(furnace["static_max"])
