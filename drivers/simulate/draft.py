"""Draft of one furnace in time: inducer, four resistances, openings, stack, wind, fuel, puff and condensate."""

from dataclasses import dataclass

from analysis.draft_network import GAS_CONSTANT, GRAVITY, MOLAR_MASS_AIR, MOLAR_MASS_FLUE
from drivers.simulate.draft_solve import leaky, tight
from drivers.simulate.maths import Maths, Number

_ZERO = 273.15


@dataclass(frozen=True, slots=True)
class DraftUnit:
    """Draft circuit of an invented unit; the default's hot taps in high stage: -0.15, -0.50, -1.25, 0.35 in. w.c."""

    intake: Number = 3.77e5
    """Resistance of intake pipe and terminal, value > 0. [1/m**4]"""
    primary: Number = 2.50e5
    """Resistance of burners and primary exchanger, value > 0. [1/m**4]"""
    secondary: Number = 1.36e6
    """Resistance of the secondary exchanger, value > 0. [1/m**4]"""
    vent: Number = 7.71e5
    """Resistance of vent pipe and terminal, value > 0. [1/m**4]"""
    shutoff: Number = 561.0
    """Fan pressure without flow at full speed, over the density of the gas. [J/kg]"""
    slope: Number = 1.76e6
    """Fall of that with the square of the volume flow, value > 0. [1/m**4]"""
    low_speed: Number = 0.75
    """Share of full speed that low stage asks for. [1]"""
    spin_up: Number = 1.7
    """Time constant of the speed on its way up, value > 0. [s]"""
    spin_down: Number = 3.0
    """The same on its way down, value > 0. [s]"""
    primary_volume: Number = 0.006
    """Gas in burners and primary exchanger, as in four tubes of 45 mm bore and 1 m length. [m3]"""
    height: Number = 0.0
    """Rise of the vent from the inducer to its terminal. [m]"""


class Draft:
    """Pressures and flows of the circuit; quasi-steady but for the inducer's speed and the gas stored in the primary.

    Knobs: the four factors on the resistances and `speed_factor` [1] (1; 0 is a dead inducer); `collector_leak`,
    `burner_box_leak` and `exchanger_hole`, flow areas as in `analysis.draft_network` [m2] (0).
    State: `speed`, share of full speed [1].
    Outputs: `burner_box`, `transition`, `collector`, `vent`, gauge to the room [Pa]; `intake_flow`, `flow` (through the
    primary), `vent_flow`, inwards `collector_leak_flow`, `burner_box_leak_flow` and `hole_flow`, and `puff`, what
    leaves the primary's volume because its gas became lighter [kg/s]. What enters a node leaves it:
    flow = intake_flow + burner_box_leak_flow + fuel,
    vent_flow = flow + puff + hole_flow + collector_leak_flow - condensate.
    """

    __slots__ = (
        "_density", "_dt", "_falling", "_rising", "burner_box", "burner_box_leak", "burner_box_leak_flow", "collector",
        "collector_leak", "collector_leak_flow", "exchanger_hole", "flow", "hole_flow", "intake_factor", "intake_flow",
        "maths", "primary_factor", "puff", "secondary_factor", "speed", "speed_factor", "transition", "unit", "vent",
        "vent_factor", "vent_flow",
    )  # fmt: skip

    def __init__(self, m: Maths, unit: DraftUnit) -> None:
        self.maths, self.unit = m, unit
        self.intake_factor: Number = 1.0
        self.primary_factor: Number = 1.0
        self.secondary_factor: Number = 1.0
        self.vent_factor: Number = 1.0
        self.speed_factor: Number = 1.0
        self.collector_leak: Number = 0.0
        self.burner_box_leak: Number = 0.0
        self.exchanger_hole: Number = 0.0
        self.speed: Number = 0.0
        self.burner_box: Number = 0.0
        self.transition: Number = 0.0
        self.collector: Number = 0.0
        self.vent: Number = 0.0
        self.intake_flow: Number = 0.0
        self.flow: Number = 0.0
        self.vent_flow: Number = 0.0
        self.collector_leak_flow: Number = 0.0
        self.burner_box_leak_flow: Number = 0.0
        self.hole_flow: Number = 0.0
        self.puff: Number = 0.0
        self._density: Number | None = None
        self._dt = 0.0
        self._rising: Number = 1.0
        self._falling: Number = 1.0

    def step(
        self,
        dt: float,
        *,
        command: Number,
        voltage: Number,
        temp_intake: Number,
        temp_primary: Number,
        temp_secondary: Number,
        temp_inducer: Number,
        pressure: Number,
        molar_mass: Number,
        temp_outdoor: Number,
        wind_intake: Number,
        wind_vent: Number,
        temp_room: Number,
        blower_pressure: Number,
        fuel: Number,
        condensate: Number,
        flooding: Number,
        bubbling: Number,
    ) -> None:
        """Advance by dt > 0 [s]; temperatures and pressures are those at its end, the flows given its means.

        command : wanted share of full speed, 0 is off. [1]
        voltage : at the inducer over nominal, value >= 0; the speed goes with its square root (shaded-pole and
            split-capacitor motors: common practice, no published source). [1]
        temp_intake, temp_primary, temp_secondary, temp_inducer : mean gas temperatures of the sections. [degC]
        pressure, molar_mass : barometric pressure [Pa]; of the gas behind the burners [kg/mol]. [-]
        temp_outdoor, temp_room : air beside the vent; air that leaks in. [degC]
        wind_intake, wind_vent : pressure at the terminals above the room's. [Pa]
        blower_pressure : blower compartment above the room. [Pa]
        fuel, condensate : enters at the burner box, leaves at the collector box. [kg/s]
        flooding : share of the secondary's passages under water, 0 <= value <= 0.95. [1]
        bubbling : what slugging water adds at the collector tap. [Pa]

        Source: square law of turbulent flow and fan laws, ASHRAE Handbook - Fundamentals 2017, chapters 3 and 21, as in
            `analysis.draft_network`.
        """
        m, unit = self.maths, self.unit
        if dt != self._dt:
            self._dt, self._rising, self._falling = dt, m.exp(-dt / unit.spin_up), m.exp(-dt / unit.spin_down)
        target, speed = command * m.sqrt(voltage) * self.speed_factor, self.speed
        self.speed = speed = target + (speed - target) * m.where(target > speed, self._rising, self._falling)

        thickness = pressure / GAS_CONSTANT
        air, gas = thickness * MOLAR_MASS_AIR, thickness * molar_mass
        primary, inducer = gas / (temp_primary + _ZERO), gas / (temp_inducer + _ZERO)
        before = primary if self._density is None else self._density
        self.puff = puff = unit.primary_volume * (before - primary) / dt
        self._density = primary
        passage = 1.0 - flooding
        vent = unit.vent * self.vent_factor
        resisting = (
            unit.intake * self.intake_factor * (temp_intake + _ZERO) / air,
            unit.primary * self.primary_factor / primary,
            unit.secondary * self.secondary_factor * (temp_secondary + _ZERO) / (gas * passage * passage),
            (vent + unit.slope) / inducer,
        )
        outside = wind_vent - GRAVITY * unit.height * (air / (temp_outdoor + _ZERO) - inducer)
        beyond = inducer * unit.shutoff * speed * speed - outside
        sources = (fuel, puff, condensate)

        box, hole, leak = self.burner_box_leak, self.exchanger_hole, self.collector_leak
        if m.somewhere(box + hole + leak > 0.0):
            room = air / (temp_room + _ZERO)
            admitting = (box * box * room, hole * hole * room, leak * leak * room)
            flows = (self.intake_flow, self.burner_box_leak_flow, self.hole_flow, self.collector_leak_flow)
            pressures = (wind_intake, blower_pressure, beyond)
            intake_flow, into_box, into_hole, into_collector, burner_box, transition, collector, last = leaky(
                m, resisting=resisting, admitting=admitting, sources=sources, pressures=pressures, flows=flows
            )
        else:
            driving = wind_intake + beyond
            intake_flow, first, second, third, last = tight(
                m, resisting=resisting, sources=sources, driving=driving, flow=self.intake_flow
            )
            into_box = into_hole = into_collector = 0.0
            burner_box = wind_intake - first
            transition = burner_box - second
            collector = transition - third
        self.intake_flow, self.burner_box_leak_flow = intake_flow, into_box
        self.hole_flow, self.collector_leak_flow = into_hole, into_collector
        self.flow = flow = intake_flow + into_box + fuel
        self.vent_flow = flow + puff + into_hole + into_collector - condensate
        self.burner_box, self.transition, self.collector = burner_box, transition, collector + bubbling
        self.vent = outside + last * (vent / (vent + unit.slope))


