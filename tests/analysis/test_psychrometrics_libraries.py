"""Moist air against general libraries and open measurements, over the whole valid range.

psychrolib computes with the same equations of the handbook: it must agree but for rounding. CoolProp computes real
moist air (ASHRAE RP-1485, the source of the handbook's tables): the gap is the enhancement factor, left out here.
"""

import csv
from collections.abc import Iterator
from types import ModuleType

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from analysis.psychrometrics import (
    altitude_at_pressure,
    density,
    dew_point,
    enthalpy,
    humidity_from_dew_point,
    humidity_ratio,
    humidity_ratio_from_dew_point,
    humidity_ratio_from_wet_bulb,
    pressure_at_altitude,
    relative_humidity,
    saturation_pressure,
    specific_volume,
    wet_bulb,
)
from tests.system.open_data import folder

Numbers = NDArray[np.float64]

POINTS = 2000
TRACE = 1e-7
"""Humidity ratio below which psychrolib takes this value instead. [kg/kg]"""
BANDS = (-60, -40, -20, 0, 20, 40, 60, 80, 100, 125, 150)
"""Ends of the bands of dry-bulb temperature. [degC]"""
STEAM = 0.5
"""Largest share of water vapour in the comparisons with real air. [1]"""


@pytest.fixture
def psychrolib(monkeypatch: pytest.MonkeyPatch) -> Iterator[ModuleType]:
    """In SI units, put back afterwards, and searching to 1e-7 K: its own 0.001 K would be most of a deviation."""
    import psychrolib

    before = psychrolib.PSYCHROLIB_UNITS
    psychrolib.SetUnitSystem(psychrolib.SI)
    monkeypatch.setattr(psychrolib, "PSYCHROLIB_TOLERANCE", 1e-7)
    yield psychrolib
    psychrolib.PSYCHROLIB_UNITS = before


@pytest.fixture(scope="module")
def coolprop() -> ModuleType:
    import CoolProp.CoolProp

    return CoolProp.CoolProp


class Air:
    """Random states of air: -60 to 150 degC, humidity 1e-6 to 1, 20000 to 120000 Pa, steam short of the whole."""

    def __init__(self, seed: int, points: int = 2 * POINTS) -> None:
        generator = np.random.default_rng(seed)
        self.temp = generator.uniform(-60, 150, points)
        self.pressure = generator.uniform(20000, 120000, points)
        most = np.minimum(1, 0.99 * self.pressure / saturation_pressure(self.temp))
        even, small = generator.uniform(0, 1, points), 10 ** generator.uniform(-6, 0, points)
        self.humidity = most * np.where(generator.uniform(0, 1, points) < 0.5, even, small)
        self.ratio = humidity_ratio(self.temp, self.humidity, self.pressure)


def looped(function: object, *columns: Numbers) -> Numbers:
    return np.array([function(*map(float, point)) for point in zip(*columns, strict=True)])  # type: ignore[operator]


def relative(ours: Numbers, theirs: Numbers) -> float:
    return float(np.max(np.abs(ours / theirs - 1)))


def apart(ours: Numbers, theirs: Numbers) -> float:
    return float(np.max(np.abs(ours - theirs)))


def say(name: str, deviation: str) -> None:
    print(f"\n{name}: largest deviation {deviation}")  # noqa: T201


# --- psychrolib: the same equations. Target 0.05 %, temperatures 0.03 K; rounding is all that is left. ---


def test_saturation_as_psychrolib_has_it(psychrolib: ModuleType) -> None:
    temp = np.random.default_rng(1).uniform(-100, 200, POINTS)
    worst = relative(saturation_pressure(temp), looped(psychrolib.GetSatVapPres, temp))
    say("saturation_pressure, psychrolib", f"{worst:.1e}")
    assert worst < 1e-12


def test_humidity_ratio_as_psychrolib_has_it(psychrolib: ModuleType) -> None:
    air = Air(2)
    theirs = looped(psychrolib.GetHumRatioFromRelHum, air.temp, air.humidity, air.pressure)
    kept = theirs > TRACE
    assert np.count_nonzero(kept) > 0.8 * POINTS
    worst = relative(air.ratio[kept], theirs[kept])
    say("humidity_ratio, psychrolib", f"{worst:.1e}")
    assert worst < 1e-10


