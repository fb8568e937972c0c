"""The parts of one furnace, or of many, and all that a fault can turn on them."""

import random

from analysis.fuels import fuel_named
from drivers.simulate.air import AirSide
from drivers.simulate.design import Physical
from drivers.simulate.draft import Draft
from drivers.simulate.ducts import Ducts
from drivers.simulate.electric import Electric
from drivers.simulate.fire import Fire
from drivers.simulate.flue import Flue
from drivers.simulate.gas import GasSupply
from drivers.simulate.heat import Exchanger
from drivers.simulate.limit import Limit
from drivers.simulate.maths import Maths, Number
from drivers.simulate.switches import PressureSwitch
from drivers.simulate.water import Water


class Parts:
    """What a furnace is made of; the attributes that are set here are knobs of the whole, beside those of each part."""

    def __init__(
        self, m: Maths, physical: Physical, *, temp: Number = 20.0, chance: random.Random | None = None
    ) -> None:
        """All at `temp` [degC] and at rest; `chance` is where the noise of a cracked insulator comes from."""
        self.m, self.physical = m, physical
        self.draft = Draft(m, physical.draft)
        self.water = Water(m, physical.water)
        self.switch = PressureSwitch(m, physical.switch)
        self.switch_high = PressureSwitch(m, physical.switch_high)
        self.gas = GasSupply(m, physical.gas)
        self.fire = Fire(m, physical.fire, chance)
        self.flue = Flue(m, fuel_named(physical.design.fuel))
        self.flue.dilute(leak=0.0, temp_leak=temp, ratio=0.0, temp_flue=temp, condensate=0.0)
        self.heat = Exchanger(m, physical.heat, temp)
        self.air = AirSide(m, physical.air)
        self.ducts = Ducts(m, physical.ducts, temp)
        self.limit = Limit(m, physical.limit, temp)
        self.electric = Electric(m, physical.electric)
        draft = physical.draft
        self.leak_area: Number = 1.0 / m.sqrt(draft.intake + draft.primary + draft.secondary + draft.vent)
        """Flow area that would pass as much as the whole circuit does. [m2]"""
        self.neutral()

    def neutral(self) -> None:
        """Every knob as in a unit without a fault."""
        draft, air, fire, electric = self.draft, self.air, self.fire, self.electric
        draft.intake_factor = draft.primary_factor = draft.secondary_factor = draft.vent_factor = 1.0
        draft.burner_box_leak = draft.exchanger_hole = 0.0
        draft.speed_factor = self.water.drain_factor = 1.0
        self.water.trap_dry = 0.0
        for switch in (self.switch, self.switch_high):
            switch.hose_leak = switch.reference_leak = switch.plug = 0.0
            switch.closing_shift = switch.stuck_closed = switch.contact_open = 0.0
        self.gas.supply_factor = self.gas.manifold_factor = 1.0
        self.gas.orifice_factor = self.gas.valve_opens = 1.0
        self.gas.regulator_freeze = self.gas.valve_leak = 0.0
        fire.igniter_factor = fire.rod_factor = fire.ground_factor = 1.0
        fire.carry_over = fire.insulator = 0.0
        self.heat.fouling, self.heat.bypass = 1.0, 0.0
        air.filter_factor = air.coil_factor = air.supply_factor = air.return_factor = air.blower_factor = 1.0
        self.limit.limit_shift = self.limit.limit_open = 0.0
        electric.transformer_factor = electric.line_factor = electric.power = 1.0
        electric.neutral_ground = electric.polarity = 0.0
        self.slug: Number = 0.0
        """Water in the hose of the pressure switches, beside what the collector box lends. [Pa]"""
        self.false_air: Number = 0.0
        """Flow area from the room into the collector box, beside that of a dry trap. [m2]"""
        self.air_internal: Number = 1.0
        """Resistance of the cabinet over that with all baffles. [1]"""
        self.disturbance: Number = 0.0
        """How much the flames are lifted by air from the blower (breach) or by fouled ports. [1]"""
        self.fouled: Number = 0.0
        """How much the flames are disturbed with or without the blower. [1]"""
        self.recirculation: Number = 0.0
        """Share of flue gas in the combustion air. [1]"""
        self.rollout_shift: Number = 0.0
        """Added to the temperature at which the roll-out switch opens. [K]"""
        self.rollout_open: Number = 0.0
        """1 with its contact or a wire broken."""
        self.overrun: Number = 0.0
        """Share of the time for which the humidifier is called whatever the humidity is. [1]"""
        self.lockout_shift: Number = 0.0
        """How far both outdoor lockouts are set towards no heat at all. [K]"""
        self.heat_pump_capacity: Number = 1.0
        """Share of the heat pump's capacity that is left. [1]"""
        self.call_lost: Number = 0.0
        """Share of the time in which the call does not arrive. [1]"""
        self.board: Number = 0.0
        """How bad the control board is. [1]"""
        self.power_lost: Number = 0.0
        """1 where breaker, door, fuse or float switch has taken the control's supply."""
        self.gusts: Number = 1.0
        """Wind over that of the weather. [1]"""
