"""Flue gas of a burner: what is in it, its heat at any temperature, and what false air makes of it."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analysis.fuels import (
    AIR,
    AIR_MASS,
    CONDENSATION,
    GAS_CONSTANT,
    LIQUID_HEAT,
    WATER_MASS,
    Fuel,
    enthalpy,
    stoichiometry,
)
from analysis.psychrometrics import saturation_pressure
from drivers.simulate.maths import Maths, Number

COLDEST, HOTTEST = -60.0, 2300.0
"""Temperatures between which heat is turned into temperature. [degC]"""
REST = 1e-7
"""Flow of air that is left where nothing flows, or flows backwards. [kg/s]"""

_OXYGEN = AIR["oxygen"]
_REFERENCE = 25.0
"""Where the enthalpy of the gases is zero. [degC]"""
_MOST_EXCESS = 20.0
_MOST_CO = 0.05
_USUAL_CO = 25e-6

# Heat capacity over gas constant, a1 + a2 T + ... + a5 T**4, 1000 to 3500 K: thermodynamic file of GRI-Mech 3.0, Smith
# and others (1999).
_HOT = {
    "carbon dioxide": (3.85746029, 4.41437026e-3, -2.21481404e-6, 5.23490188e-10, -4.72084164e-14),
    "water vapour": (3.03399249, 2.17691804e-3, -1.64072518e-7, -9.7041987e-11, 1.68200992e-14),
    "nitrogen": (2.92664, 1.4879768e-3, -5.68476e-7, 1.0097038e-10, -6.753351e-15),
    "oxygen": (3.28253784, 1.48308754e-3, -7.57966669e-7, 2.09470555e-10, -2.16717794e-14),
    "argon": (2.5, 0.0, 0.0, 0.0, 0.0),
}


class _Burnt(NamedTuple):
    """One kilogram of fuel, burnt with just enough air: a number, or an array for units with different fuels."""

    air: Number
    """Dry air. [kg]"""
    dry: Number
    """Dry products. [mol]"""
    carbon_dioxide: Number
    """[mol]"""
    water: Number
    """[mol]"""
    gross: Number
    """[J]"""
    net: Number
    """[J]"""
    products: tuple[Number, ...]
    """Enthalpy of the dry products, coefficients as of `_curve`. [J]"""


class Flue:
    """Wet flue gas of one burner, with what it holds above its dew point and what condenses below.

    Enthalpies are flows of heat [W], zero for gases and vapour at 25 degC, so that they also hold in prepurge, when
    there is no fuel to refer them to.

    Source: balance of the elements and of the energy; enthalpies as of `analysis.fuels`, above 700 degC GRI-Mech 3.0.
        Combustion is complete where there is air for it, without dissociation; carbon monoxide has no part in the heat.
    """

    __slots__ = (
        "_at_dew_point",
        "_curve",
        "_fuel",
        "_m",
        "_pressure",
        "_saturation",
        "_standard",
        "_steam",
        "_warming",
        "air_need",
        "co",
        "co2",
        "dew_point",
        "dry",
        "enthalpy_entering",
        "excess_air",
        "heat_released",
        "heating_value",
        "mass_flow",
        "molar_mass",
        "o2",
        "temp_adiabatic",
        "unburnt",
        "vent_co",
        "vent_co2",
        "vent_dew_point",
        "vent_o2",
        "vent_temp",
        "water",
    )

    excess_air: Number
    """Of the burner; 20 at most, and without fire. [1]"""
    o2: Number
    """Of the dry flue gas before false air, as the two following. [1]"""
    co2: Number
    """Without the air's own. [1]"""
    co: Number
    """[1]"""
    dew_point: Number
    """Below 0 degC over liquid water. [degC]"""
    molar_mass: Number
    """Before anything condenses, as the three following. [kg/mol]"""
    mass_flow: Number
    """[kg/s]"""
    dry: Number
    """Dry gas. [mol/s]"""
    water: Number
    """[mol/s]"""
    heat_released: Number
    """Higher heating value of what burns. [W]"""
    unburnt: Number
    """Fuel for which there is no air. [kg/s]"""
    enthalpy_entering: Number
    """[W]"""
    vent_o2: Number
    """Behind the exchangers, with false air, as all that follow; what a flue-gas analyser sees. [1]"""
    vent_co2: Number
    """[1]"""
    vent_co: Number
    """[1]"""
    vent_dew_point: Number
    """[degC]"""
    vent_temp: Number
    """[degC]"""

    def __init__(self, m: Maths, fuel: Fuel | Sequence[Fuel]) -> None:
        """`fuel`: one for all, or one for each unit."""
        self._m = m
        curves = {gas: _curve(gas) for gas in _HOT}
        self._fuel = _one_kilogram(fuel, curves) if isinstance(fuel, Fuel) else _many(fuel, curves)
        self.air_need: Number = self._fuel.air
        """Dry air that a mass of fuel needs. [kg/kg]"""
        self.heating_value: Number = self._fuel.gross
        """Higher. [J/kg]"""
        self._standard = tuple(
            sum(AIR[gas] * curves[gas][place] for gas in AIR) / AIR_MASS for place in range(len(curves["oxygen"]))
        )
        """Enthalpy of dry air. [J/kg]"""
        self._steam = curves["water vapour"]
        self._warming = self._steam[0] / 1000 - LIQUID_HEAT
        """Change of the heat of condensation with temperature. [J/mol/K]"""
        self._saturation = _saturation_curve()
        self.temp_adiabatic: Number = 20.0
        """Gas behind the flame, before it gives off heat. [degC]"""
        self.burn(burnt=0.0, air_flow=0.0, ratio=0.0, temp_air=20.0, pressure=101325.0)
        self.dilute(leak=0.0, temp_leak=20.0, ratio=0.0, temp_flue=20.0, condensate=0.0)

    def burn(
        self,
        *,
        burnt: Number,
        air_flow: Number,
        ratio: Number,
        temp_air: Number,
        pressure: Number,
        recirculation: Number = 0.0,
        lift: Number = 0.0,
    ) -> None:
        """Take the fuel that burns [kg/s] and what the intake brings [kg/s], `ratio` [kg/kg] at `temp_air` [degC].

        recirculation : share of the intake's mass that is flue gas of this same fire, dried to saturation at
            `temp_air`. [1]
        lift : 0 for flames that sit, 1 for flames that lift or are chilled. [1]
        """
        m, fuel = self._m, self._fuel
        least, most = m.minimum, m.maximum
        fresh = most((1.0 - recirculation) * air_flow, REST) / (1.0 + ratio)
        excess_air = least(fresh / (most(burnt, 1e-12) * fuel.air) - 1.0, _MOST_EXCESS)
        complete = least(burnt, fresh / fuel.air)
        excess = fresh - complete * fuel.air
        brought = fresh * ratio / WATER_MASS
        dry = complete * fuel.dry + excess / AIR_MASS
        water = complete * fuel.water + brought
        saturated = m.exp(self._saturation[0] - self._saturation[1] / (temp_air + self._saturation[2]))
        carried = least(water / dry, saturated / (pressure - saturated))
        mass = fresh + complete * (1.0 - fuel.water * WATER_MASS)
        again = recirculation * most(air_flow, REST) / (mass * (1.0 + carried * dry * WATER_MASS / mass))
        returned = again * dry * carried
        whole = 1.0 + again
        self.excess_air, self.unburnt = excess_air, burnt - complete
        self.o2, self.co2 = _OXYGEN * excess / (AIR_MASS * dry), complete * fuel.carbon_dioxide / dry
        self.co = self._carbon_monoxide(excess_air, recirculation, lift) * complete * fuel.dry / dry
        self.dry, self.water = dry, water = whole * dry, water + returned
        self.mass_flow = whole * mass + water * WATER_MASS
        self.molar_mass = self.mass_flow / (dry + water)
        self.heat_released = complete * fuel.gross
        self._pressure = pressure
        products, standard, steam = fuel.products, self._standard, self._steam
        burning, beside = whole * complete, whole * excess
        self._curve = tuple(
            burning * p + beside * a + water * v for p, a, v in zip(products, standard, steam, strict=True)
        )
        at = (temp_air - _REFERENCE) * 1e-3
        entering = complete * fuel.net + fresh * _at(standard, at) + (brought + returned) * _at(steam, at)
        self.enthalpy_entering = entering + again * (complete * _at(products, at) + excess * _at(standard, at))
        self.dew_point = self._dew_point(water, dry)
        self._at_dew_point = _at(self._curve, (self.dew_point - _REFERENCE) * 1e-3)
        temp = self.temp_adiabatic
        for _ in range(2):
            beyond = _at(self._curve, (temp - _REFERENCE) * 1e-3) - self.enthalpy_entering
            temp = least(most(temp - beyond / self.capacity(temp), COLDEST), HOTTEST)
        self.temp_adiabatic = temp

    def enthalpy(self, temp: Number) -> Number:
        """Heat that the gas and the water condensed out of it carry at a temperature [degC], in equilibrium. [W]"""
        m, (a, b, c) = self._m, self._saturation
        saturated = m.exp(a - b / (m.minimum(temp, self.dew_point) + c))
        liquid = m.maximum(self.water - self.dry * saturated / (self._pressure - saturated), 0.0)
        above = temp - _REFERENCE
        x = above * 1e-3
        k0, k1, k2, k3, k4 = self._curve
        return x * (k0 + x * (k1 + x * (k2 + x * (k3 + x * k4)))) - liquid * (CONDENSATION + self._warming * above)

    def capacity(self, temp: Number) -> Number:
        """Heat capacity of the flow with all water vapour. [W/K]"""
        x = (temp - _REFERENCE) * 1e-3
        k0, k1, k2, k3, k4 = self._curve
        return (k0 + x * (2.0 * k1 + x * (3.0 * k2 + x * (4.0 * k3 + x * 5.0 * k4)))) * 1e-3

    def liquid(self, temp: Number) -> Number:
        """Water that has condensed at a temperature [degC]. [kg/s]"""
        m, (a, b, c) = self._m, self._saturation
        saturated = m.exp(a - b / (m.minimum(temp, self.dew_point) + c))
        return m.maximum(self.water - self.dry * saturated / (self._pressure - saturated), 0.0) * WATER_MASS

    def temperature(self, enthalpy: Number, start: Number) -> Number:
        """Temperature at which `enthalpy` [W] is reached: Newton's steps from `start` [degC], the last one. [degC]"""
        m, (a, b, c), (k0, k1, k2, k3, k4) = self._m, self._saturation, self._curve
        least, most, pressure, dry = m.minimum, m.maximum, self._pressure, self.dry
        # Above the dew point and below the curve is smooth; across, its kink would throw Newton's steps about.
        wet = enthalpy < self._at_dew_point
        low, high = m.where(wet, COLDEST, self.dew_point), m.where(wet, self.dew_point, HOTTEST)
        share = m.where(wet, 1.0, 0.0)
        temp = least(most(start, low), high)
        for _ in range(3):
            above = temp - _REFERENCE
            x = above * 1e-3
            hotter = least(temp, self.dew_point) + c
            saturated = m.exp(a - b / hotter)
            room = pressure - saturated
            liquid = most(self.water - dry * saturated / room, 0.0)
            latent = CONDENSATION + self._warming * above
            beyond = x * (k0 + x * (k1 + x * (k2 + x * (k3 + x * k4)))) - liquid * latent - enthalpy
            slope = (k0 + x * (2.0 * k1 + x * (3.0 * k2 + x * (4.0 * k3 + x * 5.0 * k4)))) * 1e-3
            falling = latent * dry * pressure * saturated * b / (hotter * room) / (hotter * room)
            temp = least(most(temp - beyond / (slope + share * (falling - liquid * self._warming)), low), high)
        return temp

    def dilute(self, *, leak: Number, temp_leak: Number, ratio: Number, temp_flue: Number, condensate: Number) -> None:
        """Mix false air [kg/s] into the flue gas behind the exchangers, out of which `condensate` [kg/s] has dropped.

        Fog that forms where humid flue gas meets cold air is left out.
        """
        m = self._m
        dry_leak = m.maximum(leak, 0.0) / (1.0 + ratio) / AIR_MASS
        share = self.dry / (self.dry + dry_leak)
        self.vent_o2 = _OXYGEN + (self.o2 - _OXYGEN) * share
        self.vent_co2, self.vent_co = self.co2 * share, self.co * share
        vapour = m.maximum(self.water - condensate / WATER_MASS, 0.0)
        hot = self.capacity(temp_flue) - self._steam[0] * 1e-3 * (self.water - vapour)
        added = dry_leak * ratio * AIR_MASS / WATER_MASS
        cold = (dry_leak * AIR_MASS * self._standard[0] + added * self._steam[0]) * 1e-3
        self.vent_temp = (hot * temp_flue + cold * temp_leak) / (hot + cold)
        self.vent_dew_point = self._dew_point(vapour + added, self.dry + dry_leak)

    def _dew_point(self, water: Number, dry: Number) -> Number:
        a, b, c = self._saturation
        return b / (a - self._m.log(self._m.maximum(self._pressure * water / (dry + water), 0.1))) - c

    def _carbon_monoxide(self, excess_air: Number, recirculation: Number, lift: Number) -> Number:
        """Carbon monoxide, air-free: steep below 20 % excess air, and where flames lift or are chilled. [1]

        Common practice, no published source: some 25 ppm in the usual window, twice that at 20 % excess air, 0.2 %
        without excess air; 300 ppm with a tenth of flue gas in the air.
        """
        m = self._m
        rich = m.exp(m.minimum((0.2 - excess_air) / 0.045, 8.0))
        lean = m.exp(m.minimum((excess_air - 1.3) / 0.12, 3.5))
        chilled = m.exp(m.minimum(recirculation / 0.04, 8.0)) - 1.0
        return m.minimum(_USUAL_CO * (1.0 + rich + lean + chilled + 40.0 * lift * lift), _MOST_CO)


