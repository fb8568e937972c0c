"""Signs of an overrunning humidifier, and whether their uncertainty is that of a simulation."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from analysis.findings import Finding, Severity
from analysis.humidity import HouseAir, humidifier_load, overrun_evidence
from analysis.psychrometrics import humidity_ratio
from analysis.units import conversion

Numbers = NDArray[np.float64]

HOUSE = HouseAir(
    temp_room=21.0,
    humidity_room=0.35,
    u_temp_room=0.3,
    u_humidity_room=0.015,
    temp_surface=12.0,
    u_temp_surface=0.3,
    setting=0.38,
    humidifier_share=0.3,
    temp_outdoor=-8.0,
    u_temp_outdoor=0.3,
    humidity_outdoor=0.7,
    u_humidity_outdoor=0.02,
    pressure=98_000.0,
    volume=450.0,
    air_changes=0.4 / 3600,
    u_air_changes=0.08 / 3600,
    sources=2.4e-4,
    u_sources=4e-5,
    temp_room_earlier=21.0,
    humidity_room_earlier=0.42,
    temp_outdoor_earlier=2.0,
    humidity_outdoor_earlier=0.7,
)
"""A house in order: moist in mild weather, drier in the cold; an invented one."""


def named(air: HouseAir) -> dict[str, Finding]:
    findings = overrun_evidence(air)
    assert len({finding.name for finding in findings}) == len(findings)
    return {finding.name: finding for finding in findings}


def value(finding: Finding, label: str) -> float:
    return {name: number for name, number, _ in finding.values}[label]


def test_a_house_in_order_has_no_findings() -> None:
    assert overrun_evidence(HOUSE) == ()


def test_a_cold_surface_is_judged_with_its_uncertainty() -> None:
    found = named(replace(HOUSE, temp_surface=2.0))["condensation"]
    assert found.severity == Severity.FAULT
    # ASHRAE table 3 has 705.9 Pa at 2 degC and 2488 Pa at 21 degC.
    assert_allclose(value(found, "largest without condensation"), 705.9 / 2488, rtol=1e-3)
    for surface in (4.6, 5.3):
        near = named(replace(HOUSE, temp_surface=surface))["condensation_near"]
        assert near.severity == Severity.ADVICE
    assert "condensation_near" not in named(replace(HOUSE, temp_surface=9.0))
    sure = replace(HOUSE, temp_surface=5.3, u_temp_surface=0.0, u_temp_room=0.0, u_humidity_room=0.0)
    assert "condensation" in named(replace(sure, temp_surface=4.8))
    assert not {"condensation", "condensation_near"} & set(named(replace(sure, temp_surface=5.1)))


def test_the_uncertainty_is_that_of_a_simulation() -> None:
    """20,000 simulated sets of readings; Magnus' formula gives the saturation pressures."""
    draw = np.random.default_rng(2024).normal
    size = 20_000
    air = replace(HOUSE, temp_surface=2.0, humidity_room=0.5, sources=1e-5)
    found = named(air)

    def magnus(temp: Numbers) -> Numbers:
        return 610.94 * np.exp(17.625 * temp / (243.04 + temp))

    def ratio(temp: Numbers, humidity: Numbers) -> Numbers:
        vapour = humidity * magnus(temp)
        return 0.621945 * vapour / (98_000 - vapour)

    room, surface, humid = draw(21, 0.3, size), draw(2, 0.3, size), draw(0.5, 0.015, size)
    spread = np.std(humid - magnus(surface) / magnus(room))
    assert_allclose(value(found["condensation"], "twice the uncertainty"), 2 * spread, rtol=0.04)
    outdoors = ratio(draw(-8, 0.3, size), draw(0.7, 0.02, size))
    volume = 287.042 * 294.15 * (1 + 1.607858 * ratio(room, humid)) / 98_000
    carried = 450 * draw(0.4, 0.08, size) / 3600 / volume * (ratio(room, humid) - outdoors)
    spread = np.std(carried - draw(1e-5, 4e-5, size))
    assert_allclose(value(found["moisture_unexplained"], "twice the uncertainty"), 2 * spread, rtol=0.04)


@pytest.mark.parametrize(
    ("share", "severity"), [(None, Severity.ADVICE), (0.0, Severity.ADVICE), (0.5, Severity.FAULT)]
)
def test_above_the_setting(share: float | None, severity: Severity) -> None:
    found = named(replace(HOUSE, setting=0.31, humidifier_share=share))
    assert found["above_setting"].severity == severity
    assert "above_setting" not in named(replace(HOUSE, setting=0.325, humidifier_share=share))


