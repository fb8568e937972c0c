"""The plant in time: control, furnace, heat pump, humidifier and house, step by step, with what is wrong with them."""

import random
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivers.simulate.attempts import Attempt
from drivers.simulate.causes import Cause
from drivers.simulate.control import Control
from drivers.simulate.control_settings import Inputs
from drivers.simulate.course import Courses
from drivers.simulate.faults import act
from drivers.simulate.furnace import Furnace
from drivers.simulate.heatpump import HeatPump
from drivers.simulate.house import House
from drivers.simulate.humidifier import Humidifier, HumidifierUnit
from drivers.simulate.maths import FLOATS
from drivers.simulate.parts import Parts
from drivers.simulate.points import FAST_POINTS, SLOW_POINTS, fast_values, slow_values
from drivers.simulate.thermostat import Thermostat
from drivers.simulate.unit import Unit
from drivers.simulate.weather import Weather

STEP = 0.1
"""Short step: control, gas, fire, draft, switches, blower. [s]"""
SHORT_STEPS = 5
"""Short steps in a long one: heat, water, house, weather. [1]"""
AROUND = 16.0
"""Where furnace and ducts stand. [degC]"""
KEPT_EVENTS = 10_000
OVERRUN = 600.0
"""In each such span the humidifier is called for the share of it that its fault takes. [s]"""
CO_MASS = 28.01 / 28.1
"""Molar mass of carbon monoxide over that of flue gas. [1]"""
_TO_ROOM = 0.5
"""Share of the losses of cabinet and ducts that reaches the rooms; common practice, no published source. [1]"""
_NO_HUMIDIFIER = HumidifierUnit(kind="plenum", share=1e-6)
_WAVES = 0.3
"""Memory of the waves on the water in the collector box; common practice, no published source. [s]"""


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """What was true over a span."""

    time: NDArray[np.float64]
    """(n,) from the beginning. [s]"""
    values: dict[str, NDArray[np.float64]]
    """(n,) of each point. [inside unit of the point]"""


