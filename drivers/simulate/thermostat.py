"""The thermostat of a dual-fuel house: cycles, stages, lockouts by its outdoor sensor, humidity; or a schedule."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf
from typing import NamedTuple


@dataclass(frozen=True, slots=True)
class ThermostatUnit:
    """Settings of one invented thermostat; all of them common practice, no published source."""

    setpoint: float = 21.1
    """Room temperature to hold. [degC]"""
    differential: float = 0.6
    """From the end of a call to the next. [K]"""
    room_lag: float = 120.0
    """Time constant of the room sensor. [s]"""
    anticipator: float = 0.4
    """How much a call warms the sensor in the end, so that it ends early. [K]"""
    anticipator_lag: float = 300.0
    """Time constant of that. [s]"""
    minimum_on: float = 180.0
    """Shortest call. [s]"""
    minimum_off: float = 180.0
    """Shortest rest. [s]"""
    compressor_off: float = 300.0
    """Shortest rest of the compressor. [s]"""
    stage_2_droop: float = 1.4
    """Below the setpoint by this, the furnace is called to its second stage. [K]"""
    stage_2_time: float = 600.0
    """After so long in the first stage as well. [s]"""
    dual_fuel: bool = False
    """Whether a heat pump heats first and the furnace is the auxiliary heat."""
    auxiliary_droop: float = 1.1
    """Below the setpoint by this, the auxiliary heat takes over. [K]"""
    auxiliary_time: float = 3600.0
    """After so long a call as well. [s]"""
    compressor_lockout: float = -5.6
    """The compressor may run from this outdoor temperature on; 22 degF. [degC]"""
    auxiliary_lockout: float = 7.2
    """The furnace may heat below this outdoor temperature; 45 degF. [degC]"""
    outdoor_lag: float = 120.0
    """Time constant of the outdoor sensor. [s]"""
    changeover: bool = True
    """Whether the compressor stops while the furnace heats."""
    temper: bool = True
    """Whether the furnace warms the air of a defrost, also where it is locked out."""
    reversing_in_heating: bool = False
    """Whether the reversing valve is energised in heating; otherwise in cooling."""
    humidity_setting: float = 0.35
    """Room humidity to hold. [1]"""
    humidity_differential: float = 0.04
    """From the end of a call for humidity to the next. [1]"""


class Call(NamedTuple):
    """A call of a schedule."""

    start: float
    """[s] from the first step"""
    end: float
    """[s] from the first step"""
    stage: int
    """0 the heat pump, 1 the furnace's first stage, 2 both of its stages."""


