"""Line and 24 V against Ohm's law, and the relays' hold."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from drivers.simulate.electric import Electric, ElectricUnit
from drivers.simulate.maths import ARRAYS, FLOATS

UNIT = ElectricUnit()
QUIET = replace(UNIT, board=0.0, standing=0.0)
"""Draws nothing by itself."""
OUTPUTS = ("volts_line", "volts_control", "volts_line_neutral_ground", "amps_inducer", "amps_blower", "powered")
REST = {
    "inducer_command": 0.0,
    "inducer_speed": 0.0,
    "inducer_flow": 0.0,
    "blower_share": 0.0,
    "valve": 0.0,
    "igniter_amps": 0.0,
    "contactor": 0.0,
    "humidifier": 0.0,
}
RUN = REST | {"inducer_command": 1.0, "inducer_speed": 1.0, "inducer_flow": UNIT.inducer_flow, "valve": 1.0}


def after(electric: Electric, seconds: float = 0.1, dt: float = 0.1, **inputs: Any) -> Electric:
    for _ in range(round(seconds / dt)):
        electric.step(dt, **(REST | inputs))
    return electric


def of(unit: ElectricUnit = UNIT, **knobs: float) -> Electric:
    electric = Electric(FLOATS, unit)
    for name, value in knobs.items():
        setattr(electric, name, value)
    return electric


def test_transformer_open_and_at_its_rated_load() -> None:
    # 27 V open, and by its plate 24 V at 40 VA with 120 V on the line: 1.667 A through a load of 14.4 ohm.
    assert_allclose(after(of(QUIET)).volts_control, 27.0)
    loaded = replace(QUIET, valve=40.0 / 24.0, line_resistance=0.0)
    assert_allclose(after(of(loaded), valve=1.0).volts_control, 24.0, rtol=1e-12)
    assert_allclose(after(of(loaded, line_factor=0.9), valve=1.0).volts_control, 0.9 * 24.0, rtol=1e-12)


def test_each_control_load_pulls_the_24_volts_down_by_its_resistance() -> None:
    behind = 3.0 / (40.0 / 24.0)
    for name in ("valve", "contactor", "humidifier"):
        current = getattr(UNIT, name) / 24.0
        volts = after(of(replace(QUIET, line_resistance=0.0)), **{name: 1.0}).volts_control
        assert_allclose(27.0 - volts, behind * current * volts, rtol=1e-12)


def test_line_sags_by_its_resistance_and_the_neutral_lifts() -> None:
    electric = after(of(QUIET), igniter_amps=3.6)
    assert_allclose(electric.volts_line, 120.0 - 0.35 * 3.6, rtol=1e-12)
    assert_allclose(electric.volts_line_neutral_ground, 0.15 * 3.6, rtol=1e-12)
    assert_allclose(after(of(QUIET, neutral_ground=4.0)).volts_line_neutral_ground, 4.0, rtol=1e-12)
    exchanged = after(of(QUIET, polarity=1.0), igniter_amps=3.6)
    assert_allclose(exchanged.volts_line_neutral_ground, exchanged.volts_line, rtol=1e-12)


def test_a_sound_system_holds_under_all_its_loads() -> None:
    everything = {"igniter_amps": 3.6, "contactor": 1.0, "humidifier": 1.0, "blower_share": 1.0}
    electric = after(of(), 5.0, **(RUN | everything))
    assert electric.powered == 1.0
    assert 23.0 < electric.volts_control < 26.0
    assert 114.0 < electric.volts_line < 120.0


def test_a_weak_transformer_lets_go_under_load_only() -> None:
    weak = of(transformer_factor=0.7)
    assert after(weak, 1.0).powered == 1.0
    assert after(weak, 1.0, **(RUN | {"contactor": 1.0, "humidifier": 1.0})).powered == 0.0
    assert weak.volts_control < 16.0


def test_hold_has_two_thresholds_and_ignores_60_milliseconds() -> None:
    def at(electric: Electric, volts: float, seconds: float) -> float:
        electric.transformer_factor = 1.0
        electric.line_factor = volts / 27.0
        return float(after(electric, seconds, dt=0.02).powered)

    electric = of(QUIET)
    assert at(electric, 16.2, 5.0) == 1.0
    assert at(electric, 15.8, 0.06) == 1.0
    assert at(electric, 16.2, 0.02) == 1.0
    assert at(electric, 15.8, 0.06) == 1.0  # counted anew after each dip
    assert at(electric, 15.8, 0.02) == 0.0
    assert at(electric, 16.4, 5.0) == 0.0
    assert at(electric, 16.6, 0.02) == 1.0


@pytest.mark.parametrize("knob", ["power", "transformer_factor"])
def test_lost_power(knob: str) -> None:
    electric = of(neutral_ground=4.0)
    setattr(electric, knob, 0.0)
    after(electric, 0.5, **(RUN | {"blower_share": 0.5}))
    assert electric.volts_control == 0.0
    assert electric.powered == 0.0
    if knob == "power":
        assert electric.volts_line == electric.amps_inducer == electric.amps_blower == 0.0
        assert electric.volts_line_neutral_ground == 0.0
    else:
        assert electric.volts_line > 115.0
    setattr(electric, knob, 1.0)
    assert after(electric).powered == 1.0


def test_inducer_draws_more_the_further_it_lags_and_less_the_less_it_moves() -> None:
    def amps(**inputs: float) -> float:
        return float(after(of(), **(RUN | inputs)).amps_inducer)

    assert_allclose(amps(), UNIT.inducer, rtol=1e-12)
    assert_allclose(amps(inducer_speed=0.0), UNIT.inducer_locked, rtol=1e-12)
    by_lag = [amps(inducer_speed=speed) for speed in (1.0, 0.95, 0.85, 0.5, 0.0)]
    assert all(np.diff(by_lag) > 0.0)
    assert amps(inducer_flow=0.5 * UNIT.inducer_flow) < 0.85 * UNIT.inducer
    low = amps(inducer_command=0.75, inducer_speed=0.75, inducer_flow=0.75 * UNIT.inducer_flow)
    assert_allclose(low, UNIT.inducer * (0.6 + 0.4 * 0.75**3), rtol=1e-12)
    coasting = amps(inducer_command=0.75, inducer_speed=0.9, inducer_flow=0.9 * UNIT.inducer_flow)
    assert_allclose(coasting, UNIT.inducer * (0.6 + 0.4 * 0.9**3), rtol=1e-12)
    assert amps(inducer_command=0.0) == 0.0
    assert amps(inducer_command=0.0, inducer_speed=0.4) == 0.0


def test_blower_follows_the_cube_of_its_speed() -> None:
    full, half = (after(of(), blower_share=share).amps_blower for share in (1.0, 0.5))
    assert_allclose(full, UNIT.blower)
    assert_allclose(half / full, 0.125)
    assert_allclose(after(of(replace(UNIT, blower_exponent=1.0)), blower_share=0.5).amps_blower / full, 0.5)


def test_arrays_are_floats_side_by_side() -> None:
    source, count = np.random.default_rng(2), 12
    lines = source.uniform(110.0, 125.0, count)
    knobs = {
        "transformer_factor": np.r_[0.0, source.uniform(0.5, 1.1, count - 1)],
        "line_factor": source.uniform(0.7, 1.1, count),
        "power": np.r_[np.ones(count - 1), 0.0],
        "neutral_ground": source.uniform(0.0, 12.0, count),
        "polarity": source.integers(0, 2, count).astype(float),
    }
    many = Electric(ARRAYS, replace(UNIT, line=lines))
    ones = [Electric(FLOATS, replace(UNIT, line=float(line))) for line in lines]
    for name, array in knobs.items():
        setattr(many, name, array)
        for one, value in zip(ones, array, strict=True):
            setattr(one, name, float(value))
    held = set()
    for turn in range(60):
        given = {name: source.integers(0, 2, count).astype(float) for name in REST}
        given["inducer_speed"], given["blower_share"] = source.uniform(0, 1.1, count), source.uniform(0, 1, count)
        given["inducer_flow"], given["igniter_amps"] = source.uniform(0, 0.02, count), source.uniform(0, 4, count)
        many.step(0.05, **given)
        for index, one in enumerate(ones):
            one.step(0.05, **{name: float(array[index]) for name, array in given.items()})
            for name in OUTPUTS:
                assert_allclose(
                    getattr(many, name)[index], getattr(one, name), rtol=1e-12, atol=1e-13, err_msg=f"{name} {turn}"
                )
        held |= set(many.powered.tolist())
    assert held == {0.0, 1.0}


def test_the_step_does_not_matter() -> None:
    coarse, fine = (after(of(transformer_factor=0.65), 2.0, dt=dt, **RUN) for dt in (0.1, 0.05))
    assert [getattr(coarse, name) for name in OUTPUTS] == [getattr(fine, name) for name in OUTPUTS]
    assert coarse.powered == 0.0