def test_relative_humidity_as_psychrolib_has_it(psychrolib: ModuleType) -> None:
    air = Air(3)
    kept = air.ratio > TRACE
    columns = air.temp[kept], air.ratio[kept], air.pressure[kept]
    worst = relative(relative_humidity(*columns), looped(psychrolib.GetRelHumFromHumRatio, *columns))
    say("relative_humidity, psychrolib", f"{worst:.1e}")
    assert worst < 1e-12


def test_dew_point_as_psychrolib_has_it(psychrolib: ModuleType) -> None:
    air = Air(4)
    kept = air.humidity * saturation_pressure(air.temp) > 1.001 * saturation_pressure(-100)
    temp, humidity = air.temp[kept], air.humidity[kept]
    worst = apart(dew_point(temp, humidity), looped(psychrolib.GetTDewPointFromRelHum, temp, humidity))
    say("dew_point, psychrolib", f"{worst:.1e} K")
    assert worst < 1e-6


def both_bulbs_possible(temp: Numbers, ratio: Numbers, pressure: Numbers, slack: float = 0.0) -> NDArray[np.bool_]:
    """Where a bulb that is wet at 0 degC or more and one that is iced below are both in balance."""
    wet = humidity_ratio_from_wet_bulb(temp, 0.0, pressure)  # NaN: even perfectly dry air keeps the bulb above 0 degC
    iced = humidity_ratio_from_wet_bulb(temp, -1e-12, pressure)
    return (temp > 0) & (np.isnan(wet) | (ratio >= wet - slack)) & (ratio <= iced + slack)


def test_wet_bulb_as_psychrolib_has_it(psychrolib: ModuleType) -> None:
    """Its halving finds either bulb where two are possible, and none where it tries one above the boiling point.

    There its own equation, the other way round, must confirm the bulb found here.
    """
    air = Air(5)
    bulb = wet_bulb(air.temp, air.humidity, air.pressure)
    kept = air.ratio > TRACE
    double = both_bulbs_possible(air.temp, air.ratio, air.pressure)
    boiling = saturation_pressure(air.temp) >= air.pressure
    single = kept & ~double & ~boiling
    assert np.count_nonzero(single) > 0.5 * POINTS
    assert np.count_nonzero(double & kept) > 3
    theirs = looped(psychrolib.GetTWetBulbFromRelHum, air.temp[single], air.humidity[single], air.pressure[single])
    worst = apart(bulb[single], theirs)
    back = looped(psychrolib.GetHumRatioFromTWetBulb, air.temp[kept], bulb[kept], air.pressure[kept])
    say("wet_bulb, psychrolib", f"{worst:.1e} K at {theirs.size} points; {apart(back, air.ratio[kept]):.1e} kg/kg back")
    assert worst < 1e-6
    assert_allclose(back, air.ratio[kept], rtol=1e-10, atol=1e-14)


def test_enthalpy_volume_and_density_as_psychrolib_has_them(psychrolib: ModuleType) -> None:
    air = Air(6)
    kept = air.ratio > TRACE
    temp, ratio, pressure = air.temp[kept], air.ratio[kept], air.pressure[kept]
    worst = apart(enthalpy(temp, ratio), looped(psychrolib.GetMoistAirEnthalpy, temp, ratio))
    say("enthalpy, psychrolib", f"{worst:.1e} J/kg")
    assert worst < 1e-4
    for ours, theirs in ((specific_volume, "GetMoistAirVolume"), (density, "GetMoistAirDensity")):
        deviation = relative(ours(temp, ratio, pressure), looped(getattr(psychrolib, theirs), temp, ratio, pressure))
        say(f"{ours.__name__}, psychrolib", f"{deviation:.1e}")
        assert deviation < 1e-12


