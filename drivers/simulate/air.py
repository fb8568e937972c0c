"""The air side: a blower against filter, coil and ducts, and the statics that a technician reads."""

from dataclasses import dataclass

from drivers.simulate.maths import Maths, Number
from drivers.simulate.moist_air import AIR_GAS, VAPOUR_VOLUMES

_ZERO = 273.15
_RUNNING = 0.1
"""Share of full speed above which a blower counts as running. [1]"""


@dataclass(frozen=True, slots=True)
class AirUnit:
    """Blower and air path of one unit, in this order: return duct, filter, blower, exchangers, coil, supply duct.

    An invented one: 0.57 m3/s (1200 cfm) against 118 Pa (0.47 in. w.c.) outside, filter and coil included; its blower
    falls by some 0.1 m3/s for 80 Pa more (common practice, no published source).
    """

    shutoff: Number = 318.0
    """Pressure of the blower without flow at full speed, over the density of the air. [J/kg]"""
    slope: Number = 523.0
    """Fall of that with the square of the volume flow. [1/m4]"""
    cabinet: Number = 156.0
    """Resistance of the exchangers and the cabinet. [1/m4]"""
    return_duct: Number = 65.0
    """[1/m4]"""
    filter_slow: Number = 26.0
    """Resistance of the filter that grows with the flow itself: laminar, in its fabric. [Pa s/m3]"""
    filter_fast: Number = 27.0
    """That with the square of the flow. [1/m4]"""
    coil: Number = 96.0
    """[1/m4]"""
    supply_duct: Number = 78.0
    """[1/m4]"""
    filter_seen: Number = 1.0
    """1 where the return tap lies between filter and blower and sees the filter's drop, 0 where before the filter."""
    coil_seen: Number = 1.0
    """1 where the supply tap lies before the coil and sees the coil's drop, 0 where behind it."""
    low_heat: Number = 0.72
    """What to command in low heat: share of full speed, or of `rated_flow`. [1]"""
    high_heat: Number = 0.97
    """In high heat. [1]"""
    cooling: Number = 1.0
    """With the heat pump or the cooling coil. [1]"""
    constant_flow: Number = 0.0
    """1 for a motor that holds its flow, 0 for one whose flow falls with static (permanent split capacitor)."""
    rated_flow: Number = 0.57
    """Return air that a motor of constant flow delivers at command 1. [m3/s]"""
    most_speed: Number = 1.15
    """Its highest speed, in shares of full speed. [1]"""
    most_power: Number = 150.0
    """Its most power in the air, pressure times volume flow. [W]"""
    lag: Number = 3.0
    """Time constant of the speed. [s]"""


