"""The furnace as a whole: what its parts do to each other, in short steps and in longer ones."""

from analysis.airflow import HEAT_OF_AIR, HEAT_OF_VAPOUR
from analysis.fuels import AIR
from drivers.simulate.flue import REST
from drivers.simulate.maths import Number, toward
from drivers.simulate.parts import Parts

ROLLOUT_OPENS = 150.0
"""Temperature at which a roll-out switch opens; common practice, no published source. [degC]"""
WARMED = 0.3
"""How far the intake pipe warms its air towards the room; common practice, no published source. [1]"""
_IGNITED = 0.5
"""Time constant with which the gas in the primary exchanger gets hot or cold. [s]"""
_MIXING = 0.7
"""Time constant with which the air in the burner box follows what comes in: some 8 litres at 11 litres a second;
common practice, no published source. [s]"""
_HOUSING = 8.0
"""Time constant with which collector box and inducer smooth the temperature of what passes; common practice, no
published source. [s]"""
_PLUME = 45.0
"""Time constant with which flue gas finds its way to the intake; common practice, no published source. [s]"""
_IDLE = 0.8
"""Load of a blower of fixed speed that moves no air, by the cube root; common practice, no published source. [1]"""
_OXYGEN = AIR["oxygen"]


class Furnace:
    """Parts in their surroundings; `fast` moves gas, fire, draft and blower, `slow` heat and water.

    Surroundings, set by the owner: temp_outdoor, ratio_outdoor, temp_room, ratio_room, wind_intake, wind_vent, and the
    air that comes back: temp_entering, ratio_entering; `coil_heat` of the heat pump [W]; `contactor`, `solenoid`,
    loads of the 24 V [1]; `waves`, level of the water in the collector box about its mean [1].
    """

    __slots__ = (
        "_air", "_burnt", "_differential", "_elapsed", "_leak", "_mixed", "_two_pipes", "coil_heat", "contactor",
        "parts", "ratio_entering", "ratio_outdoor", "ratio_room", "recirculated", "returning", "rollout_closed",
        "solenoid", "temp_coil", "temp_entering", "temp_flue", "temp_intake", "temp_outdoor", "temp_primary_gas",
        "temp_room", "waves", "wind_intake", "wind_vent",
    )  # fmt: skip

    def __init__(
        self, parts: Parts, *, temp_outdoor: Number = 20.0, temp_room: Number = 20.0, ratio: Number = 0.0
    ) -> None:
        self.parts = parts
        self._two_pipes = parts.physical.design.two_pipes
        self._differential = parts.physical.design.differential
        self.temp_outdoor, self.temp_room, self.temp_entering = temp_outdoor, temp_room, temp_room
        self.ratio_outdoor = self.ratio_room = self.ratio_entering = ratio
        self.wind_intake: Number = 0.0
        self.wind_vent: Number = 0.0
        self.coil_heat: Number = 0.0
        self.contactor: Number = 0.0
        self.solenoid: Number = 0.0
        self.waves: Number = 0.0
        self.rollout_closed: Number = 1.0
        """Contact of the roll-out switch. [1]"""
        self.recirculated: Number = _OXYGEN
        """Mole fraction of oxygen in the combustion air. [1]"""
        self.temp_primary_gas: Number = parts.heat.temp_primary_gas
        """Mean of the gas in the primary exchanger. [degC]"""
        self.temp_coil: Number = temp_room
        """Air behind furnace and coil. [degC]"""
        self.returning: Number = 0.0
        """Share of flue gas in the combustion air. [1]"""
        self.temp_flue: Number = temp_room
        """Gas in inducer and vent. [degC]"""
        self.temp_intake: Number = self._intake_temp()
        """Air in the intake pipe. [degC]"""
        self._mixed: Number = 0.0
        self._burnt: Number = 0.0
        self._air: Number = 0.0
        self._leak: Number = 0.0
        self._elapsed = 0.0

    def _intake_temp(self) -> Number:
        outside = self._two_pipes * (1.0 - WARMED)
        fresh = self.temp_room + outside * (self.temp_outdoor - self.temp_room)
        return fresh + self.returning * (self.parts.heat.temp_flue - fresh)

    def _blower_load(self) -> Number:
        """Share of its full load that the blower's speed stands for: a fixed speed works less where less air passes."""
        air, unit = self.parts.air, self.parts.physical.air
        moved = air.flow / unit.rated_flow
        moved = _IDLE + (1.0 - _IDLE) * self.parts.m.minimum(moved, 1.2)
        return air.speed * (unit.constant_flow + (1.0 - unit.constant_flow) * moved)

    def fast(self, dt: float, *, inducer: Number, igniter: Number, valve: Number, high: Number, blower: Number) -> None:
        """Go on by `dt` [s]: inducer and blower wanted (share of full speed), igniter, valve, high stage (0 or 1)."""
        parts = self.parts
        draft, fire, air, electric, gas, flue = (
            parts.draft,
            parts.fire,
            parts.air,
            parts.electric,
            parts.gas,
            parts.flue,
        )
        electric.step(
            dt,
            inducer_command=inducer,
            inducer_speed=draft.speed,
            inducer_flow=draft.vent_flow,
            blower_share=self._blower_load(),
            valve=valve,
            igniter_amps=fire.amps_igniter,
            contactor=self.contactor,
            humidifier=self.solenoid,
        )
        held, volts = electric.powered, electric.volts_line
        voltage, pressure = volts / 120.0, parts.physical.pressure
        gas.step(
            dt,
            valve=valve * held,
            high=high,
            burner_box=draft.burner_box,
            temp_outdoor=self.temp_outdoor,
            pressure=pressure,
        )
        where = parts.m.where
        self._mixed = entering = toward(
            parts.m, self._mixed, draft.intake_flow + draft.burner_box_leak_flow, dt, _MIXING
        )
        fire.lean = 1.2 * where(air.running > 0.0, parts.disturbance, 0.0)
        fire.step(
            dt,
            igniter=igniter * held,
            voltage=volts,
            gas_flow=gas.flow,
            air_flow=where(entering > 0.0, entering, 0.0),
            burner_box=draft.burner_box - self._two_pipes * self.wind_intake,
            temp_room=self.temp_room,
            oxygen=self.recirculated,
        )
        self.temp_primary_gas = gas_temp = toward(
            parts.m, self.temp_primary_gas, parts.heat.temp_primary_gas, dt, _IGNITED
        )
        water = parts.water
        draft.step(
            dt,
            command=inducer * held,
            voltage=voltage,
            temp_intake=self.temp_intake,
            temp_primary=gas_temp,
            temp_secondary=parts.heat.temp_secondary_gas,
            temp_inducer=self.temp_flue,
            pressure=pressure,
            molar_mass=flue.molar_mass,
            temp_outdoor=self.temp_outdoor,
            wind_intake=self._two_pipes * self.wind_intake,
            wind_vent=self.wind_vent,
            temp_room=self.temp_room,
            blower_pressure=air.compartment_pressure,
            fuel=gas.flow,
            condensate=parts.heat.condensate,
            flooding=water.flooding,
            bubbling=water.slosh * self.waves,
        )
        low_side = draft.collector
        reference = self._differential * draft.burner_box
        slug = parts.slug + water.port_head + water.slug
        parts.switch.slug = parts.switch_high.slug = slug
        parts.switch.step(dt, low_side=low_side, reference=reference)
        parts.switch_high.step(dt, low_side=low_side, reference=reference)
        air.step(
            dt,
            command=blower * held,
            voltage=voltage,
            temp_entering=self.temp_entering,
            temp_leaving=self.temp_coil,
            pressure=pressure,
            ratio=self.ratio_entering,
            internal_factor=parts.air_internal,
        )
        opens = ROLLOUT_OPENS + parts.rollout_shift
        shut = where(parts.rollout_open > 0.0, 0.0, self.rollout_closed)
        self.rollout_closed = where(fire.rollout_heat > opens, 0.0, shut)
        self._burnt = self._burnt + dt * fire.burnt
        self._air = self._air + dt * entering
        self._leak = self._leak + dt * (draft.collector_leak_flow + draft.hole_flow)
        self._elapsed += dt

    def slow(self) -> None:
        """Let heat and water catch up with the short steps since the last time, by their means."""
        parts, dt = self.parts, self._elapsed
        flue, heat, air, draft = parts.flue, parts.heat, parts.air, parts.draft
        burnt, entering, leak = self._burnt / dt, self._air / dt, self._leak / dt
        self._burnt = self._air = self._leak = self._elapsed * 0.0
        self._elapsed = 0.0
        self.returning = toward(parts.m, self.returning, parts.recirculation * parts.fire.flame, dt, _PLUME)
        self.temp_intake = temp_intake = self._intake_temp()
        ratio = self.ratio_room + self._two_pipes * (self.ratio_outdoor - self.ratio_room)
        lifted = parts.m.where(air.running > 0.0, parts.disturbance, 0.0) + parts.fouled
        flue.burn(
            burnt=burnt,
            air_flow=parts.m.maximum(entering, REST),
            ratio=ratio,
            temp_air=temp_intake,
            pressure=parts.physical.pressure,
            recirculation=self.returning,
            lift=parts.m.minimum(lifted, 1.0),
        )
        self.recirculated = _OXYGEN - self.returning * (_OXYGEN - flue.o2)
        heat.step(
            dt,
            flue=flue,
            air_flow=air.mass_flow,
            temp_entering=self.temp_entering,
            ratio=self.ratio_entering,
            temp_room=self.temp_room,
        )
        flue.dilute(
            leak=leak,
            temp_leak=self.temp_room,
            ratio=self.ratio_room,
            temp_flue=heat.temp_flue,
            condensate=heat.condensate,
        )
        self.temp_flue = toward(parts.m, self.temp_flue, flue.vent_temp, dt, _HOUSING)
        parts.water.step(
            dt,
            condensate=heat.condensate,
            suction=parts.m.maximum(-draft.collector, 0.0),
            vent_flow=draft.vent_flow,
        )
        draft.collector_leak = parts.false_air + parts.water.leak_area
        carried = parts.m.maximum(heat.leaving_flow, 1e-3) * (HEAT_OF_AIR + HEAT_OF_VAPOUR * self.ratio_entering)
        self.temp_coil = heat.temp_leaving + self.coil_heat / carried
        parts.limit.step(dt, stream_flow=heat.stream_flow, temp_stream=heat.temp_stream, temp_primary=heat.temp_primary)

    def reset_rollout(self) -> None:
        """Close the roll-out switch again, as by hand."""
        self.rollout_closed = 1.0