def test_inverses_as_psychrolib_has_them(psychrolib: ModuleType) -> None:
    air = Air(7)
    dew = dew_point(air.temp, air.humidity)
    kept = (air.ratio > 1.001 * TRACE) & np.isfinite(dew)
    temp, pressure, ratio, dew = air.temp[kept], air.pressure[kept], air.ratio[kept], dew[kept]
    bulb = wet_bulb(air.temp, air.humidity, air.pressure)[kept]
    # Rounding of the bulb's balance is absolute: a small humidity ratio is the difference of two larger numbers.
    theirs = looped(psychrolib.GetHumRatioFromTWetBulb, temp, bulb, pressure)
    worst = apart(humidity_ratio_from_wet_bulb(temp, bulb, pressure) / (ratio + 1e-3), theirs / (ratio + 1e-3))
    say("humidity_ratio_from_wet_bulb, psychrolib", f"{worst:.1e}")
    assert worst < 1e-10
    theirs = looped(psychrolib.GetHumRatioFromTDewPoint, dew, pressure)
    worst = relative(humidity_ratio_from_dew_point(dew, pressure), theirs)
    say("humidity_ratio_from_dew_point, psychrolib", f"{worst:.1e}")
    assert worst < 1e-10
    worst = relative(humidity_from_dew_point(temp, dew), looped(psychrolib.GetRelHumFromTDewPoint, temp, dew))
    say("humidity_from_dew_point, psychrolib", f"{worst:.1e}")
    assert worst < 1e-12


def test_standard_atmosphere_as_psychrolib_and_pvlib_have_it(psychrolib: ModuleType) -> None:
    from pvlib.atmosphere import alt2pres, pres2alt

    altitude = np.random.default_rng(8).uniform(-5000, 11000, POINTS)
    pressure = pressure_at_altitude(altitude)
    worst = relative(pressure, looped(psychrolib.GetStandardAtmPressure, altitude))
    say("pressure_at_altitude, psychrolib", f"{worst:.1e}")
    assert worst < 1e-12
    # The same atmosphere with constants rounded another way (exponent 5.25588 instead of 5.2559).
    worst = relative(pressure, alt2pres(altitude))
    say("pressure_at_altitude, pvlib", f"{worst:.1e}")
    assert worst < 5e-5
    worst = apart(altitude_at_pressure(pressure), pres2alt(pressure))
    say("altitude_at_pressure, pvlib", f"{worst:.2f} m")
    assert worst < 1.0


def test_dew_point_over_water_near_pvlibs_magnus_formula() -> None:
    """An approximation with three constants, over liquid at all temperatures, meant for -45 to 60 degC."""
    from pvlib.atmosphere import rh_from_tdew, tdew_from_rh

    generator = np.random.default_rng(9)
    temp, humidity = generator.uniform(-45, 60, POINTS), generator.uniform(0.02, 1, POINTS)
    dew = dew_point(temp, humidity, over="water")
    kept = dew > -45
    worst = apart(dew[kept], tdew_from_rh(temp, 100 * humidity)[kept])
    say("dew_point over water, pvlib", f"{worst:.3f} K")
    assert worst < 0.25
    theirs = rh_from_tdew(temp, dew) / 100
    worst = apart(humidity[kept], theirs[kept])
    say("humidity_from_dew_point over water, pvlib", f"{worst:.4f}")
    assert_allclose(humidity_from_dew_point(temp[kept], dew[kept], "water"), theirs[kept], atol=0.01)


# --- CoolProp: real moist air. ---


class RealAir:
    """States of air in one band of temperature, 20000 to 120000 Pa, steam at most half; and the library's factor."""

    def __init__(self, library: ModuleType, band: int) -> None:
        points = POINTS // (len(BANDS) - 1)
        generator = np.random.default_rng(100 + band)
        self.library = library
        self.temp = generator.uniform(BANDS[band], BANDS[band + 1], points)
        self.pressure = generator.uniform(20000, 120000, points)
        saturation = saturation_pressure(self.temp)
        self.humidity = generator.uniform(0.02, 1, points) * np.minimum(1, STEAM * self.pressure / saturation)
        self.ratio = humidity_ratio(self.temp, self.humidity, self.pressure)
        self.factor = self.auxiliary("f", self.temp)
        self.saturation = self.auxiliary("p_ws", self.temp)

    def auxiliary(self, what: str, temp: Numbers) -> Numbers:
        one = self.library.HAProps_Aux
        return np.array([one(what, t + 273.15, p, 0.0)[0] for t, p in zip(temp, self.pressure, strict=True)])

    def gives(self, what: str, name: str, values: Numbers) -> Numbers:
        known = ("T", self.temp + 273.15, "P", self.pressure, name, values)
        return np.asarray(self.library.HAPropsSI(what, *known), np.float64)


