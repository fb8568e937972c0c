"""A single-speed air-source heat pump in heating: rated lines, start-up, frost, defrost, high-pressure cut-out."""

from dataclasses import dataclass
from math import exp, isfinite, log

from drivers.simulate.moist_air import AIR_HEAT, humidity_ratio

_BTU = 0.2930710701722222
"""One Btu/h. [W]"""
_AT_17, _AT_35, _AT_45, _AT_47 = (17 - 32) / 1.8, (35 - 32) / 1.8, (45 - 32) / 1.8, (47 - 32) / 1.8
"""Rating temperatures, and 45 degF, where the rating procedure ends the frost. [degC]"""
_ROUNDING = 1e-9
"""45 degF as it is typed may arrive this far below. [K]"""
_RATED_HUMIDITY = 0.82
"""Relative humidity of the frost rating: 35 degF, wet bulb 33 degF; from memory: AHRI 210/240. [1]"""
_SEA_LEVEL = 101_325.0
"""[Pa]"""
_FUSION = 333_600.0
"""Heat of melting ice. [J/kg]"""
_MOST_BLOCKED = 0.6
"""Frost takes no more of the capacity than this; common practice, no published source. [1]"""
_USUAL_INTERVAL = 90 * 60.0
"""Between defrosts where a unit is rated whose control never defrosts. [s]"""
_LEAST_FLOW = 0.01
"""Less air than this counts as this much where it divides. [kg/s]"""


@dataclass(frozen=True, slots=True)
class HeatPumpUnit:
    """One invented heat pump beside a furnace; what names no source is common practice, no published source."""

    capacity_47: float = 36_000 * _BTU
    """At 47 degF outdoors. [W]"""
    capacity_35: float = 27_500 * _BTU
    """At 35 degF outdoors, frost and defrost included. [W]"""
    capacity_17: float = 22_000 * _BTU
    """At 17 degF outdoors. [W]"""
    power_47: float = 3050.0
    """Electric power at 47 degF outdoors. [W]"""
    power_35: float = 2950.0
    """At 35 degF outdoors. [W]"""
    power_17: float = 2750.0
    """At 17 degF outdoors. [W]"""
    start_lag: float = 60.0
    """Time constant of the heat after a start. [s]"""
    stop_lag: float = 30.0
    """Time constant of what is left after a stop. [s]"""
    approach_47: float = 6.0
    """Outdoor coil below outdoor air at 47 degF; elsewhere by the heat that it takes up. [K]"""
    coil_lag: float = 60.0
    """Time constant of the coil's temperature in heating. [s]"""
    rest_lag: float = 300.0
    """The same at rest. [s]"""
    coil_heat: float = 25_000.0
    """Heat capacity of the coil. [J/K]"""
    frost_transfer: float = 0.7
    """Frost on the coil, by the humidity ratio above saturation at the coil. [kg/s]"""
    melting: float = 2000.0
    """Heat from coil to frost. [W/K]"""
    defrost_interval: float = _USUAL_INTERVAL
    """Running time with the coil at or below 32 degF that starts a defrost: 30, 60 or 90 min, published service
    pages; infinite: never. [s]"""
    defrost_end: float = (57 - 32) / 1.8
    """Coil temperature that ends it: about 57 degF, published service pages. [degC]"""
    defrost_longest: float = 600.0
    """It ends after this time at the latest: 10 min, published service pages. [s]"""
    defrost_cooling: float = 24_000 * _BTU
    """Heat taken from the house's air meanwhile. [W]"""
    defrost_power: float = 2200.0
    """Electric power meanwhile. [W]"""
    reversal_lag: float = 20.0
    """Time constant with which the heat turns to cooling. [s]"""
    effectiveness: float = 0.7
    """Of the indoor coil at condensing temperature. [1]"""
    condensing_lag: float = 20.0
    """Time constant of the condensing temperature. [s]"""
    cut_out: float = 66.0
    """Condensing temperature at which the high-pressure switch stops the compressor. [degC]"""
    cut_out_time: float = 300.0
    """How long it stays off. [s]"""
    cut_out_trips: int = 3
    """So many in one call lock it out until the call ends. [1]"""


