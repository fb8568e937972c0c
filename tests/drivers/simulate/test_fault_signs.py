"""What each cause looks like, as the trade knows it: which readings go which way, and when.

Of the draft circuit: the signs of a model of its laws (see `test_draft`); of the rest: common practice, from memory,
unless a source is named.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.airflow import stream_rise
from analysis.units import INCH_OF_WATER
from drivers.simulate.causes import Cause
from drivers.simulate.design import Design, built
from drivers.simulate.maths import ARRAYS
from drivers.simulate.plant import Plant
from drivers.simulate.population import POINTS, STATES, run
from drivers.simulate.scenario import prepared
from drivers.simulate.weather import WeatherUnit
from tests.drivers.simulate.plant_bench import BTU, Kept, Run, phases, ran, run_of, typical

Floats = NDArray[np.float64]
SAME = 1e-3
"""Relative change that is none."""
LONG = 0.2
"""Step of what takes long; it changes nothing that is measured. [s]"""
DRAIN = ((5.0, 700.0, 2), (2500.0, 3000.0, 2))
TAPS = "draft_burner_box draft_transition draft_collector draft_vent".split()

# Cause, severity, state: points that rise, fall and stay; suction is negative, so that a stronger one falls.
SIGNS = """
intake_blocked 0.3 purge | | draft_burner_box draft_transition draft_collector draft_vent draft_switch |
intake_blocked 0.3 high | flue_co | draft_burner_box draft_transition draft_collector draft_vent draft_switch flue_o2 |
vent_blocked 0.3 purge | draft_burner_box draft_transition draft_collector draft_vent | draft_switch amps_inducer |
vent_blocked 0.3 high | draft_burner_box draft_transition draft_collector draft_vent flue_co | draft_switch flue_o2 |
secondary_restricted 0.2 purge | draft_burner_box draft_transition draft_switch | draft_collector draft_vent |
secondary_restricted 0.2 high | draft_burner_box draft_transition draft_switch flue_co | draft_collector flue_o2 |
primary_restricted 0.25 purge | draft_burner_box draft_switch | draft_transition draft_collector draft_vent |
primary_restricted 0.25 high | draft_burner_box draft_switch | draft_transition draft_collector draft_vent flue_o2 |
collector_leak 0.3 purge | draft_burner_box draft_transition draft_collector draft_vent | draft_switch | gas_inlet
collector_leak 0.3 high | draft_collector draft_vent flue_o2 amps_inducer | draft_switch flue_co2 temp_flue |
heat_exchanger_breach 0.3 purge | draft_burner_box draft_transition draft_collector draft_vent | |
heat_exchanger_breach 0.3 high | draft_burner_box draft_transition draft_vent flue_co flue_o2 | temp_flue |
inducer_weak 0.3 purge | draft_burner_box draft_transition draft_collector | draft_vent speed_inducer draft_switch |
inducer_weak 0.3 high | draft_collector flue_co | draft_vent speed_inducer flue_o2 |
switch_hose_leak 0.3 high | | draft_switch draft_switch_high | draft_burner_box draft_collector draft_vent flue_o2
switch_hose_water 0.2 high | | draft_switch draft_switch_high | draft_burner_box draft_collector draft_vent flue_o2
gas_supply_low 0.6 rest | | | gas_inlet draft_collector volts_control
gas_supply_low 0.6 high | flue_o2 | gas_inlet gas_manifold flame_current temp_supply temp_flue flue_co2 | volts_control
manifold_low 0.3 high | flue_o2 gas_inlet | gas_manifold flame_current temp_supply temp_flue flue_co2 | amps_blower
manifold_high 0.3 high | gas_manifold flame_current temp_supply temp_flue flue_co | flue_o2 gas_inlet | amps_blower
gas_valve_faulty 0.2 high | flue_o2 gas_inlet | gas_manifold flame_current temp_supply | speed_inducer
flame_sensor_weak 0.4 low | | flame_current | gas_manifold flue_o2 temp_supply draft_collector
flame_sensor_weak 0.4 high | | flame_current | gas_manifold flue_o2 temp_supply draft_collector
ground_polarity 0.4 rest | volts_line_neutral_ground | | volts_line volts_control
ground_polarity 0.4 high | volts_line_neutral_ground | flame_current | gas_manifold flue_o2 temp_supply
airflow_low_restricted 0.6 high | temp_supply temp_flue | static_return static_supply | gas_manifold
airflow_low_blower 0.3 high | temp_supply temp_flue static_return | static_supply amps_blower | gas_manifold
air_baffle_missing 0.6 high | temp_flue | temp_supply_2 flue_o2 | gas_manifold
control_power_lost 0.4 high | | volts_control | flame_current draft_collector temp_supply
burner_fouled 0.4 high | flue_co draft_burner_box | draft_transition flue_o2 | gas_manifold
vent_recirculation 0.2 high | flue_co flue_co2 | flue_o2 flame_current | gas_manifold gas_inlet
limit_faulty 0.4 high | | | temp_supply flue_o2 static_return
rollout_open 0.4 high | | | flame_current flue_o2 draft_collector
switch_faulty 0.2 high | | | draft_switch draft_collector flue_o2
switch_stuck_closed 0.5 high | | | draft_switch draft_collector flue_o2
""".strip().splitlines()
CASES = [tuple(line.split("|")[0].split()) for line in SIGNS]


def shown() -> dict[tuple[str, str], Floats]:
    """Relative change of each point, (states, points), by cause and severity, and which states were reached."""
    cases = sorted({(case[0], case[1]) for case in CASES})
    n = len(cases) + 1
    causes = {case[0]: np.zeros(n) for case in cases}
    for place, (cause, severity) in enumerate(cases):
        causes[cause][place] = float(severity)
    physical = built(ARRAYS, Design(input=np.full(n, Design().input)))
    values, reached = run(physical, causes, np.zeros(n))
    assert reached.all(), "a signature is looked at where the unit still runs"
    sound = values[-1]
    scale = np.where(np.abs(sound) > 1e-12, np.abs(sound), 1.0)
    return {case: (values[place] - sound) / scale for place, case in enumerate(cases)}


@pytest.mark.parametrize("line", SIGNS, ids=[" ".join(case) for case in CASES])
def test_signature(kept: Kept, line: str) -> None:
    head, *groups = line.split("|")
    cause, severity, state = head.split()
    change: Floats = kept("signatures", shown)[cause, severity][STATES.index(state)]
    rises, falls, stays = (group.split() for group in groups)
    for point in rises:
        assert change[POINTS.index(point)] > SAME, point
    for point in falls:
        assert change[POINTS.index(point)] < -SAME, point
    for point in stays:
        assert abs(change[POINTS.index(point)]) < SAME, point


def test_a_weak_inducer_weakens_all_taps_by_one_factor() -> None:
    """Severity squared is the share of its pressure that is gone: fan law, exactly so in the cold prepurge."""
    found = []
    for severity in (0.0, 0.3):
        plant = Plant(typical(20.0, height=0.0), [Cause("inducer_weak", severity)], seed=1, calls=((1.0, 90.0, 1),))
        block = plant.advance(17.0)
        assert plant.control.phase == "prepurge"
        found.append(np.array([block.values[tap][-1] for tap in TAPS]))
    factors = found[1] / found[0]
    assert factors == pytest.approx(np.full(4, factors[0]), rel=1e-3)
    assert factors[0] == pytest.approx(1 - 0.3**2, rel=0.005)


def test_a_hose_leak_and_water_falsify_the_switch_by_their_laws(kept: Kept) -> None:
    """A hole leaves p / (1 + K) of the suction; a slug of water takes its height off: hydrostatics."""
    calls = ((1.0, 90.0, 1),)
    sound, leak, slug = (
        run_of(typical(20.0), causes, seconds=17.0, calls=calls)
        for causes in ((), [Cause("switch_hose_leak", 0.3)], [Cause("switch_hose_water", 0.25)])
    )
    at_tap = sound["draft_burner_box"][-1] - sound["draft_collector"][-1]
    assert sound["draft_switch"][-1] == pytest.approx(at_tap, rel=0.01)
    less = -(0.3**2) * sound["draft_collector"][-1]
    assert sound["draft_switch"][-1] - leak["draft_switch"][-1] == pytest.approx(less, rel=0.01)
    inches = (sound["draft_switch"][-1] - slug["draft_switch"][-1]) / INCH_OF_WATER
    assert inches == pytest.approx(0.25**2, rel=0.2), "it sticks a little, and jumps"


def test_a_faulty_switch_is_open_above_its_closing_point() -> None:
    plant = Plant(typical(), [Cause("switch_faulty", 0.95)], seed=1, calls=((1.0, 90.0, 1),))
    block = plant.advance(25.0)
    assert block.values["draft_switch"][-1] > 1.1 * plant.unit.physical.switch.closing
    assert block.values["switch_closed"].max() == 0
    assert block.values["volts_switch"][-1] == pytest.approx(24.0, abs=3.0), "about 24 V across an open contact"


def test_a_step_at_blower_start_marks_a_breach() -> None:
    """And carbon monoxide rises with the blower."""
    steps, rises = [], []
    for causes in ((), [Cause("heat_exchanger_breach", 0.3)]):
        found = run_of(typical(), causes, seconds=140.0, calls=((1.0, 400.0, 1),))
        start = found.at(found.time[np.argmax(found["blower_on"] > 0)])
        before, after = (np.mean(found["draft_transition"][start + n : start + n + 20]) for n in (-20, 80))
        steps.append(abs(after) / abs(before) - 1)
        rises.append(found["flue_co"][-1] / found["flue_co"][start - 1])
    assert steps[1] < steps[0] - 0.02
    assert rises[1] > 1.3 > rises[0]


def test_a_missing_baffle_heats_the_stream_and_spreads_the_plenum(kept: Kept) -> None:
    """The mixed rise stays where the blower holds its flow; the stream's is rise / (1 - share): energy balance."""
    sound, open_ = (
        run_of(typical(constant_flow=1.0), causes, seconds=500.0, calls=((5.0, 900.0, 2),))
        for causes in ((), [Cause("air_baffle_missing", 0.6)])
    )
    rises, streams, spreads, limits = [], [], [], []
    for found in (sound, open_):
        parts = found.plant.parts
        rises.append(parts.heat.temp_leaving - parts.ducts.temp_entering)
        streams.append(parts.heat.temp_stream - parts.ducts.temp_entering)
        spreads.append(parts.ducts.temp_supply - parts.ducts.temp_supply_2)
        limits.append(parts.limit.temperature)
    assert rises[1] == pytest.approx(rises[0], rel=0.03)
    assert streams[1] == pytest.approx(float(stream_rise(rises[1], 0.45 * 0.6)), rel=0.01)
    assert limits[1] > limits[0] + 5.0
    assert spreads[1] > spreads[0] + 3.0
    total = [found.plant.parts.air.compartment_pressure for found in (sound, open_)]
    assert total[1] < total[0], "less pressure around the exchangers"