def _at(curve: Sequence[Number], x: Number) -> Number:
    k0, k1, k2, k3, k4 = curve
    return x * (k0 + x * (k1 + x * (k2 + x * (k3 + x * k4))))


def _curve(gas: str) -> tuple[float, ...]:
    """Coefficients of the enthalpy [J/mol] as a polynomial of (temp - 25 degC) / 1000, from -40 to 2100 degC.

    Within 0.3 % from 0 to 2000 degC, which is 3 J/mol from 0 to 60 degC.
    """
    cool, hot = np.linspace(-40.0, 700.0, 150), np.linspace(710.0, 2100.0, 140)
    hottest = enthalpy(gas, 700.0) + _rise(gas, hot + 273.15) - _rise(gas, np.array(973.15))
    temp = np.concatenate([cool, hot])
    values = np.concatenate([enthalpy(gas, cool), hottest])
    x = (temp - _REFERENCE) * 1e-3
    weight = 1.0 / (np.abs(x) + 0.01)
    powers = np.stack([x**power for power in range(1, 6)], axis=1)
    return tuple(np.linalg.lstsq(powers * weight[:, None], values * weight, rcond=None)[0].tolist())


def _rise(gas: str, kelvin: NDArray[np.float64]) -> NDArray[np.float64]:
    terms = [a * kelvin ** (power + 1) / (power + 1) for power, a in enumerate(_HOT[gas])]
    return np.asarray(GAS_CONSTANT * np.sum(terms, axis=0))


