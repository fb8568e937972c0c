"""Bookkeeping beside a plant: what entered, left and stayed, added up from what is seen of its parts at each step."""

from collections import Counter
from dataclasses import dataclass

from analysis.draft_network import GAS_CONSTANT, MOLAR_MASS_AIR
from analysis.psychrometrics import saturation_pressure
from drivers.simulate.moist_air import VAPORISING, VAPOUR_HEAT, WATER_HEAT
from drivers.simulate.plant import SHORT_STEPS, STEP, Plant

FLOWING = 2e-3
"""Flow from which the square law is looked at. [kg/s]"""
BURNING = 5000.0
"""Heat from which the flue gas is looked at. [W]"""
OXYGEN, WATER = 0.2095, 0.01801528
"""Mole fraction in dry air; molar mass. [1, kg/mol]"""
ZERO = 273.15


@dataclass(frozen=True)
class Gas:
    """What the draft of a step works with, as it stands before the step."""

    temp_intake: float
    temp_secondary: float
    molar_mass: float
    condensate: float
    gathered: float
    flooding: float
    slosh: float

    @classmethod
    def of(cls, plant: Plant) -> "Gas":
        parts = plant.parts
        heat, flue, water = parts.heat, parts.flue, parts.water
        return cls(
            *(plant.furnace.temp_intake, heat.temp_secondary_gas, flue.molar_mass),
            *(heat.condensate, parts.fire.unburnt, water.flooding, water.slosh),
        )


class Accounts:
    """Runs a plant step by step.

    totals : by name, over the run. [kg, J]
    worst : largest relative deviation of what must hold in every step. [1]
    """

    def __init__(self, plant: Plant, seconds: float) -> None:
        self.plant = plant
        self.totals: Counter[str] = Counter()
        self.worst: dict[str, float] = {}
        self.highest = plant.parts.water.level
        """Level of the water in the collector box. [m]"""
        self._before = self._stored()
        for count in range(1, round(seconds / STEP) + 1):
            gas = Gas.of(plant)
            plant.advance(STEP)
            self._short_step(gas)
            if count % SHORT_STEPS == 0:
                self._long_step(STEP * SHORT_STEPS)

    def growth(self, name: str) -> float:
        """Of what is stored, since the beginning. [kg, J]"""
        return self._stored()[name] - self._before[name]

    def _stored(self) -> dict[str, float]:
        plant, parts = self.plant, self.plant.parts
        return {
            "gathered": parts.fire.unburnt,
            "metal": parts.heat.stored,
            "condensate": parts.water.stored,
            "pad": plant.humidifier.pad_water,
            "ducts": parts.ducts.stored,
            "house water": plant.house.stored_water(),
            "house heat": plant.house.stored_heat(),
        }

    def _short_step(self, before: Gas) -> None:
        parts, totals = self.plant.parts, self.totals
        draft, fire, gas = parts.draft, parts.fire, parts.gas
        into_box = draft.intake_flow + draft.burner_box_leak_flow
        through = draft.flow + draft.puff + draft.hole_flow
        leaving = through + draft.collector_leak_flow - before.condensate
        self._note("burner box", into_box + gas.flow - draft.flow, draft.flow)
        self._note("collector box", leaving - draft.vent_flow, draft.vent_flow)
        came, gone = gas.flow * STEP, (fire.burnt + fire.swept) * STEP + fire.unburnt - before.gathered
        self._note("gas", came - gone, came + before.gathered)
        if min(draft.intake_flow, draft.vent_flow) > FLOWING:
            self._square_law(before, through)
        totals["gas"] += came
        totals["gas heat"] += gas.heat * STEP
        totals["swept"] += fire.swept * STEP
        totals["air to the burners"] += into_box * STEP
        totals["air out of the burners"] += max(-into_box, 0.0) * STEP

    def _square_law(self, before: Gas, through: float) -> None:
        """Drop of each section over resistance times flow squared over density."""
        plant, parts = self.plant, self.plant.parts
        draft, unit = parts.draft, parts.physical.draft
        kelvin = parts.physical.pressure / GAS_CONSTANT
        gas, passage = kelvin * before.molar_mass, 1.0 - before.flooding
        collector = draft.collector - before.slosh * plant.furnace.waves
        hot = plant.furnace.temp_primary_gas + ZERO
        sections = {
            "intake": (
                plant.furnace.wind_intake - draft.burner_box,
                unit.intake * draft.intake_factor * draft.intake_flow**2,
                kelvin * MOLAR_MASS_AIR / (before.temp_intake + ZERO),
            ),
            "primary": (
                draft.burner_box - draft.transition,
                unit.primary * draft.primary_factor * draft.flow**2,
                gas / hot,
            ),
            "secondary": (
                draft.transition - collector,
                unit.secondary * draft.secondary_factor / passage**2 * through**2,
                gas / (before.temp_secondary + ZERO),
            ),
        }
        for name, (drop, resisting, density) in sections.items():
            self._note(name, drop - resisting / density, draft.vent - draft.collector)

    def _long_step(self, dt: float) -> None:
        plant, parts, totals = self.plant, self.plant.parts, self.totals
        heat, flue = parts.heat, parts.flue
        self.highest = max(self.highest, parts.water.level)
        humidifier, house = plant.humidifier, plant.house
        # Vapour that ends in the room takes its heat from the supply air.
        vapour = VAPORISING + VAPOUR_HEAT * house.temp_room - WATER_HEAT * humidifier.unit.temp_water
        found = {name: getattr(heat, name) for name in "heat_released heat_to_air flue_loss jacket_loss".split()}
        found |= {"condensate": heat.condensate, "drained": parts.water.drained, "duct loss": parts.ducts.loss}
        found |= {"flue gas": flue.mass_flow, "without air": flue.unburnt, "coil": plant.furnace.coil_heat}
        found |= {"evaporation": humidifier.evaporation, "vaporising": humidifier.evaporation * vapour}
        found |= {"water used": humidifier.water_use, "humidifier drained": humidifier.drained}
        for name in ("supply", "gains", "loss", "infiltration", "latent"):
            found[f"house heat {name}"] = getattr(house, f"heat_{name}")
        for name in ("supply", "infiltration", "sources", "run_off"):
            found[f"house water {name}"] = getattr(house, f"water_{name}")
        for name, rate in found.items():
            totals[name] += rate * dt
        if heat.heat_released > BURNING:
            gone = flue.enthalpy_entering - flue.enthalpy(heat.temp_flue)
            self._note("flue heat", gone - (heat.heat_released - heat.flue_loss), heat.heat_released)
            self._note("flue water", self._vapour_in_vent() + heat.condensate / WATER - flue.water, flue.water)

    def _vapour_in_vent(self) -> float:
        """By the dew point there, less what false air brought. [mol/s]"""
        parts = self.plant.parts
        flue, pressure = parts.flue, parts.physical.pressure
        false_air = flue.dry * (flue.vent_o2 - flue.o2) / (OXYGEN - flue.vent_o2)
        saturated = float(saturation_pressure(flue.vent_dew_point, over="water"))
        brought = self.plant.furnace.ratio_room * MOLAR_MASS_AIR / WATER
        return float((flue.dry + false_air) * saturated / (pressure - saturated) - false_air * brought)

    def _note(self, name: str, deviation: float, of: float) -> None:
        share = abs(deviation) / (abs(of) + 1e-9)
        self.worst[name] = max(self.worst.get(name, 0.0), share)
