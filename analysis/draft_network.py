"""The draft circuit as a network: pressures at the taps from resistances, inducer and state."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.ranges import bounded

GRAVITY = 9.80665
"""Standard acceleration of free fall. [m/s2]"""
MOLAR_MASS_AIR = 0.028966
"""Dry air; ASHRAE Handbook - Fundamentals 2017, chapter 1. [kg/mol]"""
MOLAR_MASS_FLUE = 0.0281
"""Wet combustion gas of natural gas with the usual excess air, rounded. [kg/mol]"""
GAS_CONSTANT = 8.314462618
"""Molar gas constant, CODATA 2018. [J/mol/K]"""
_ZERO = 273.15
_STEPS = 200
"""Newton steps after which the search ends; 10 to 15 are usual, 60 where next to nothing flows."""
_CLOSE = 1e-12
"""Movement of the flows that ends the search, over the largest of them."""
_LEAST = 1e-30
"""Flow below which a section counts as at rest. [kg/s]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Resistances:
    """What the gas has to pass, and the openings that should not be there.

    intake : (...) intake pipe and its terminal, value >= 0. [1/m**4]
    primary : (...) burners and primary heat exchanger, value >= 0. [1/m**4]
    secondary : (...) secondary heat exchanger, value >= 0. [1/m**4]
    vent : (...) vent pipe and its terminal, value >= 0. [1/m**4]
    collector_leak : (...) flow area from the room into the collector box, 0 <= value <= 1; default 0, tight. [m2]
    burner_box_leak : (...) flow area from the room into the burner box, 0 <= value <= 1; default 0, tight. [m2]
    exchanger_hole : (...) flow area from the blower compartment into the exchanger at the transition,
        0 <= value <= 1; default 0, none. [m2]
    """

    intake: ArrayLike
    primary: ArrayLike
    secondary: ArrayLike
    vent: ArrayLike
    collector_leak: ArrayLike = 0.0
    burner_box_leak: ArrayLike = 0.0
    exchanger_hole: ArrayLike = 0.0


@dataclass(frozen=True, slots=True)
class Inducer:
    """The fan curve at full speed, and how fast it turns.

    shutoff : (...) pressure without flow, over the density of the gas, value >= 0. [J/kg]
    slope : (...) fall of that with the square of the volume flow, value >= 0. [1/m**4]
    speed_ratio : (...) share of full speed, 0 <= value <= 2; default 1. [1]
    """

    shutoff: ArrayLike
    slope: ArrayLike
    speed_ratio: ArrayLike = 1.0


@dataclass(frozen=True, slots=True)
class State:
    """Temperatures and surrounding pressures: what changes between a cold start, a hot run and a windy night.

    temp_intake : (...) mean of the air in the intake, -60 <= value <= 60. [degC]
    temp_primary : (...) mean of the gas in the primary exchanger, -60 <= value <= 1500. [degC]
    temp_secondary : (...) mean of the gas in the secondary exchanger, -60 <= value <= 600. [degC]
    temp_inducer : (...) gas in inducer and vent, -60 <= value <= 400. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000; default sea level. [Pa]
    molar_mass : (...) gas behind the burners, 0.026 <= value <= 0.031; default combustion gas; 0.028966 in prepurge,
        when it is air. [kg/mol]
    temp_outdoor : (...) outdoor air beside the vent, -60 <= value <= 60; default None, as the intake. [degC]
    height : (...) rise of the vent from the inducer to its terminal, -100 <= value <= 100; default 0. [m]
    wind_intake : (...) wind pressure at the intake terminal, -1000 <= value <= 1000; default 0. [Pa]
    wind_vent : (...) wind pressure at the vent terminal, -1000 <= value <= 1000; default 0. [Pa]
    room : (...) pressure in the room above that outdoors, -1000 <= value <= 1000; default 0. [Pa]
    temp_room : (...) air that leaks in, from the room or the blower compartment, -60 <= value <= 60; default 20. [degC]
    blower_pressure : (...) blower compartment above the room where the hole is, -2500 <= value <= 2500; default 0,
        blower off. [Pa]
    """

    temp_intake: ArrayLike
    temp_primary: ArrayLike
    temp_secondary: ArrayLike
    temp_inducer: ArrayLike
    pressure: ArrayLike = 101325.0
    molar_mass: ArrayLike = MOLAR_MASS_FLUE
    temp_outdoor: ArrayLike | None = None
    height: ArrayLike = 0.0
    wind_intake: ArrayLike = 0.0
    wind_vent: ArrayLike = 0.0
    room: ArrayLike = 0.0
    temp_room: ArrayLike = 20.0
    blower_pressure: ArrayLike = 0.0