def _saturation_curve() -> tuple[float, float, float]:
    """The a, b, c of saturation pressure exp(a - b / (temp + c)) [Pa, degC], within 0.1 % from 0 to 80 degC."""
    temp = np.linspace(0.0, 80.0, 161)
    logarithm = np.log(saturation_pressure(temp, over="water"))
    terms = np.stack([temp, np.ones_like(temp), -logarithm], axis=1)
    a, product, c = np.linalg.lstsq(terms, logarithm * temp, rcond=None)[0].tolist()
    return a, a * c - product, c


def _one_kilogram(fuel: Fuel, curves: dict[str, tuple[float, ...]]) -> _Burnt:
    burnt = stoichiometry(fuel)
    amounts = {gas: burnt.air * share for gas, share in AIR.items()}
    amounts["carbon dioxide"] += burnt.carbon_dioxide
    amounts["nitrogen"] += burnt.nitrogen
    amounts["oxygen"] -= burnt.oxygen
    products = tuple(
        sum(amount * curves[gas][place] for gas, amount in amounts.items()) / burnt.mass for place in range(5)
    )
    return _Burnt(
        air=burnt.air * AIR_MASS / burnt.mass,
        dry=burnt.dry / burnt.mass,
        carbon_dioxide=burnt.carbon_dioxide / burnt.mass,
        water=burnt.water / burnt.mass,
        gross=burnt.gross / burnt.mass,
        net=burnt.net / burnt.mass,
        products=products,
    )


def _many(fuels: Sequence[Fuel], curves: dict[str, tuple[float, ...]]) -> _Burnt:
    each = [_one_kilogram(fuel, curves) for fuel in fuels]

    def column(name: str) -> Number:
        return np.array([getattr(one, name) for one in each])

    products = tuple(np.array([one.products[place] for one in each]) for place in range(5))
    return _Burnt(**{name: column(name) for name in _Burnt._fields[:-1]}, products=products)