class HeatPump:
    """A heat pump in time.

    State: coil_temp (outdoor coil) [degC], frost [kg], run_time (since the last defrost, coil at or below 32 degF) [s],
    temp_condensing [degC], trips [1]. Outputs: heat (to the air stream, negative in cooling), power [W],
    defrost_active, running (0/1), rated_heat, rated_power (the lines at this outdoor temperature) [W].
    Knobs: capacity_factor (1; less: low charge) [1], stuck_reversing (0 free, 1 stuck in cooling, -1 stuck in heating).

    Capacity: a clean coil gives the straight line through the ratings at 17 and 47 degF; frost takes its part in
    proportion to its mass, so that at 35 degF and the rating's humidity the mean over cycles is the rating there, which
    includes frost and defrost (less where defrosts alone cost more). Dry air therefore gives more than the rated
    line between 17 and 45 degF; at 17 degF and below defrosts on time make the mean less than the line.
    Source: from memory: 10 CFR part 430, subpart B, appendices M and M1, section 4.2.1, and AHRI 210/240; the frost's
    mass by a transfer coefficient, saturation at the coil as in `moist_air`.
    """

    __slots__ = (
        "_blocking",
        "_defrost_time",
        "_given",
        "_off_left",
        "capacity_factor",
        "coil_temp",
        "defrost_active",
        "frost",
        "heat",
        "power",
        "rated_heat",
        "rated_power",
        "run_time",
        "running",
        "stuck_reversing",
        "temp_condensing",
        "trips",
        "unit",
    )

    def __init__(self, unit: HeatPumpUnit, *, temp_outdoor: float = 0.0, temp_room: float = 21.1) -> None:
        self.unit = unit
        self.coil_temp, self.temp_condensing = temp_outdoor, temp_room
        self.frost = self.run_time = self._defrost_time = self._off_left = self._given = 0.0
        self.trips = self.defrost_active = self.running = self.stuck_reversing = 0
        self.heat = self.power = 0.0
        self.rated_heat, self.rated_power = rated_capacity(unit, temp_outdoor), rated_power(unit, temp_outdoor)
        self.capacity_factor = 1.0
        self._blocking = _blocking(unit)

    def step(
        self,
        dt: float,
        *,
        call: float,
        temp_outdoor: float,
        ratio_outdoor: float,
        pressure: float,
        air_flow: float,
        temp_entering: float,
        reversing: float = 0.0,
    ) -> None:
        """Move on by `dt` [s].

        `call` of the compressor and `reversing` (valve energised: cooling) are 0/1; `air_flow` [kg/s dry air] comes
        to the indoor coil at `temp_entering` [degC]; weather as [degC], [kg/kg], [Pa].
        """
        unit = self.unit
        self.rated_heat = rated_capacity(unit, temp_outdoor)
        self.rated_power = electric = rated_power(unit, temp_outdoor)
        running = self._permitted(dt, call)
        self._decide_defrost(dt, running=running)
        stuck = self.stuck_reversing
        reversed_valve = stuck > 0 if stuck else (self.defrost_active or reversing >= 0.5)
        clean = _straight(unit.capacity_17, unit.capacity_47, temp_outdoor)
        if not running:
            target, lag, power = 0.0, unit.stop_lag, 0.0
        elif reversed_valve:
            target, lag, power = -unit.defrost_cooling * self.capacity_factor, unit.reversal_lag, unit.defrost_power
        else:
            blocked = min(self._blocking * self.frost, _MOST_BLOCKED)
            target, lag, power = clean * (1 - blocked) * self.capacity_factor, unit.start_lag, electric
        self.running, self.power = int(running), power
        capacity = air_flow * AIR_HEAT * unit.effectiveness
        # An air stream can take up only what the hottest and coldest coil can give: nothing when it stands still.
        hottest = unit.cut_out + 10 if running else self.temp_condensing
        most = max(capacity * (hottest - temp_entering), 0.0)
        least = min(capacity * -temp_entering, 0.0)
        self._given = now = target + (self._given - target) * exp(-dt / lag)
        self._compress(dt, max(now, 0.0) if running else 0.0, air_flow, temp_entering)
        self.heat = min(max(now, least), most)
        if not running:
            self._rest(dt, temp_outdoor)
        elif reversed_valve and self.defrost_active:
            self._melt(dt, max(-self.heat, 0.0) + power)
        elif reversed_valve:
            self._reject(dt, temp_outdoor, max(-self.heat, 0.0) + power)
        else:
            self._frost_over(dt, temp_outdoor, ratio_outdoor, pressure, max(clean - electric, 0.0))

    def _permitted(self, dt: float, call: float) -> bool:
        if call < 0.5:
            self.trips = 0
            self._off_left = max(self._off_left - dt, 0.0)
            return False
        if self.temp_condensing > self.unit.cut_out and not self._off_left:
            self.trips += 1
            self._off_left = self.unit.cut_out_time
        if not self._off_left:
            return True
        if self.trips < self.unit.cut_out_trips:
            self._off_left = max(self._off_left - dt, 0.0)
        return False

    def _decide_defrost(self, dt: float, *, running: bool) -> None:
        unit = self.unit
        if not running:
            self.defrost_active = 0
        elif self.defrost_active:
            self._defrost_time += dt
            if self.coil_temp >= unit.defrost_end or self._defrost_time >= unit.defrost_longest:
                self.defrost_active, self.run_time = 0, 0.0
        elif self.run_time >= unit.defrost_interval and self.coil_temp <= 0:
            self.defrost_active, self._defrost_time = 1, 0.0

    def _compress(self, dt: float, heat: float, air_flow: float, temp_entering: float) -> None:
        unit = self.unit
        above = heat / (max(air_flow, _LEAST_FLOW) * AIR_HEAT * unit.effectiveness)
        target = temp_entering + above
        lag = unit.condensing_lag if self.running else unit.stop_lag
        self.temp_condensing = target + (self.temp_condensing - target) * exp(-dt / lag)

    def _frost_over(
        self, dt: float, temp_outdoor: float, ratio_outdoor: float, pressure: float, absorbed: float
    ) -> None:
        unit = self.unit
        target = temp_outdoor - _approach(unit, absorbed)
        before = self.coil_temp
        self.coil_temp = coil = target + (before - target) * exp(-dt / unit.coil_lag)
        if coil <= 0:
            self.run_time += dt
            excess = ratio_outdoor - humidity_ratio((before + coil) / 2, 1.0, pressure)
            self.frost += dt * unit.frost_transfer * max(excess, 0.0)
        else:
            self._thaw(dt)

    def _melt(self, dt: float, heat: float) -> None:
        """The coil as condenser: warmed to freezing, held near it while frost melts, then warmed on."""
        unit = self.unit
        if self.frost > 0 and self.coil_temp >= 0:
            target = heat / unit.melting
            self.coil_temp = target + (self.coil_temp - target) * exp(-dt * unit.melting / unit.coil_heat)
            self._thaw(dt)
        else:
            self.coil_temp += dt * heat / unit.coil_heat

    def _reject(self, dt: float, temp_outdoor: float, heat: float) -> None:
        """The coil as condenser with its fan running."""
        target = temp_outdoor + _approach(self.unit, heat)
        self.coil_temp = target + (self.coil_temp - target) * exp(-dt / self.unit.coil_lag)
        if self.coil_temp > 0:
            self._thaw(dt)

    def _rest(self, dt: float, temp_outdoor: float) -> None:
        self.coil_temp = temp_outdoor + (self.coil_temp - temp_outdoor) * exp(-dt / self.unit.rest_lag)
        if self.coil_temp > 0:
            self._thaw(dt)

    def _thaw(self, dt: float) -> None:
        self.frost = max(self.frost - dt * self.unit.melting * self.coil_temp / _FUSION, 0.0)


