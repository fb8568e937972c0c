"""Gas from the supply to the burners: line, the appliance's valve and regulator, orifices."""

import math
from dataclasses import dataclass

from analysis.combustion_fuel import BASE_TEMP, heating_value_mass, heating_value_volume, specific_gravity
from analysis.gas import orifice_flow
from analysis.ranges import bounded
from drivers.simulate.maths import Maths, Number
from drivers.simulate.tank import Tank, TankUnit

SEA_LEVEL = 101_325.0
"""Barometer at which inputs are rated. [Pa]"""
REFERENCES = ("room", "burner_box")
"""What the appliance's regulator holds its setting against."""

_BORE = 0.002
"""Of the orifice from which the flow for each area is taken. [m]"""
_BESIDE = 0.05
"""How far the low input may lie beside what the orifices give: plates are read to 5 %. [1]"""
_PASSAGE = 0.02
"""Smallest share of a passage, so that its resistance stays a number. [1]"""


@dataclass(frozen=True, slots=True)
class GasUnit:
    """Gas train of one invented unit; where nothing else is said: common practice, no published source."""

    fuel: str = "natural gas"
    """Name in `analysis.fuels.FUELS`."""
    inputs: tuple[Number, Number] = (23_446.0, 16_394.0)
    """Rated at sea level by the higher heating value, high stage and low: 80 and 56 kBtu/h. [W]"""
    manifold: tuple[Number, Number] = (871.8, 423.5)
    """Setting of the regulator, high stage and low: 3.5 and 1.7 in. w.c. [Pa]"""
    reference: str = "room"
    """`room` or `burner_box`: what that setting is held against."""
    rated_burner_box: tuple[Number, Number] = (-37.4, -21.0)
    """Burner box at the rated inputs, suction negative. [Pa]"""
    supply_pressure: Number = 1743.6
    """Of natural gas with no flow: 7 in. w.c.; a tank has regulators instead. [Pa]"""
    line_resistance: Number = 6e8
    """From there to the appliance's inlet: 0.5 in. w.c. at the high input. [Pa s2/kg2]"""
    valve_drop: Number = 249.1
    """What valve and regulator take wide open at the high input: 1 in. w.c. [Pa]"""
    opening_lag: float = 0.3
    """Of the manifold pressure on its way up. [s]"""
    closing_lag: float = 0.1
    """The same on its way down. [s]"""
    tank: TankUnit | None = None
    """Propane tank and its regulators; none for a gas main."""