@pytest.fixture(scope="module")
def real(coolprop: ModuleType) -> list[RealAir]:
    return [RealAir(coolprop, band) for band in range(len(BANDS) - 1)]


def name_of(band: int) -> str:
    return f"{BANDS[band]:4d} to {BANDS[band + 1]:3d} degC"


def test_saturation_as_coolprop_has_it(real: list[RealAir]) -> None:
    worst = [relative(saturation_pressure(air.temp), air.saturation) for air in real]
    lines = [f"{name_of(band)}: {100 * one:.3f} %" for band, one in enumerate(worst)]
    say("saturation_pressure, CoolProp", "by band\n" + "\n".join(lines))
    assert max(worst) < 5e-4


def test_humidity_ratio_of_real_air_differs_by_the_enhancement_factor(real: list[RealAir]) -> None:
    """The gap of each band is the library's own factor; with it multiplied in, saturation is all that remains."""
    lines = []
    for band, air in enumerate(real):
        theirs = air.gives("W", "R", air.humidity)
        gap, excess = theirs / air.ratio - 1, air.factor - 1
        vapour = air.factor * air.humidity * saturation_pressure(air.temp)
        left = np.abs(0.621945 * vapour / (air.pressure - vapour) / theirs - 1)
        # dW/W = dpw/pw * P/(P - pw): the same factor weighs more where steam is a large part of the air.
        weight = air.pressure / (air.pressure - vapour)
        lines.append(
            f"{name_of(band)}: gap {100 * gap.min():6.3f} to {100 * gap.max():5.3f} %, factor less one"
            f" {100 * excess.min():5.3f} to {100 * excess.max():5.3f} %, left with it {100 * left.max():.3f} %"
        )
        assert left.max() < 5e-4
        assert np.abs(gap / weight - excess).max() < 4e-4
        ordinary = (air.pressure > 80000) & (air.pressure < 105000) & (vapour < 0.1 * air.pressure)
        assert np.all(np.abs(gap[ordinary]) < 7.5e-3)
        assert gap.max() < 0.014
        if BANDS[band] >= 125:  # above boiling at all these pressures the library's factor is 1
            assert np.abs(gap).max() < 5e-4
    say("humidity_ratio, CoolProp", "by band\n" + "\n".join(lines))


def test_the_factor_is_the_attraction_between_molecules_and_the_squeezing_of_the_water(coolprop: ModuleType) -> None:
    """Second virial coefficients of dry air, water and the pair, and the volume of the condensed water, explain it.

    The formula: Hyland and Wexler 1983 (ASHRAE RP-216) and RP-1485 without third coefficients and dissolved air. The
    pair's coefficient grows in the cold and that of water weighs more near boiling: nothing else grows at the edges.
    """
    worst = 0.0
    for pressure in (22632.0, 60000.0, 101325.0, 120000.0):
        for temp in range(-60, 96, 5):

            def of(what: str, temp: float = temp, pressure: float = pressure) -> float:
                return float(coolprop.HAProps_Aux(what, temp + 273.15, pressure, 0.0)[0])

            saturation = of("p_ws")
            if saturation >= pressure:
                continue
            squares = (1 - saturation / pressure) ** 2 * pressure
            energy = (pressure - saturation) * of("vbar_ws") + squares * (of("Baa") - 2 * of("Baw"))
            energy -= (pressure - saturation - squares) * of("Bww")
            worst = max(worst, abs(np.expm1(energy / (8.314472 * (temp + 273.15))) - of("f") + 1))
    say("enhancement factor from virial coefficients", f"{100 * worst:.3f} %")
    assert worst < 3e-4


def test_relative_humidity_of_real_air(real: list[RealAir]) -> None:
    worst = 0.0
    for air in real:
        theirs = air.gives("R", "W", air.ratio)
        left = np.abs(relative_humidity(air.temp, air.ratio, air.pressure) / theirs / air.factor - 1)
        worst = max(worst, float(left.max()))
    say("relative_humidity, CoolProp", f"{worst:.1e} apart from the enhancement factor")
    assert worst < 5e-4