@dataclass(frozen=True, slots=True)
class Taps:
    """What a manometer open to the room reads at each tap, and what flows; suction is negative.

    burner_box : (...) tap A, gauge to the room. [Pa]
    transition : (...) tap X, between the two heat exchangers, gauge to the room. [Pa]
    collector : (...) tap B, inlet of the inducer, gauge to the room. [Pa]
    vent : (...) tap C, outlet of the inducer, gauge to the room. [Pa]
    flow : (...) combustion flow, through the primary exchanger; negative where it runs backwards. [kg/s]
    vent_flow : (...) through inducer and vent. [kg/s]
    """

    burner_box: Floats
    transition: Floats
    collector: Floats
    vent: Floats
    flow: Floats
    vent_flow: Floats


class Surroundings(NamedTuple):
    """What a state means to the network: densities [kg/m3], and pressures at its ends, gauge to the room [Pa]."""

    intake: Floats
    primary: Floats
    secondary: Floats
    inducer: Floats
    room: Floats
    at_intake: Floats
    at_vent: Floats
    blower: Floats


def taps(resistances: Resistances, inducer: Inducer, state: State) -> Taps:
    """Pressures at the four taps and the flows of a draft circuit.

    resistances : Resistances, see there. [-]
    inducer : Inducer, see there. [-]
    state : State, see there. [-]
    returns : Taps, see there; NaN in all fields where an input is NaN or out of range, or nothing resists. [-]

    Valid: turbulent flow in every section; the temperatures are given, they do not follow from the flow, and air that
        leaks in does not change them. A hole never shows itself for certain: the step of the taps at blower start is
        near a manometer's resolution, and no step never clears an exchanger (possible breach: make safe, confirm by
        inspection and analyser).
    Method: pressure drop resistance * flow**2 / density in each section, leaks by the same law with 1/area**2 as
        resistance, fan density * (shutoff * speed_ratio**2 - slope * volume flow**2). Without openings in closed form,
        with them by Newton's method for all flows at once, which has one solution because every branch passes more
        where more pressure drives it. The circuit is computed against outdoors at its own height; wind, stack and the
        pressure of the room are added at its ends.
    Source: square law of turbulent flow and fan laws, ASHRAE Handbook - Fundamentals 2017, chapters 3 and 21.
    """
    surroundings = surroundings_of(state)
    names = [field.name for field in fields(resistances)]
    given = [bounded(getattr(resistances, name), 0.0) for name in names[:4]]
    given += [bounded(getattr(resistances, name), 0.0, 1.0) for name in names[4:]]
    fan = [bounded(inducer.shutoff, 0.0), bounded(inducer.slope, 0.0), bounded(inducer.speed_ratio, 0.0, 2.0)]
    arrays = np.broadcast_arrays(*given, *fan, *surroundings)
    usable = np.all(np.isfinite(arrays), axis=0)
    flat = [array[usable] for array in arrays]

    def shaped(values: Floats) -> Floats:
        whole = np.full(usable.shape, np.nan)
        whole[usable] = values
        return whole[()]

    return Taps(*(shaped(values) for values in _Circuit(flat).solve()))