class GasSupply:
    """Line, regulator, two-stage valve and orifices. ValueError for a unit that contradicts itself.

    What a flow takes from the pressure is linear in the square of the flow, and so is what drives it through the
    orifices: the largest drive that the supply can keep up has a closed form, and the regulator takes the smaller of it
    and its setting. Source: Bernoulli's equation, as in `analysis.gas.orifice_flow`, from which the area is derived.
    """

    __slots__ = (
        "_conductance",
        "_dt",
        "_fall",
        "_from_room",
        "_m",
        "_rise",
        "_tank",
        "_unit",
        "_valve",
        "drive",
        "flow",
        "heat",
        "heating_value",
        "inlet",
        "manifold",
        "manifold_factor",
        "orifice_area",
        "orifice_factor",
        "regulator_freeze",
        "supply_factor",
        "temp_liquid",
        "valve_leak",
        "valve_opens",
    )

    def __init__(self, m: Maths, unit: GasUnit) -> None:
        if unit.reference not in REFERENCES:
            raise ValueError(f"unknown manifold reference '{unit.reference}'; it is {' or '.join(REFERENCES)}")
        self._m, self._unit = m, unit
        self._from_room = 1.0 if unit.reference == "room" else 0.0
        rated, low = (
            unit.manifold[stage] - self._from_room * unit.rated_burner_box[stage] for stage in range(len(unit.manifold))
        )
        self._check_low(low / rated)
        self.heating_value = float(heating_value_mass(unit.fuel))
        """Higher heating value. [J/kg]"""
        gravity = specific_gravity(unit.fuel)
        each = orifice_flow(_BORE, bounded(rated), gravity) / (math.pi / 4 * _BORE**2)
        volume = unit.inputs[0] / float(heating_value_volume(unit.fuel, "gross", BASE_TEMP, SEA_LEVEL))
        area = volume / each
        self.orifice_area: Number = area if area.ndim else float(area)
        """Of all burner orifices together, at a discharge coefficient of 0.90. [m2]"""
        rated_flow = unit.inputs[0] / self.heating_value
        self._conductance = rated_flow**2 / (rated * SEA_LEVEL)
        self._valve = unit.valve_drop / rated_flow**2
        self._tank = None if unit.tank is None else Tank(m, unit.tank, rated_flow)
        self._dt = 0.0
        self._rise = self._fall = (1.0, 1.0)
        self.supply_factor: Number = 1.0
        """Knob: share of the passage of a main's line that is left; of a tank the share of the charge,
        and of the passage of line and regulators. [1]"""
        self.regulator_freeze: Number = 0.0
        """Knob: share of the passage of a tank's regulators that ice has closed; a gas main has none. [1]"""
        self.manifold_factor: Number = 1.0
        """Knob: multiplies the setting. [1]"""
        self.orifice_factor: Number = 1.0
        """Knob: area of the orifices over the right one. [1]"""
        self.valve_opens: Number = 1.0
        """Knob: share of the manifold pressure that an open valve lets through; 0 stays shut. [1]"""
        self.valve_leak: Number = 0.0
        """Knob: share of the full flow that passes when shut. [1]"""
        self.drive: Number = 0.0 * self._conductance
        """State: manifold against burner box, at the end of the step. [Pa]"""
        self.inlet: Number = 0.0 * self.drive
        """Output: at the appliance's inlet, gauge to the room. [Pa]"""
        self.manifold: Number = 0.0 * self.drive
        """Output: gauge to the room whatever the regulator's reference. [Pa]"""
        self.flow: Number = 0.0 * self.drive
        """Output: mean of the step. [kg/s]"""
        self.heat: Number = 0.0 * self.drive
        """Output: higher heating value of the flow. [W]"""
        self.temp_liquid: Number = math.nan if unit.tank is None else unit.tank.temp
        """Output: of the liquid in the tank; NaN without one. [degC]"""

    @property
    def tank(self) -> Tank | None:
        """The tank, for its liquid and what it takes from outside."""
        return self._tank

    def step(
        self, dt: float, *, valve: Number, high: Number, burner_box: Number, temp_outdoor: Number, pressure: Number
    ) -> None:
        """Advance by `dt` [s]: valve powered and high stage wanted (0 or 1), burner box [Pa], barometer [Pa]."""
        if dt != self._dt:
            self._prepare(dt)
        unit, tank, where = self._unit, self._tank, self._m.where
        factor = self.supply_factor
        passage = where(factor > _PASSAGE, factor, _PASSAGE)
        wear = 1.0 / (passage * passage)
        orifice = self.orifice_factor
        conductance = self._conductance * pressure * orifice * orifice
        line = unit.line_resistance * wear
        if tank is None:
            source = unit.supply_pressure
            best = (source - burner_box) / (1.0 + (line + self._valve) * conductance)
        else:
            tank.freeze = self.regulator_freeze
            best = tank.drive(burner_box, conductance, line + self._valve, wear, pressure)
        best = where(best > 0.0, best, 0.0)
        wanted = self.manifold_factor * where(high, *unit.manifold) - self._from_room * burner_box
        opened, leak = valve * self.valve_opens, self.valve_leak
        target = (opened + (1.0 - opened) * leak * leak) * where(wanted < best, wanted, best)
        gap = self.drive - target
        left, mean = where(gap < 0.0, self._rise[0], self._fall[0]), where(gap < 0.0, self._rise[1], self._fall[1])
        self.drive = drive = target + gap * left
        squared = conductance * (target + gap * mean)
        self.flow = flow = self._m.sqrt(squared)
        if tank is not None:
            source = tank.outlet(squared, wear, pressure)
            tank.step(dt, flow=flow, temp_outdoor=temp_outdoor, charge=factor)
            self.temp_liquid = tank.temp
        inlet, least = source - line * squared, where(burner_box < 0.0, burner_box, 0.0)
        self.inlet = where(inlet > least, inlet, least)
        self.manifold = drive + burner_box
        self.heat = flow * self.heating_value

    def _prepare(self, dt: float) -> None:
        """What is left of a gap at the end of a step, and in its mean."""
        self._dt = dt
        rise, fall = math.exp(-dt / self._unit.opening_lag), math.exp(-dt / self._unit.closing_lag)
        self._rise = (rise, (1.0 - rise) * self._unit.opening_lag / dt)
        self._fall = (fall, (1.0 - fall) * self._unit.closing_lag / dt)

    def _check_low(self, share: Number) -> None:
        high, low = self._unit.inputs
        given = high * self._m.sqrt(share)
        if self._m.somewhere(abs(low / given - 1.0) > _BESIDE):
            raise ValueError(
                f"a low input of {low} W does not go with its manifold pressure: orifices that give {high} W "
                f"at {self._unit.manifold[0]} Pa give {given} W at {self._unit.manifold[1]} Pa; change one of them"
            )