@pytest.mark.parametrize(
    ("share", "severity"), [(None, Severity.ADVICE), (0.4, Severity.ADVICE), (0.0, Severity.FAULT)]
)
def test_water_that_no_known_source_brings(share: float | None, severity: Severity) -> None:
    air = replace(HOUSE, sources=2e-5, u_sources=1e-5, humidifier_share=share)
    found = named(air)["moisture_unexplained"]
    assert found.severity == severity
    assert "measure CO in the room first" in found.text, "flue gas indoors is a source of water"
    carried = value(found, "water that leaves with the air")
    ratios = float(humidity_ratio(21.0, 0.35, 98_000.0)), float(humidity_ratio(-8.0, 0.7, 98_000.0))
    assert_allclose(carried, humidifier_load(450.0, 0.4 / 3600, *ratios, 21.0, pressure=98_000.0), rtol=1e-12)
    assert_allclose(value(found, "from elsewhere"), carried - 2e-5, rtol=1e-12)
    assert "moisture_unexplained" not in named(replace(air, u_air_changes=0.3 / 3600))


def test_humidity_that_does_not_fall_with_the_cold() -> None:
    found = named(replace(HOUSE, humidity_room_earlier=0.35))["not_falling"]
    assert_allclose(value(found, "colder outdoors by"), 10.0)
    dried = humidity_ratio([2.0, -8.0], 0.7, 98_000.0)
    assert_allclose(value(found, "growth of the vapour over that outdoors"), dried[0] - dried[1], rtol=1e-9)
    assert "not_falling" not in named(replace(HOUSE, humidity_room_earlier=0.35, u_humidity_room=0.05))
    warmer = replace(HOUSE, temp_outdoor_earlier=-8.5, humidity_outdoor_earlier=1.0, humidity_room_earlier=0.20)
    assert "not_falling" not in named(warmer), "0.5 K of difference is none that these thermometers can tell"


def test_outdoor_humidity_may_be_taken() -> None:
    taken = replace(HOUSE, humidity_outdoor=None, u_humidity_outdoor=None, humidity_outdoor_earlier=None)
    found = named(replace(taken, sources=2e-5, u_sources=1e-5))
    assert found["outdoor_humidity_taken"].severity == Severity.MISSING
    known = named(replace(HOUSE, sources=2e-5, u_sources=1e-5, humidity_outdoor=0.75))
    label = "twice the uncertainty"
    assert value(found["moisture_unexplained"], label) > value(known["moisture_unexplained"], label)


def test_nothing_measured_says_what_each_judgement_needs() -> None:
    found = named(HouseAir(None, None))
    assert set(found) == {"surface_unknown", "setting_unknown", "moisture_balance_unknown", "trend_unknown"}
    assert {finding.severity for finding in found.values()} == {Severity.MISSING}
    assert "surface temperature" in found["surface_unknown"].text
    assert "accuracy of room humidity" in found["surface_unknown"].text
    assert "earlier outdoor temperature" in found["trend_unknown"].text


@pytest.mark.parametrize(
    ("field", "finding"),
    [
        ("temp_surface", "surface_unknown"),
        ("u_temp_surface", "surface_unknown"),
        ("setting", "setting_unknown"),
        ("u_air_changes", "moisture_balance_unknown"),
        ("volume", "moisture_balance_unknown"),
        ("u_sources", "moisture_balance_unknown"),
        ("temp_outdoor_earlier", "trend_unknown"),
        ("u_temp_outdoor", "trend_unknown"),
    ],
)
def test_each_missing_number_is_named(field: str, finding: str) -> None:
    for nothing in (None, math.nan):
        found = named(replace(HOUSE, **{field: nothing}))
        assert found[finding].severity == Severity.MISSING
        assert field.rsplit("_", maxsplit=1)[-1] in found[finding].text


def test_a_number_that_cannot_be_is_not_judged() -> None:
    for wrong in ({"humidity_room": 1.2}, {"humidity_room": -0.1}, {"temp_room": -300.0}):
        found = named(replace(HOUSE, **wrong))
        assert {"surface_unknown", "moisture_balance_unknown"} <= set(found)
    assert "setting_unknown" in named(replace(HOUSE, u_humidity_room=-0.01))


def test_without_a_surface_the_guidance_speaks() -> None:
    damp = replace(HOUSE, temp_surface=None, humidity_room=0.48)
    found = named(damp)["above_guidance"]
    assert value(found, "guidance") == 0.35
    assert "above_guidance" not in named(replace(damp, humidity_room=0.36))
    assert "above_guidance" not in named(replace(damp, temp_outdoor=8.0))
    assert "above_guidance" not in named(replace(damp, temp_surface=12.0))


def test_findings_are_one_sentence_with_numbers_in_known_units() -> None:
    worst = replace(
        HOUSE, temp_surface=0.0, humidity_room=0.55, sources=1e-5, humidity_outdoor=None, humidifier_share=0.0
    )
    assert len(overrun_evidence(worst)) == 5
    for finding in (*overrun_evidence(worst), *overrun_evidence(HouseAir(None, None))):
        assert finding.text.endswith(".")
        assert ". " not in finding.text
        assert not any(letter.isdigit() for letter in finding.text)
        for label, number, unit in finding.values:
            assert label
            assert math.isfinite(number)
            assert conversion(unit, unit).scale == 1