def test_rise_tells_a_faulty_limit_from_low_airflow() -> None:
    """Limit trips with a normal rise, and with a high one."""
    rises = []
    for cause in (Cause("limit_faulty", 0.62), Cause("airflow_low_blower", 0.55)):
        found = run_of(typical(), [cause], seconds=400.0, calls=((5.0, 900.0, 2),))
        tripped = int(np.argmax(found["limit_closed"] < 0.5))
        assert tripped > 0
        rises.append(found["temp_supply"][tripped] - found["temp_return"][tripped])
    window = Design().rise - 15 / 1.8, Design().rise + 15 / 1.8
    assert window[0] < rises[0] < window[1]
    assert rises[1] > window[1]


def test_a_blocked_drain_grows_slugs_trips_and_recovers() -> None:
    """Suction grows with the water in the secondary exchanger, slugging noise first, and a rest lets it seep away."""
    plant = Plant(typical(), [Cause("drain_blocked", 0.6)], seed=1, calls=DRAIN, step=LONG)
    found = Run(plant, plant.advance(700.0))
    opened, tripped = (int(np.argmax(way * np.diff(found["gas_valve"]) > 0.5)) for way in (1, -1))
    assert found.time[tripped] - found.time[opened] > 120.0, "minutes after it lit"
    assert plant.attempts[0]["outcome"] == "draft_lost"
    last = float(found.time[tripped]) - 1.0

    def noise(end: float) -> float:
        return float(np.std(np.diff(found["draft_collector"][found.at(end - 20.0) : found.at(end)])))

    assert found.settled("draft_collector", last) < 1.05 * found.settled("draft_collector", 120.0) < 0
    assert noise(last) > 5 * noise(120.0)
    full = plant.parts.water.level
    plant.advance(1790.0)
    assert plant.parts.water.level < full - 0.01
    plant.advance(100.0)
    assert plant.control.valve, "it lights again after the rest"