class Plant:
    """One installation in time. Same unit, causes, seed and steps: the same values, to the last bit."""

    def __init__(
        self,
        unit: Unit,
        causes: Sequence[Cause] = (),
        *,
        seed: int = 0,
        calls: Sequence[tuple[float, float, int]] | None = None,
        repeat: float | None = None,
        step: float = STEP,
    ) -> None:
        """`calls`: (start [s], end [s], stage) of a bench, not the thermostat's own; stage 0 is the heat pump.

        repeat : the calls begin again each time after so long; None: they are done once. [s]
        """
        self.unit, self.seed = unit, seed
        self._step = step
        chance = random.Random(f"plant {seed}")
        self.weather = Weather(unit.weather, random.Random(f"weather {seed}"))
        weather, room = self.weather, unit.thermostat.setpoint - unit.thermostat.differential
        self.house = House(unit.house, temp=room, humidity=unit.humidity, temp_outdoor=weather.temp)
        self.parts = Parts(FLOATS, unit.physical, temp=AROUND + 2.0, chance=chance)
        self.furnace = Furnace(
            self.parts, temp_outdoor=weather.temp, temp_room=AROUND + 2.0, ratio=self.house.ratio_room
        )
        self.control = Control(unit.control)
        self.thermostat = Thermostat(unit.thermostat, calls, repeat)
        self.heat_pump = (
            None
            if unit.heat_pump is None
            else HeatPump(unit.heat_pump, temp_outdoor=weather.temp, temp_room=unit.thermostat.setpoint)
        )
        self.humidifier = Humidifier(unit.humidifier or _NO_HUMIDIFIER)
        self.humidifier.ratio_supply = self.humidifier.ratio_mixed = self.house.ratio_room
        self.inputs = Inputs()
        self.courses = Courses(causes, seed)
        self._chance = chance
        self._waves = FLOATS.exp(-step / _WAVES)
        self._spread = FLOATS.sqrt(1.0 - self._waves**2)
        self._count = 0
        self._slow: tuple[float, ...] = ()
        self._events: deque[tuple[float, str]] = deque(maxlen=KEPT_EVENTS)
        self.points = (*FAST_POINTS, *SLOW_POINTS)
        """Points that it gives."""
        air = unit.physical.air
        self._blower = (0.0, air.low_heat, air.high_heat, air.cooling)
        low = unit.physical.draft.low_speed if unit.control.stages > 1 else 1.0
        self._inducer = (0.0, low, 1.0)
        self.parts.water.stand(
            max((one.severity for one in causes if one.cause == "drain_blocked" and not one.onset), default=0.0)
        )
        self._turn_knobs(force=True)
        self._look_slow()

    @property
    def now(self) -> float:
        """Time from the beginning. [s]"""
        return self._count * self._step

    @property
    def causes(self) -> tuple[Cause, ...]:
        """All that is or was wrong, what was changed by hand included."""
        return self.courses.causes

    @property
    def events(self) -> list[tuple[float, str]]:
        """(time [s], what happened), the oldest first; the newest 10,000."""
        return sorted([*self.control.log.events, *self._events])

    @property
    def attempts(self) -> list[Attempt]:
        """Ignition attempts that have ended, the oldest first."""
        return list(self.control.log.attempts)

    def inject(self, cause: str, severity: float, course: str = "constant") -> None:
        """Let something be wrong from now on; InputError for a cause or severity that there is none of."""
        self.courses.begin(Cause(cause, severity, self.now, course))
        self._events.append((self.now, f"{cause} set to severity {severity:g}"))

    def repair(self, cause: str) -> None:
        """Mend a cause; what has locked out or tripped is reset by hand too. InputError when it is not there."""
        self.courses.end(cause, self.now)
        self._turn_knobs(force=True)
        self.furnace.reset_rollout()
        self.control.reset()
        self._events.append((self.now, f"{cause} repaired"))

    def finish(self) -> None:
        """Close the log of attempts: what is under way was cut off."""
        self.control.finish()

    def advance(self, seconds: float) -> Block:
        """Go on for so long, to the nearest step. [s]"""
        steps = round(seconds / self._step)
        first, rows = self._count + 1, list[tuple[float, ...]]()
        for _ in range(steps):
            self._advance_one()
            rows.append(fast_values(self) + self._slow)
        table = np.array(rows, np.float64).reshape(steps, len(self.points)).T
        time = np.arange(first, first + steps, dtype=np.float64) * np.float64(self._step)
        return Block(time, dict(zip(self.points, table, strict=True)))

    def _advance_one(self) -> None:
        dt, parts, furnace, control, inputs = self._step, self.parts, self.furnace, self.control, self.inputs
        weather = self.weather
        inputs.switch, inputs.switch_high = parts.switch.closed, parts.switch_high.closed
        inputs.limit, inputs.rollout = parts.limit.closed, furnace.rollout_closed
        inputs.powered, inputs.flame_current = parts.electric.powered, parts.fire.flame_current
        control.step(dt, inputs)
        weather.gust(dt)
        furnace.wind_intake, furnace.wind_vent = weather.wind_intake, weather.wind_vent
        furnace.waves = self._waves * furnace.waves + self._spread * self._chance.gauss(0.0, 1.0)
        furnace.fast(
            dt,
            inducer=self._inducer[control.inducer],
            igniter=control.igniter,
            valve=control.valve,
            high=control.valve_high,
            blower=self._blower[control.blower],
        )
        self._count += 1
        if self._count % SHORT_STEPS == 0:
            self._long_step(dt * SHORT_STEPS)

    def _long_step(self, dt: float) -> None:
        parts, furnace, house, weather = self.parts, self.furnace, self.house, self.weather
        humidifier, thermostat, control, pump = self.humidifier, self.thermostat, self.control, self.heat_pump
        self._turn_knobs()
        weather.wind_factor = parts.gusts
        weather.step(dt)
        pressure, held = weather.pressure, parts.electric.powered
        if pump is not None:
            pump.capacity_factor = parts.heat_pump_capacity
            pump.step(
                dt,
                call=held * thermostat.call_compressor,
                temp_outdoor=weather.temp,
                ratio_outdoor=weather.ratio,
                pressure=pressure,
                air_flow=parts.air.mass_flow,
                temp_entering=parts.heat.temp_leaving,
            )
            furnace.coil_heat = pump.heat
        furnace.temp_outdoor, furnace.ratio_outdoor = weather.temp, weather.ratio
        furnace.temp_room, furnace.ratio_room = AROUND, house.ratio_room
        furnace.slow()
        humidifier.step(
            dt,
            call=held * thermostat.call_humidifier if self.unit.humidifier and parts.air.running else 0.0,
            air_flow=parts.heat.leaving_flow,
            temp=furnace.temp_coil,
            ratio=furnace.ratio_entering,
            temp_return=parts.ducts.temp_entering,
            ratio_return=house.ratio_room,
            pressure=pressure,
        )
        parts.ducts.step(
            dt,
            air_flow=humidifier.supply_flow,
            temp_leaving=humidifier.temp_supply,
            temp_stream=humidifier.temp_supply + parts.heat.temp_stream - parts.heat.temp_leaving,
            temp_room=house.temp_room,
            temp_around=AROUND,
            ratio=humidifier.ratio_supply,
        )
        furnace.temp_entering = humidifier.temp_mixed if humidifier.bypass_flow > 0.0 else parts.ducts.temp_entering
        furnace.ratio_entering = humidifier.ratio_mixed
        draft = parts.draft
        spilt = parts.fire.spilt * max(draft.flow, 0.0) * parts.fire.flame
        for opening in (draft.hole_flow, draft.collector_leak_flow, draft.burner_box_leak_flow):
            spilt += max(-opening, 0.0)
        house.step(
            dt,
            temp_outdoor=weather.temp,
            ratio_outdoor=weather.ratio,
            pressure=pressure,
            supply_flow=humidifier.supply_flow,
            temp_supply=parts.ducts.temp_delivered,
            ratio_supply=humidifier.ratio_supply,
            heat=_TO_ROOM * (parts.heat.jacket_loss + parts.ducts.loss),
            co=spilt * parts.flue.co * CO_MASS,
        )
        thermostat.step(
            dt,
            temp_room=house.temp_room,
            humidity_room=house.humidity_room,
            temp_outdoor=weather.temp,
            defrost_active=0 if pump is None else pump.defrost_active,
        )
        inputs = self.inputs
        held = parts.electric.powered
        inputs.call_heat, inputs.call_heat_2 = held * thermostat.call_heat, held * thermostat.call_heat_2
        inputs.call_fan, inputs.call_compressor = held * thermostat.call_fan, held * thermostat.call_compressor
        furnace.contactor, furnace.solenoid = inputs.call_compressor, humidifier.valve
        if self.courses.resets(dt):
            control.reset()
        self._look_slow()

    def _turn_knobs(self, *, force: bool = False) -> None:
        """Let every cause be as bad as its course has it now."""
        courses, parts, thermostat = self.courses, self.parts, self.thermostat
        burning = parts.fire.flame > 0.5
        if courses.step(self.now, self._step * SHORT_STEPS, burning=burning) or force:
            act(parts, courses.severities)
            unit = self.unit.thermostat
            thermostat.compressor_lockout = unit.compressor_lockout + parts.lockout_shift
            thermostat.auxiliary_lockout = unit.auxiliary_lockout - parts.lockout_shift
            thermostat.stage2_dead = int(parts.call_lost >= 0.2)
            self.control.dead = courses.dead_outputs(parts.board)
            self._take_power(courses.opened if parts.power_lost else "")
        thermostat.humidity_overrun = int(self.now % OVERRUN < OVERRUN * parts.overrun)
        thermostat.no_call = courses.call_missing(parts.call_lost)

    def _take_power(self, opened: str) -> None:
        """Open what interrupts the supply: breaker and door take the line, fuse and float switch the 24 V."""
        electric, inputs = self.parts.electric, self.inputs
        inputs.door, inputs.float_ok = float(opened != "door"), float(opened != "float")
        if opened in ("breaker", "door"):
            electric.power = 0.0
        elif opened:
            electric.transformer_factor = 0.0

    def _look_slow(self) -> None:
        self._slow = slow_values(self)