class AirSide:
    """Blower, filter, coil and ducts; statics are gauge to the room, suction negative.

    Every drop is resistance times density times volume flow squared, the filter's laminar part apart; the speed lags,
    the air follows it at once. The motor's heat is left out. A missing baffle opens a way beside the exchangers: with
    a share b going by it, the resistance of the cabinet falls to `internal_factor` = (1 - b)**2.

    Source: fan laws and square law of turbulent flow, ASHRAE Handbook - Fundamentals 2017, chapter 21; that a blower
        motor's speed goes with the root of its voltage is common practice, no published source.
    """

    __slots__ = (
        "_holding",
        "_m",
        "blower_factor",
        "coil_factor",
        "compartment_pressure",
        "filter_factor",
        "flow",
        "mass_flow",
        "return_factor",
        "running",
        "speed",
        "static_return",
        "static_supply",
        "supply_factor",
        "unit",
    )

    def __init__(self, m: Maths, unit: AirUnit) -> None:
        self._m, self.unit = m, unit
        self._holding = m.somewhere(unit.constant_flow > 0.0)
        self.filter_factor: Number = 1.0
        """Resistance of the filter over that of a clean one. [1]"""
        self.coil_factor: Number = 1.0
        """[1]"""
        self.supply_factor: Number = 1.0
        """[1]"""
        self.return_factor: Number = 1.0
        """[1]"""
        self.blower_factor: Number = 1.0
        """Speed that the motor reaches over what it should: 0 for a dead one. [1]"""
        self.speed: Number = 0.0
        """Share of full speed. [1]"""
        self.flow: Number = 0.0
        """At the return. [m3/s]"""
        self.mass_flow: Number = 0.0
        """Dry air. [kg/s]"""
        self.static_return: Number = 0.0
        """[Pa]"""
        self.static_supply: Number = 0.0
        """[Pa]"""
        self.compartment_pressure: Number = 0.0
        """Around the exchangers, above the room. [Pa]"""
        self.running: Number = 0.0
        """0 or 1."""

    def step(
        self,
        dt: float,
        *,
        command: Number,
        voltage: Number,
        temp_entering: Number,
        temp_leaving: Number,
        pressure: Number,
        ratio: Number = 0.0,
        internal_factor: Number = 1.0,
    ) -> None:
        """Go on by `dt` [s]; temperatures before and behind the exchangers [degC], barometric pressure [Pa].

        command : share of full speed, or of `rated_flow`. [1]
        voltage : of the line, over the nominal one. [1]
        ratio : humidity of the air. [kg/kg]
        """
        m, unit = self._m, self.unit
        dry = pressure / (AIR_GAS * (1.0 + VAPOUR_VOLUMES * ratio))
        moist = dry * (1.0 + ratio)
        entering, leaving = temp_entering + _ZERO, temp_leaving + _ZERO
        # Resistances by the mass flow, which is the same everywhere: those of hot air are larger.
        before = unit.return_duct * self.return_factor * entering / moist
        slow = unit.filter_slow * self.filter_factor * entering / moist
        fast = unit.filter_fast * self.filter_factor * entering / moist
        inside = 0.5 * unit.cabinet * internal_factor * (entering + leaving) / moist
        coil = unit.coil * self.coil_factor * leaving / moist
        after = unit.supply_duct * self.supply_factor * leaving / moist
        supply = coil + after
        system = before + fast + inside + supply
        wheel = system + unit.slope * entering / moist
        head = unit.shutoff * moist / entering
        target = self.blower_factor * command * m.sqrt(m.maximum(voltage, 0.0))
        if self._holding:
            held = self._held(command, moist / entering, slow, system, wheel)
            powered = (voltage > 0.5) & (command > 0.0)
            target = m.where(unit.constant_flow > 0.0, m.where(powered, held, 0.0), target)
        self.speed = speed = target + (self.speed - target) * m.exp(-dt / unit.lag)
        mass = 2.0 * head * speed * speed / (slow + m.sqrt(slow * slow + 4.0 * wheel * head * speed * speed) + 1e-9)
        squared = mass * mass
        self.flow, self.mass_flow = mass * entering / moist, mass * dry / moist
        self.static_return = -before * squared - unit.filter_seen * (fast * squared + slow * mass)
        self.static_supply = (after + unit.coil_seen * coil) * squared
        self.compartment_pressure = (supply + 0.5 * inside) * squared
        self.running = m.where(speed > _RUNNING, 1.0, 0.0)

    def _held(self, command: Number, density: Number, slow: Number, system: Number, wheel: Number) -> Number:
        """Speed that holds the flow, as far as speed and power allow."""
        m, unit = self._m, self.unit
        mass = m.maximum(command * unit.rated_flow, 1e-6) * density
        wanted = m.sqrt((wheel * mass + slow) * mass / (unit.shutoff * density))
        power = (system * mass + slow) * mass * mass / density
        # Power goes with the cube of the speed where all drops are square.
        limited = wanted * m.minimum(unit.most_power / power, 1.0) ** (1 / 3)
        return self.blower_factor * m.minimum(limited, unit.most_speed)