def test_a_propane_tank_sags_over_minutes_and_recovers_at_rest() -> None:
    """Inlet pressure right at rest; then manifold, input and flame current fall: a small charge in deep cold."""
    unit = typical(-24.0, fuel="propane", manifold=10 * INCH_OF_WATER, tank_fill=0.3, input=120_000 * BTU)
    plant = Plant(unit, [Cause("gas_supply_low", 0.5)], seed=1, calls=((30.0, 1000.0, 2),), step=LONG)
    found = Run(plant, plant.advance(1000.0))
    rest = found.settled("gas_inlet", 29.0)
    assert 11.0 <= rest / INCH_OF_WATER <= 13.0
    for point in ("gas_inlet", "gas_manifold", "flame_current", "flue_co2"):
        begin, middle, end = (found.settled(point, time) for time in (350.0, 650.0, 990.0))
        assert begin > middle > end, point
    sag = found.settled("gas_inlet", 150.0) - found.settled("gas_inlet", 990.0)
    assert sag > 0.1 * INCH_OF_WATER, "ten times what a manometer resolves"
    chilled = plant.parts.gas.temp_liquid
    assert chilled < -24.1
    block = plant.advance(300.0)
    assert block.values["gas_inlet"][-1] / INCH_OF_WATER == pytest.approx(rest / INCH_OF_WATER, abs=0.1)
    assert chilled < plant.parts.gas.temp_liquid < -24.0, "warmed through its wetted wall, over hours"


