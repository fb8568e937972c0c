"""Weather at a house: temperature of the day, vapour, wind with gusts and what it does at the terminals."""

import random
from dataclasses import dataclass
from math import cos, exp, hypot, pi, sqrt

from drivers.simulate.moist_air import dry_density, humidity_ratio, saturation_pressure

_DAY = 86_400.0
"""[s]"""


@dataclass(frozen=True, slots=True)
class WeatherUnit:
    """A winter's week at one house; what has no source is common practice, no published source."""

    temp_mean: float = -7.0
    """Mean over a day. [degC]"""
    swing: float = 4.0
    """Half the range of a day. [K]"""
    coldest: float = 6 * 3600.0
    """Local time at which a day is coldest. [s since midnight]"""
    start: float = 17 * 3600.0
    """Local time at the beginning. [s since midnight]"""
    wander: float = 2.0
    """Standard deviation of the random part of the temperature. [K]"""
    wander_lag: float = 20 * 3600.0
    """Its correlation time. [s]"""
    humidity: float = 0.75
    """Relative humidity at the mean temperature of the day, over ice below 0.01 degC; vapour stays, so it falls at
    noon. [1]"""
    humidity_wander: float = 0.08
    """Standard deviation of the random part of the vapour's logarithm. [1]"""
    pressure: float = 101_325.0
    """Barometric pressure. [Pa]"""
    wind: float = 3.0
    """Mean wind at the terminals. [m/s]"""
    wind_wander: float = 0.35
    """Standard deviation of the logarithm of the slow part of the wind. [1]"""
    wind_lag: float = 1800.0
    """Its correlation time. [s]"""
    gustiness: float = 0.25
    """Standard deviation of gusts, along the wind and across, by the slow part. [1]"""
    gust_lag: float = 5.0
    """Correlation time of gusts. [s]"""
    coefficient_intake: float = 0.3
    """Pressure at the intake terminal by the stagnation pressure of the wind. [1]"""
    coefficient_vent: float = 0.1
    """Pressure at the vent terminal by the stagnation pressure of the wind. [1]"""


class Weather:
    """Weather in time, drawn from the `random.Random` passed in; `step` and `gust` may have any step.

    Outputs: temp [degC], humidity [1] over ice below 0.01 degC, ratio [kg/kg], pressure [Pa], from `step`; wind_speed
    [m/s], wind_intake, wind_vent [Pa] from `gust`. Knobs: temp_shift [K], wind_factor [1].
    """

    __slots__ = (
        "_across",
        "_along",
        "_draw",
        "_gust",
        "_slow",
        "_slow_wind",
        "_stagnation",
        "_temp",
        "_vapour",
        "humidity",
        "pressure",
        "ratio",
        "temp",
        "temp_shift",
        "time",
        "unit",
        "wind_factor",
        "wind_intake",
        "wind_speed",
        "wind_vent",
    )

    def __init__(self, unit: WeatherUnit, generator: random.Random) -> None:
        self.unit = unit
        self._draw = generator.gauss
        self.time = unit.start
        self.temp_shift, self.wind_factor = 0.0, 1.0
        self._temp, self._vapour, self._slow_wind, self._along, self._across = (self._draw(0, 1) for _ in range(5))
        self._slow = (0.0, 1.0, 0.0, 1.0, 0.0)
        self._gust = (0.0, 1.0, 0.0)
        self.pressure = unit.pressure
        self.temp = self.humidity = self.ratio = self.wind_speed = self.wind_intake = self.wind_vent = 0.0
        self._stagnation = 0.0
        self.step(0.0)
        self.gust(0.0)

    def step(self, dt: float) -> None:
        """Move temperature, vapour and the slow part of the wind on by `dt` [s].

        The random parts are first-order with their variance exact for any `dt`.
        """
        unit, draw = self.unit, self._draw
        if self._slow[0] != dt:
            self._slow = (dt, *_kept(dt, unit.wander_lag), *_kept(dt, unit.wind_lag))
        _, kept, fresh, kept_wind, fresh_wind = self._slow
        self._temp = kept * self._temp + fresh * draw(0, 1)
        self._vapour = kept * self._vapour + fresh * draw(0, 1)
        self._slow_wind = kept_wind * self._slow_wind + fresh_wind * draw(0, 1)
        self.time += dt
        mean = unit.temp_mean + self.temp_shift + unit.wander * self._temp
        temp = mean - unit.swing * cos(2 * pi * (self.time - unit.coldest) / _DAY)
        spread = unit.humidity_wander
        vapour = unit.humidity * saturation_pressure(mean) * exp(spread * self._vapour - spread * spread / 2)
        humidity = min(vapour / saturation_pressure(temp), 1.0)
        ratio = humidity_ratio(temp, humidity, unit.pressure)
        self.temp, self.humidity, self.ratio = temp, humidity, ratio
        self._stagnation = 0.5 * (1 + ratio) * dry_density(temp, ratio, unit.pressure)

    def gust(self, dt: float) -> None:
        """Move the gusts on by `dt` [s]: wind speed and the pressures that it makes at the terminals.

        Stagnation pressure 0.5 rho v^2 by a coefficient: Bernoulli, ASHRAE Handbook - Fundamentals 2017, chapter 24.
        """
        unit, draw = self.unit, self._draw
        if self._gust[0] != dt:
            self._gust = (dt, *_kept(dt, unit.gust_lag))
        _, kept, fresh = self._gust
        self._along = along = kept * self._along + fresh * draw(0, 1)
        self._across = across = kept * self._across + fresh * draw(0, 1)
        spread, part = unit.wind_wander, unit.gustiness
        slow = self.wind_factor * unit.wind * exp(spread * self._slow_wind - spread * spread / 2)
        self.wind_speed = speed = slow * hypot(1 + part * along, part * across)
        stagnation = self._stagnation * speed * speed
        self.wind_intake = unit.coefficient_intake * stagnation
        self.wind_vent = unit.coefficient_vent * stagnation


def _kept(dt: float, lag: float) -> tuple[float, float]:
    """What is kept of a random part of variance one, and the standard deviation of what comes in. [1]"""
    kept = exp(-dt / lag)
    return kept, sqrt(1 - kept * kept)