def stack_pressure(
    height: ArrayLike, temp_outdoor: ArrayLike, temp_flue: ArrayLike, pressure: ArrayLike
) -> NDArray[np.float64]:
    """Draft that a rising vent makes by itself; positive where it aids the inducer.

    height : (...) rise of the vent to its terminal, -100 <= value <= 100. [m]
    temp_outdoor : (...) outdoor air, -60 <= value <= 60. [degC]
    temp_flue : (...) mean of the flue gas in the vent, -60 <= value <= 400. [degC]
    pressure : (...) barometric pressure, 20000 <= value <= 120000. [Pa]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [Pa]

    Valid: ideal gases; flue gas of 28.1 g/mol against dry air.
    Method: gravity times height times the difference of the densities.
    Source: hydrostatics; ASHRAE Handbook - HVAC Systems and Equipment, chapter "Chimney, vent, and fireplace systems",
        theoretical draft (from memory).
    """
    outside = _density(bounded(temp_outdoor, -60.0, 60.0), pressure, MOLAR_MASS_AIR)
    flue = _density(bounded(temp_flue, -60.0, 400.0), pressure, MOLAR_MASS_FLUE)
    return (GRAVITY * bounded(height, -100.0, 100.0) * (outside - flue))[()]


def wind_pressure(velocity: ArrayLike, density: ArrayLike) -> NDArray[np.float64]:
    """Pressure of a wind that is brought to rest: the most that it can do at a terminal.

    velocity : (...) speed of the wind, 0 <= value <= 100. [m/s]
    density : (...) outdoor air, 0 < value <= 3. [kg/m3]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [Pa]

    Valid: upper bound; a real terminal sees between about -1 and +1 times this.
    Method: half the density times the square of the velocity.
    Source: Bernoulli's equation, ASHRAE Handbook - Fundamentals 2017, chapter 24, velocity pressure of the wind.
    """
    return (0.5 * bounded(density, 0.0, 3.0, above=0.0) * bounded(velocity, 0.0, 100.0) ** 2)[()]


def common_factor(speed_ratio: ArrayLike, density_ratio: ArrayLike) -> NDArray[np.float64]:
    """What all taps are multiplied by when only the inducer's speed or the density of everything changes.

    speed_ratio : (...) speed over that before, 0 <= value <= 2. [1]
    density_ratio : (...) density over that before, the same in every section, 0 < value <= 2. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: unchanged resistances and unchanged temperatures of the sections to one another; no stack, no wind. Two
        stages compare in the same way: high over low is the square of their speed ratio.
    Method: speed squared times density; the mass flow changes by speed times density.
    Source: fan laws, ASHRAE Handbook - HVAC Systems and Equipment 2016, chapter 21.
    """
    return (bounded(speed_ratio, 0.0, 2.0) ** 2 * bounded(density_ratio, 0.0, 2.0, above=0.0))[()]


def surroundings_of(state: State) -> Surroundings:
    """Densities in each section and pressures at the ends of the circuit, gauge to the room."""
    barometric = bounded(state.pressure, 20000.0, 120000.0)
    mass = bounded(state.molar_mass, 0.026, 0.031)
    intake = bounded(state.temp_intake, -60.0, 60.0)
    outdoor = intake if state.temp_outdoor is None else bounded(state.temp_outdoor, -60.0, 60.0)
    inducer = _density(bounded(state.temp_inducer, -60.0, 400.0), barometric, mass)
    room = bounded(state.room, -1000.0, 1000.0)
    aiding = GRAVITY * bounded(state.height, -100.0, 100.0) * (_density(outdoor, barometric, MOLAR_MASS_AIR) - inducer)
    return Surroundings(
        intake=_density(intake, barometric, MOLAR_MASS_AIR),
        primary=_density(bounded(state.temp_primary, -60.0, 1500.0), barometric, mass),
        secondary=_density(bounded(state.temp_secondary, -60.0, 600.0), barometric, mass),
        inducer=inducer,
        room=_density(bounded(state.temp_room, -60.0, 60.0), barometric, MOLAR_MASS_AIR),
        at_intake=bounded(state.wind_intake, -1000.0, 1000.0) - room,
        at_vent=bounded(state.wind_vent, -1000.0, 1000.0) - aiding - room,
        blower=bounded(state.blower_pressure, -2500.0, 2500.0),
    )


def _density(temp: Floats, pressure: ArrayLike, molar_mass: ArrayLike) -> Floats:
    barometric = bounded(pressure, 20000.0, 120000.0)
    return barometric * np.asarray(molar_mass, np.float64) / (GAS_CONSTANT * (temp + _ZERO))


def _flow(drop: Floats) -> Floats:
    return np.sign(drop) * np.sqrt(np.abs(drop))