def test_recirculation_that_grows_takes_oxygen_and_flame_over_minutes() -> None:
    found = run_of(
        typical(), [Cause("vent_recirculation", 0.3, course="growing")], seconds=700.0, calls=((5.0, 900.0, 2),)
    )
    looks = [
        [found.settled(point, time) for time in (200.0, 420.0, 690.0)]
        for point in ("flue_o2", "flame_current", "flue_co")
    ]
    for falling in looks[:2]:
        assert falling[0] > 1.03 * falling[1] > 1.05 * falling[2]
    assert looks[2][2] > 3 * looks[2][1] > 3 * looks[2][0]


def test_lockouts_that_leave_a_gap_leave_the_house_without_heat() -> None:
    plant = prepared(typical(), [Cause("lockouts_misset", 1.0)], seed=2, step=LONG)
    found = ran(plant, 1500.0)
    assert found["call_heat"].max() == 0
    assert found["call_compressor"].max() == 0
    assert found["temp_room"][-1] < found["temp_room"][0] - 0.2
    assert plant.thermostat.demand, "it wants heat all the same"


def test_a_weak_heat_pump_gives_less_and_the_furnace_comes() -> None:
    sound, weak = (ran(prepared(typical(), [Cause("heat_pump_weak", s)], seed=2, step=LONG), 900.0) for s in (0.0, 0.6))
    rises = [found.settled("temp_supply", 700.0) - found.settled("temp_return", 700.0) for found in (sound, weak)]
    assert rises[1] == pytest.approx(0.4 * rises[0], rel=0.15)
    assert (sound["call_heat"].max(), weak["call_heat"].max()) == (0, 1)
    assert sound["call_compressor"][-1]


def test_a_humidifier_that_overruns_wets_the_house() -> None:
    sound, wrong = (
        ran(prepared(typical(), [Cause("humidifier_overrun", s)], seed=2, minutes=12.0, step=LONG), 720.0)
        for s in (0.0, 1.0)
    )
    assert wrong["humidity_room"][-1] > sound["humidity_room"][-1] + 0.01
    assert np.mean(wrong["humidifier_valve"]) > np.mean(sound["humidifier_valve"])


def test_a_broken_call_comes_and_goes() -> None:
    """The thermostat calls all the time; what arrives is missing for about the share that is wrong."""
    found = run_of(typical(), [Cause("no_call", 0.5)], seconds=900.0, calls=((0.0, 900.0, 1),), step=LONG)
    assert float(np.mean(found["call_heat"])) == pytest.approx(0.5, abs=0.15)
    assert len([1 for attempt in found.attempts if attempt["outcome"] == "call_ended"]) >= 3


def test_a_faulty_board_restarts_by_itself() -> None:
    found = run_of(typical(), [Cause("control_board_faulty", 0.55)], seconds=900.0, calls=((0.0, 900.0, 1),), step=LONG)
    restarts = [time for time, text in found.plant.events if text == "control restarted"]
    expected = 900.0 * 0.55 / 60.0
    assert abs(len(restarts) - expected) < 3 * math.sqrt(expected)
    assert "gas_off_unexplained" in {attempt["outcome"] for attempt in found.attempts}


def test_fouled_burners_light_late() -> None:
    sound, fouled = (
        phases(run_of(typical(), [Cause("burner_fouled", s)], seconds=70.0, calls=((1.0, 60.0, 1),)).attempts[0])
        for s in (0.0, 0.6)
    )
    assert fouled["ignition_trial"] > sound["ignition_trial"] + 0.5


def test_something_else_shakes_the_draft() -> None:
    unit = replace(typical(), weather=WeatherUnit())
    sound, shaken = (
        run_of(unit, [Cause("other", s)], seconds=400.0, calls=((5.0, 900.0, 2),), seed=3) for s in (0.0, 1.0)
    )
    moved = [float(np.std(found["draft_burner_box"][found.at(200.0) :])) for found in (sound, shaken)]
    assert moved[1] > 4 * moved[0]
