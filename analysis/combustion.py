"""Combustion of gaseous fuels: what an analysis of the flue gas tells; and all other functions of the subject."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.combustion_fuel import (
    air_need,
    heating_value,
    heating_value_mass,
    heating_value_volume,
    specific_gravity,
    ultimate_carbon_dioxide,
    water_made,
)
from analysis.combustion_losses import (
    condensate,
    condensed_share,
    efficiency,
    flue_dew_point,
    flue_mass,
    sensible_loss,
    sensible_loss_short,
    sensible_loss_short_from_carbon_dioxide,
)
from analysis.fuels import AIR, FUELS, METHANE, NATURAL_GAS, PROPANE, ROUNDING, Fuel, stoichiometry
from analysis.ranges import bounded

__all__ = [
    "CO_LIMIT",
    "CO_STOP",
    "FUELS",
    "METHANE",
    "NATURAL_GAS",
    "PROPANE",
    "Fuel",
    "air_need",
    "carbon_dioxide",
    "co_air_free",
    "co_air_free_from_carbon_dioxide",
    "condensate",
    "condensed_share",
    "dilution",
    "efficiency",
    "excess_air",
    "excess_air_from_carbon_dioxide",
    "excess_air_short",
    "flue_dew_point",
    "flue_mass",
    "heating_value",
    "heating_value_mass",
    "heating_value_volume",
    "oxygen",
    "sensible_loss",
    "sensible_loss_short",
    "sensible_loss_short_from_carbon_dioxide",
    "specific_gravity",
    "ultimate_carbon_dioxide",
    "water_made",
]

CO_LIMIT = 400e-6
"""Of carbon monoxide in the flue gas, air-free: the furnace standard's limit, as published summaries give it. [1]"""
CO_STOP = (
    "Stop firing: above 400 ppm air-free, the furnace standard's limit. Gas off, ventilate, measure the room's carbon"
    " monoxide, and leave the unit off until the cause is found."
)
"""What a technician reads first above that limit."""

MOST_OXYGEN = 0.16
"""Above this much oxygen a reading is mostly air, and what is worked back from it mostly error. [1]"""

_OXYGEN = AIR["oxygen"]
_SHORT_OXYGEN = 0.209


def excess_air(o2: ArrayLike, fuel: Fuel | str) -> NDArray[np.float64]:
    """Air beyond what the fuel needs, over what it needs, from the oxygen of the flue gas.

    o2 : (...) mole fraction of oxygen in the dry flue gas, 0 <= value < 0.2095. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : (...) same shape, 0.4 means 40 %; NaN where an input is NaN or out of range. [1]

    Valid: complete combustion, flue gas not diluted after the burner. An error of 0.1 % of oxygen is one of 0.4 % of
        excess air at no oxygen, 1 % at 7 %, 5 % at 15 %, 22 % at 18 % and 900 % at 20.5 %. Oxygen of 0 may also be a
        fire short of air: look at the carbon monoxide.
    Method: balance of the oxygen, exact: o2 / (0.2095 - o2) * dry products / air, both without excess air.
    Source: balance of the elements; dry air after the U.S. Standard Atmosphere 1976, table 3.
    """
    share = bounded(o2, 0.0, below=_OXYGEN)
    burnt = stoichiometry(fuel)
    return (share / (_OXYGEN - share) * (burnt.dry / burnt.air))[()]


def excess_air_short(o2: ArrayLike) -> NDArray[np.float64]:
    """Excess air by the short form of pocket cards, which is too high; `excess_air` is exact.

    o2 : (...) mole fraction of oxygen in the dry flue gas, 0 <= value < 0.209. [1]
    returns : (...) same shape; NaN where an input is NaN or out of range. [1]

    Valid: to compare with a card only. Up to 15 % oxygen it overstates by a factor of 1.11 to 1.12 for natural gas
        and of 1.09 to 1.10 for propane; 40 % by `excess_air` is 45 % and 44 % here.
    Method: o2 / (0.209 - o2), as if the dry flue gas had the volume of the air.
    Source: common practice, no published source; its error from the exact form.
    """
    share = bounded(o2, 0.0, below=_SHORT_OXYGEN)
    return (share / (_SHORT_OXYGEN - share))[()]


def excess_air_from_carbon_dioxide(co2: ArrayLike, fuel: Fuel | str) -> NDArray[np.float64]:
    """Excess air from the carbon dioxide of the flue gas.

    co2 : (...) mole fraction of carbon dioxide in the dry flue gas, 0 < value <= 1, not above the ultimate. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : (...) same shape; NaN where an input is NaN or out of range, above the ultimate carbon dioxide of the
        fuel, or the fuel holds no carbon. [1]

    Valid: complete combustion, analyser zeroed in fresh air. It rests on the composition of the fuel more than
        `excess_air` does, and cannot tell too little air from too much.
    Method: (ultimate / co2 - 1) * dry products / air, both without excess air.
    Source: balance of the elements; dry air after the U.S. Standard Atmosphere 1976, table 3.
    """
    burnt = stoichiometry(fuel)
    return ((_dilution_from(co2, fuel) - 1) * (burnt.dry / burnt.air))[()]