def test_dew_point_of_real_air(real: list[RealAir]) -> None:
    """The factor at the dew point is not quite that at the dry bulb; with their quotient the gap is gone."""
    lines = []
    for band, air in enumerate(real):
        theirs = air.gives("D", "R", air.humidity) - 273.15
        gap = np.abs(dew_point(air.temp, air.humidity) - theirs)
        corrected = air.humidity * air.factor / air.auxiliary("f", theirs)
        left = np.abs(dew_point(air.temp, np.minimum(corrected, 1)) - theirs)[corrected <= 1]
        lines.append(f"{name_of(band)}: gap {gap.max():.3f} K, left with the factors {left.max():.4f} K")
        assert gap.max() < (0.035 if BANDS[band + 1] <= 60 else 0.2)
        assert left.max() < 0.012
        assert_allclose(humidity_from_dew_point(air.temp, theirs), corrected, rtol=5e-4)
        theirs_ratio = air.gives("W", "D", theirs + 273.15)
        vapour = air.auxiliary("f", theirs) * saturation_pressure(theirs)
        assert_allclose(0.621945 * vapour / (air.pressure - vapour), theirs_ratio, rtol=6e-4)
        assert_allclose(humidity_ratio_from_dew_point(theirs, air.pressure), theirs_ratio, rtol=0.014)
    say("dew_point, CoolProp", "by band\n" + "\n".join(lines))


def test_wet_bulb_of_real_air(real: list[RealAir]) -> None:
    """Below 60 degC within 0.035 K. Where two bulbs are possible, or nearly so, the library may give the other one."""
    lines = []
    left_out = 0
    for band, air in enumerate(real):
        theirs = air.gives("B", "R", air.humidity) - 273.15
        gap = np.abs(wet_bulb(air.temp, air.humidity, air.pressure) - theirs)
        single = ~both_bulbs_possible(air.temp, air.ratio, air.pressure, slack=3e-5)
        left_out += int(np.count_nonzero(~single))
        lines.append(f"{name_of(band)}: {gap[single].max():.3f} K, {np.count_nonzero(~single)} near two bulbs left out")
        assert gap[single].max() < (0.035 if BANDS[band + 1] <= 60 else 0.2)
        assert gap.max() < 1.2
        ratio = humidity_ratio_from_wet_bulb(air.temp, theirs, air.pressure)[single]
        assert_allclose(ratio, air.ratio[single], rtol=0.014, atol=4e-5)
    say("wet_bulb, CoolProp", "by band\n" + "\n".join(lines))
    assert left_out < 0.02 * POINTS


def test_enthalpy_volume_and_density_of_real_air(real: list[RealAir]) -> None:
    """At the same humidity ratio, so that the enhancement factor does not enter."""
    lines = []
    for band, air in enumerate(real):
        heat = apart(enthalpy(air.temp, air.ratio), air.gives("H", "W", air.ratio))
        volume = relative(specific_volume(air.temp, air.ratio, air.pressure), air.gives("V", "W", air.ratio))
        mixture = relative(density(air.temp, air.ratio, air.pressure), 1 / air.gives("Vha", "W", air.ratio))
        lines.append(f"{name_of(band)}: {heat:6.0f} J/kg, volume {100 * volume:.3f} %, density {100 * mixture:.3f} %")
        assert heat < (400 if BANDS[band + 1] <= 40 else 5000)
        assert max(volume, mixture) < 6e-3
    say("enthalpy and volume, CoolProp", "by band\n" + "\n".join(lines))


# --- Open measurements. ---


def test_the_humidity_ratio_of_an_open_data_set_is_reproduced() -> None:
    """An office, 2665 minutes (Candanedo & Feldheim 2016, UCI); the authors' column is for 101325 Pa."""
    with (folder() / "occupancy.txt").open() as file:
        rows = list(csv.reader(file))[1:]
    temp, humidity, theirs = np.array([[row[2], row[3], row[6]] for row in rows], np.float64).T
    assert temp.size == 2665
    deviation = humidity_ratio(temp, humidity / 100, 101325.0) / theirs - 1
    say("humidity_ratio, open data", f"{100 * deviation.min():.5f} to {100 * deviation.max():.5f} %")
    assert np.abs(deviation).max() < 1e-4