def rated_capacity(unit: HeatPumpUnit, temp: float) -> float:
    """Heat at an outdoor temperature [degC] by the rating procedure, frost and defrost included. [W]"""
    return _rated(unit.capacity_17, unit.capacity_35, unit.capacity_47, temp)


def rated_power(unit: HeatPumpUnit, temp: float) -> float:
    """Electric power at an outdoor temperature [degC] by the rating procedure. [W]"""
    return _rated(unit.power_17, unit.power_35, unit.power_47, temp)


def _rated(at_17: float, at_35: float, at_47: float, temp: float) -> float:
    if _AT_17 < temp < _AT_45 - _ROUNDING:
        return max(at_17 + (at_35 - at_17) * (temp - _AT_17) / (_AT_35 - _AT_17), 0.0)
    return _straight(at_17, at_47, temp)


def _straight(at_17: float, at_47: float, temp: float) -> float:
    return max(at_17 + (at_47 - at_17) * (temp - _AT_17) / (_AT_47 - _AT_17), 0.0)


def _approach(unit: HeatPumpUnit, absorbed: float) -> float:
    return unit.approach_47 * absorbed / (unit.capacity_47 - unit.power_47)


def _blocking(unit: HeatPumpUnit) -> float:
    """Share of the capacity that a mass of frost takes: the rating at 35 degF less what defrosting costs there. [1/kg]

    Balance of heat over one cycle at 35 degF: a defrost, the coil's cooling to freezing, an interval of even growth.
    """
    interval = unit.defrost_interval if isfinite(unit.defrost_interval) else _USUAL_INTERVAL
    clean, cooling = _straight(unit.capacity_17, unit.capacity_47, _AT_35), unit.defrost_cooling
    coil = _AT_35 - _approach(unit, clean - unit.power_35)
    outdoors = humidity_ratio(_AT_35, _RATED_HUMIDITY, _SEA_LEVEL)
    mass = unit.frost_transfer * interval * (outdoors - humidity_ratio(coil, 1.0, _SEA_LEVEL))
    if mass <= 0 or coil >= 0:
        return 0.0
    turning = unit.reversal_lag * (1 + log((clean + cooling) / cooling))
    melted = unit.coil_heat * (unit.defrost_end - coil) + mass * _FUSION
    defrost = (melted + cooling * turning) / (cooling + unit.defrost_power)
    heating = interval + unit.coil_lag * log((unit.defrost_end - coil) / -coil)
    given = unit.capacity_35 * (heating + defrost)
    spent = cooling * defrost + (clean + cooling) * (unit.start_lag - unit.reversal_lag)
    return max(2 * (clean * heating - given - spent) / (clean * interval * mass), 0.0)