class Thermostat:
    """A thermostat in time; with a schedule its calls replace those of the room, for trials on the bench.

    State: time [s], sensed (room as the sensor has it), outdoor_sensed [degC], demand (whether it wants heat).
    Outputs as the wires carry them, 0/1: call_heat, call_heat_2, call_compressor, call_fan, call_reversing,
    call_humidifier (in a call for heat only).
    Knobs: setpoint, compressor_lockout, auxiliary_lockout [degC], humidity_setting [1] and changeover as set now;
    outdoor_offset (reading less truth of the outdoor sensor), room_offset [K]; emergency (furnace only, whatever its
    lockout); fan_on; wires open: no_call (both heat stages), stage2_dead, compressor_dead; humidity_overrun (calls
    humidity in every call for heat).
    """

    __slots__ = (
        "_anticipation",
        "_auxiliary",
        "_compressor",
        "_compressor_rested",
        "_furnace",
        "_furnace_for",
        "_humid",
        "_second",
        "_started",
        "_state_for",
        "auxiliary_lockout",
        "call_compressor",
        "call_fan",
        "call_heat",
        "call_heat_2",
        "call_humidifier",
        "call_reversing",
        "changeover",
        "compressor_dead",
        "compressor_lockout",
        "demand",
        "emergency",
        "fan_on",
        "humidity_overrun",
        "humidity_setting",
        "no_call",
        "outdoor_offset",
        "outdoor_sensed",
        "repeat",
        "room_offset",
        "schedule",
        "sensed",
        "setpoint",
        "stage2_dead",
        "time",
        "unit",
    )

    def __init__(
        self,
        unit: ThermostatUnit,
        schedule: Sequence[tuple[float, float, int]] | None = None,
        repeat: float | None = None,
    ) -> None:
        """`repeat`: the schedule begins again each time after so long [s]; None: it is done once."""
        self.repeat = repeat
        self.unit = unit
        self.schedule = None if schedule is None else tuple(_checked(n, *one) for n, one in enumerate(schedule, 1))
        self.setpoint, self.humidity_setting = unit.setpoint, unit.humidity_setting
        self.compressor_lockout, self.auxiliary_lockout = unit.compressor_lockout, unit.auxiliary_lockout
        self.changeover = unit.changeover
        self.outdoor_offset = self.room_offset = 0.0
        self.emergency = self.fan_on = self.humidity_overrun = 0
        self.no_call = self.stage2_dead = self.compressor_dead = 0
        self.time = self.sensed = self.outdoor_sensed = self._anticipation = self._furnace_for = 0.0
        self._state_for = self._compressor_rested = inf
        self.demand = self._started = self._auxiliary = self._furnace = self._second = False
        self._compressor = self._humid = False
        self.call_heat = self.call_heat_2 = self.call_compressor = 0
        self.call_fan = self.call_reversing = self.call_humidifier = 0

    def step(
        self, dt: float, *, temp_room: float, humidity_room: float, temp_outdoor: float, defrost_active: float = 0.0
    ) -> None:
        """Move on by `dt` [s] and set the calls of this step from room and outdoors [degC, 1, degC]."""
        self._sense(dt, temp_room + self.room_offset, temp_outdoor + self.outdoor_offset)
        if self.schedule is None:
            self._follow_room(dt)
            self._choose_source(dt)
        else:
            self._follow_schedule(self.schedule)
        self._control_humidity(humidity_room)
        self._set_calls(defrost_active)
        self.time += dt

    def _sense(self, dt: float, room: float, outdoor: float) -> None:
        unit = self.unit
        if not self._started:
            self.sensed, self.outdoor_sensed, self._started = room, outdoor, True
            return
        self.sensed = room + (self.sensed - room) * exp(-dt / unit.room_lag)
        self.outdoor_sensed = outdoor + (self.outdoor_sensed - outdoor) * exp(-dt / unit.outdoor_lag)
        target = unit.anticipator if self.demand else 0.0
        self._anticipation = target + (self._anticipation - target) * exp(-dt / unit.anticipator_lag)

    def _follow_room(self, dt: float) -> None:
        unit = self.unit
        above = self.sensed + self._anticipation - self.setpoint
        self._state_for += dt
        if self.demand:
            change = above >= unit.differential / 2 and self._state_for >= unit.minimum_on
        else:
            change = above <= -unit.differential / 2 and self._state_for >= unit.minimum_off
        if change:
            self.demand = not self.demand
            self._state_for = 0.0
        if not self.demand:
            self._auxiliary = False

    def _choose_source(self, dt: float) -> None:
        """Heat pump first; the furnace by droop, by time, or where the compressor is locked out."""
        unit = self.unit
        droop = self.setpoint - self.sensed
        emergency = self.emergency >= 0.5
        pump = unit.dual_fuel and not emergency and self.outdoor_sensed >= self.compressor_lockout
        burner = not unit.dual_fuel or emergency or self.outdoor_sensed < self.auxiliary_lockout
        if self.demand and (droop >= unit.auxiliary_droop or self._state_for >= unit.auxiliary_time):
            self._auxiliary = True
        self._furnace = self.demand and burner and (not pump or self._auxiliary)
        wanted = self.demand and pump and not (self._furnace and self.changeover)
        self._compressor_rested = 0.0 if self._compressor else self._compressor_rested + dt
        self._compressor = wanted and (self._compressor or self._compressor_rested >= unit.compressor_off)
        self._furnace_for = self._furnace_for + dt if self._furnace else 0.0
        late = droop >= unit.stage_2_droop or self._furnace_for > unit.stage_2_time
        self._second = self._furnace and (self._second or late)

    def _follow_schedule(self, schedule: tuple[Call, ...]) -> None:
        now = self.time if self.repeat is None else self.time % self.repeat
        stages = [one.stage for one in schedule if one.start <= now < one.end]
        self.demand = bool(stages)
        self._compressor = 0 in stages
        self._second = 2 in stages
        self._furnace = self._second or 1 in stages

    def _control_humidity(self, humidity: float) -> None:
        half = self.unit.humidity_differential / 2
        if humidity <= self.humidity_setting - half:
            self._humid = True
        elif humidity >= self.humidity_setting + half:
            self._humid = False

    def _set_calls(self, defrost_active: float) -> None:
        compressor = self._compressor and self.compressor_dead < 0.5
        tempering = self.unit.temper and compressor and defrost_active >= 0.5
        wire = self.no_call < 0.5
        self.call_heat = int((self._furnace or tempering) and wire)
        self.call_heat_2 = int(self._second and wire and self.stage2_dead < 0.5)
        self.call_compressor = int(compressor)
        self.call_fan = int(self._compressor or self.fan_on >= 0.5)
        self.call_reversing = int(self._compressor and self.unit.reversing_in_heating)
        heating = self._furnace or self._compressor
        self.call_humidifier = int(heating and (self._humid or self.humidity_overrun >= 0.5))


def _checked(number: int, start: float, end: float, stage: int) -> Call:
    if not start < end:
        raise ValueError(f"call {number} of the schedule ends at {end:g} s: it has to end after its start, {start:g} s")
    if stage not in (0, 1, 2):
        raise ValueError(
            f"call {number} of the schedule asks for stage {stage}; known are 0 (heat pump), 1 and 2 (furnace)"
        )
    return Call(start, end, stage)