def draft_unit_from_taps(
    *,
    burner_box: Number,
    transition: Number,
    collector: Number,
    vent: Number,
    flow: Number,
    temp_intake: Number,
    temp_primary: Number,
    temp_secondary: Number,
    temp_inducer: Number,
    pressure: Number = 101325.0,
    molar_mass: Number = MOLAR_MASS_FLUE,
    fan_steepness: Number = 1 / 3,
    fuel: Number = 0.0,
    condensate: Number = 0.0,
    height: Number = 0.0,
    temp_outdoor: Number | None = None,
) -> DraftUnit:
    """Circuit without openings that shows given taps at full speed in a calm, in closed form.

    burner_box, transition, collector, vent : gauge to the room, falling from the first to the third. [Pa]
    flow : through the primary exchanger, fuel included, value > 0. [kg/s]
    temp_intake, temp_primary, temp_secondary, temp_inducer : mean gas temperatures of the sections. [degC]
    pressure, molar_mass : barometric pressure [Pa]; of the gas behind the burners [kg/mol]. [-]
    fan_steepness : share of its shut-off pressure that the fan has lost at this flow, 0 <= value < 1. [1]
    fuel, condensate : enters at the burner box, leaves at the collector box. [kg/s]
    height, temp_outdoor : rise of the vent [m]; air beside it, as the intake unless given [degC]. [-]
    returns : DraftUnit; what the taps do not tell as its defaults. [-]
    """
    thickness = pressure / GAS_CONSTANT
    air, gas = thickness * MOLAR_MASS_AIR, thickness * molar_mass
    inducer = gas / (temp_inducer + _ZERO)
    outdoor = air / ((temp_intake if temp_outdoor is None else temp_outdoor) + _ZERO)
    entering, leaving = flow - fuel, flow - condensate
    lift = vent - collector
    shutoff = lift / inducer / (1.0 - fan_steepness)
    return DraftUnit(
        intake=-burner_box * air / (temp_intake + _ZERO) / entering**2,
        primary=(burner_box - transition) * gas / (temp_primary + _ZERO) / flow**2,
        secondary=(transition - collector) * gas / (temp_secondary + _ZERO) / flow**2,
        vent=(vent + GRAVITY * height * (outdoor - inducer)) * inducer / leaving**2,
        shutoff=shutoff,
        slope=fan_steepness * shutoff * inducer**2 / leaving**2,
        height=height,
    )