def oxygen(excess_air: ArrayLike, fuel: Fuel | str) -> NDArray[np.float64]:
    """Oxygen that the dry flue gas holds at an excess of air.

    excess_air : (...) excess air, value >= 0, 0.4 means 40 %. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : (...) mole fraction of the dry flue gas, same shape; NaN where an input is NaN or out of range. [1]

    Valid: complete combustion, flue gas not diluted after the burner.
    Method: balance of the oxygen, exact; the inverse of `excess_air`.
    Source: balance of the elements; dry air after the U.S. Standard Atmosphere 1976, table 3.
    """
    excess = bounded(excess_air, 0.0)
    burnt = stoichiometry(fuel)
    return (_OXYGEN * excess / (burnt.dry / burnt.air + excess))[()]


def carbon_dioxide(o2: ArrayLike, fuel: Fuel | str) -> NDArray[np.float64]:
    """Carbon dioxide that belongs to an oxygen reading of the dry flue gas.

    o2 : (...) mole fraction of oxygen in the dry flue gas, 0 <= value <= 0.2095. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : (...) mole fraction of the dry flue gas, same shape; NaN where an input is NaN or out of range. [1]

    Valid: complete combustion. The air's own 0.04 % is left out: an analyser zeroed in fresh air reads this within
        0.005 %, one zeroed in nitrogen up to 0.045 % more.
    Method: ultimate carbon dioxide * (0.2095 - o2) / 0.2095, exact.
    Source: balance of the elements; dry air after the U.S. Standard Atmosphere 1976, table 3.
    """
    share = bounded(o2, 0.0, _OXYGEN)
    return (ultimate_carbon_dioxide(fuel) * (_OXYGEN - share) / _OXYGEN)[()]


def co_air_free(co: ArrayLike, o2: ArrayLike) -> NDArray[np.float64]:
    """Carbon monoxide of the flue gas as it would be without excess air.

    co : (...) mole fraction of carbon monoxide in the dry flue gas, 0 <= value <= 0.1. [1]
    o2 : (...) mole fraction of oxygen in the same sample, 0 <= value <= 0.16. [1]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range. [1]

    Valid: a steady, undiluted sample of the dry flue gas. Refused above 16 % oxygen, where it is mostly error (design
        limit, common practice, no published source); within minutes of light-off or shut-down the two sensors do not
        keep step. A low figure clears neither the room nor the heat exchanger: measure the room's own carbon
        monoxide, watch it through the run and inspect; carbon monoxide that rises is a reason to stop at any level.
    Method: co * 0.209 / (0.209 - o2).
    Source: common practice, no published source; limits for it stand in the standards of the appliances.
    """
    share = bounded(o2, 0.0, MOST_OXYGEN)
    return (bounded(co, 0.0, 0.1) * _SHORT_OXYGEN / (_SHORT_OXYGEN - share))[()]


def co_air_free_from_carbon_dioxide(co: ArrayLike, co2: ArrayLike, fuel: Fuel | str) -> NDArray[np.float64]:
    """Carbon monoxide of the flue gas as it would be without excess air, from the carbon dioxide.

    co : (...) mole fraction of carbon monoxide in the dry flue gas, 0 <= value <= 0.1. [1]
    co2 : (...) mole fraction of carbon dioxide in the same sample, 0 < value <= 1, not above the ultimate. [1]
    fuel : `natural gas`, `methane` or `propane`, or a Fuel of any composition. [-]
    returns : (...) broadcast shape; NaN where an input is NaN or out of range, above the ultimate carbon dioxide of the
        fuel, or so low that the sample holds more than 16 % oxygen. [1]

    Valid: as `co_air_free`, and so its cautions: a low figure clears neither the room nor the heat exchanger.
    Method: co * ultimate carbon dioxide / co2.
    Source: common practice, no published source; limits for it stand in the standards of the appliances.
    """
    undiluted = _dilution_from(co2, fuel)
    return (bounded(co, 0.0, 0.1) * bounded(undiluted, high=_OXYGEN / (_OXYGEN - MOST_OXYGEN)))[()]


def dilution(o2: ArrayLike, o2_before: ArrayLike) -> NDArray[np.float64]:
    """Share of a sample of flue gas that is air mixed in since an earlier sample.

    o2 : (...) mole fraction of oxygen in the dry flue gas now, or further on, 0 <= value <= 0.2095. [1]
    o2_before : (...) the same before, 0 <= value <= 0.16. [1]
    returns : (...) broadcast shape; negative where the oxygen fell; NaN where an input is NaN or out of range. [1]

    Valid: the fire itself unchanged. A rise of oxygen when the blower starts is a reason to make safe and have the
        heat exchanger inspected; no rise does not clear it.
    Method: balance of the oxygen of two dry gases: (o2 - o2_before) / (0.2095 - o2_before).
    Source: balance of the elements; dry air after the U.S. Standard Atmosphere 1976, table 3.
    """
    first = bounded(o2_before, 0.0, MOST_OXYGEN)
    return ((bounded(o2, 0.0, _OXYGEN) - first) / (_OXYGEN - first))[()]


def _dilution_from(co2: ArrayLike, fuel: Fuel | str) -> NDArray[np.float64]:
    """Volume of the dry flue gas over that without excess air."""
    ultimate = float(ultimate_carbon_dioxide(fuel))
    return np.maximum(ultimate / bounded(co2, above=0.0, high=ultimate * (1 + ROUNDING)), 1.0)