def _drop(flow: Floats) -> Floats:
    return flow * np.abs(flow)


class _Circuit:
    """One circuit for each element of its (flat) arrays, all of them finite."""

    def __init__(self, arrays: Sequence[Floats]) -> None:
        self.arrays = arrays
        given, (shutoff, slope, speed), here = arrays[:7], arrays[7:10], Surroundings(*arrays[10:])
        vent = given[3] / here.inducer
        self.vent = vent
        self.series = [given[0] / here.intake, given[1] / here.primary, given[2] / here.secondary]
        self.series.append(vent + slope / here.inducer)
        self.openings = [given[place] * np.sqrt(here.room) for place in (5, 6, 4)]
        """At A, X and B: flow over the root of the pressure difference."""
        self.beyond = [np.zeros_like(vent), here.blower, np.zeros_like(vent)]
        """Pressures on the other side of the openings."""
        self.head = here.inducer * shutoff * speed**2
        self.start, self.end = here.at_intake, here.at_vent
        self.resisting: Floats = np.sum(self.series, axis=0)

    def solve(self) -> list[Floats]:
        """Pressures at A, X, B and C, combustion and vent flow; NaN where nothing resists."""
        found = self.tight()
        leaking = (self.resisting > 0) & (np.sum(self.openings, axis=0) > 0)
        if leaking.any():
            part = _Circuit([array[leaking] for array in self.arrays]).leaky()
            for whole, values in zip(found, part, strict=True):
                whole[leaking] = values
        return found

    def tight(self) -> list[Floats]:
        """As `solve`, without the openings: one flow through everything."""
        resisted = self.resisting > 0
        driving = np.where(resisted, self.start - self.end + self.head, np.nan)
        flow = _flow(driving / np.where(resisted, self.resisting, 1.0))
        box = self.start - self.series[0] * _drop(flow)
        transition = box - self.series[1] * _drop(flow)
        collector = transition - self.series[2] * _drop(flow)
        return [box, transition, collector, self.end + self.vent * _drop(flow), flow, flow.copy()]

    def leaky(self) -> list[Floats]:
        """As `solve`, with the openings.

        Newton's step for the square law is halfway to the flows of the linear circuit whose resistances are the square
        law's at the flows of the step before. That circuit is a ladder: everything before a node acts like one source
        behind one resistance, so that it is solved along the flow and back without differences of large numbers.
        """
        driving = np.abs(self.start) + np.abs(self.end) + self.head + np.abs(self.beyond[1])
        flows = np.array([_flow(driving / self.resisting)] * 4)
        leaks = np.array([opening * _flow(driving) for opening in self.openings])
        for _ in range(_STEPS):
            resistances = [k * np.maximum(np.abs(m), _LEAST) for k, m in zip(self.series, flows, strict=True)]
            admitting = [k**2 / np.maximum(np.abs(m), _LEAST) for k, m in zip(self.openings, leaks, strict=True)]
            ladder, source, inner = [], self.start, resistances[0]
            for opposite, admits, following in zip(self.beyond, admitting, resistances[1:], strict=True):
                shared = 1 + inner * admits
                ladder.append((source - opposite, inner, admits, shared))
                source, inner = opposite + (source - opposite) / shared, inner / shared + following
            onward = (source + self.head - self.end) / inner
            through, entering, nodes = [onward], list[Floats](), list[Floats]()
            for opposite, (higher, inner, admits, shared) in zip(self.beyond[::-1], ladder[::-1], strict=True):
                nodes.insert(0, opposite + (higher - inner * onward) / shared)
                entering.insert(0, (inner * onward - higher) * admits / shared)
                onward = (onward + higher * admits) / shared
                through.insert(0, onward)
            old, new = np.array([*flows, *leaks]), np.array([*through, *entering])
            moved, largest = np.abs(new - old).max(axis=0), np.abs(new).max(axis=0)
            flows, leaks = np.split(0.5 * (old + new), [4])
            if np.all(moved <= _CLOSE * largest):
                break
        fan_and_vent = np.where(self.series[3] > 0, self.series[3], 1.0)
        vent = self.end + self.vent / fan_and_vent * (nodes[2] + self.head - self.end)
        return [*nodes, vent, flows[1], flows[3]]
