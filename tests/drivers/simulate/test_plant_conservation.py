"""Nothing is made and nothing is lost: mass, energy and water of the whole plant over a run, sound and with faults.

The yardstick is the balance itself: what entered is what left and what stayed, by the parts' own flows and contents.
"""

from dataclasses import replace

import pytest

from drivers.simulate.causes import Cause
from drivers.simulate.heatpump import HeatPumpUnit
from drivers.simulate.humidifier import HumidifierUnit
from drivers.simulate.plant import Plant
from drivers.simulate.thermostat import ThermostatUnit
from tests.drivers.simulate.plant_accounts import Accounts
from tests.drivers.simulate.plant_bench import Kept, typical

SECONDS = 1500.0
CALLS = ((10.0, 300.0, 0), (320.0, 520.0, 1), (520.0, 1240.0, 2))
"""Heat pump, then light-off, stage-up and stop."""
ON_ITS_WAY = 0.75
"""Air between the intake and the flame, over its flow: mixing in the burner box and a step. [s]"""
VISITS = {
    "sound": ("bypass", ()),
    "humidifier in the plenum": ("plenum", ()),
    "leak and hole": ("bypass", (Cause("collector_leak", 0.25), Cause("heat_exchanger_breach", 0.2))),
    "drain blocked": ("plenum", (Cause("drain_blocked", 0.95), Cause("manifold_high", 0.25))),
}
FIRED = dict.fromkeys(VISITS, 700.0) | {"drain blocked": 400.0}
"""Least time with the valve open. [s]"""


@pytest.fixture(params=VISITS)
def books(request: pytest.FixtureRequest, kept: Kept) -> Accounts:
    kind, causes = VISITS[request.param]

    def keep() -> Accounts:
        unit = replace(
            typical(),
            heat_pump=HeatPumpUnit(),
            humidifier=HumidifierUnit(kind=kind),
            thermostat=ThermostatUnit(dual_fuel=True, humidity_setting=0.5),
        )
        return Accounts(Plant(unit, causes, seed=3, calls=CALLS), SECONDS)

    found: Accounts = kept(("books", request.param), keep)
    burnt = found.totals["gas heat"] / found.plant.unit.physical.input[1]
    assert burnt > FIRED[request.param], "a run in which nothing happens proves nothing"
    return found


@pytest.mark.parametrize("node", ["burner box", "collector box", "gas", "intake", "primary", "secondary"])
def test_what_enters_a_node_leaves_it_in_every_step(books: Accounts, node: str) -> None:
    """Mass at the nodes and in the fire; between them the square law holds with the flows that the nodes have."""
    assert 0 <= books.worst[node] < 1e-6


def test_air_and_gas_come_out_as_flue_gas(books: Accounts) -> None:
    """A blower that drives air out through a hole and the burners makes no flue gas of it."""
    totals, draft = books.totals, books.plant.parts.draft
    backwards = totals["air out of the burners"]
    breach = any(cause.cause == "heat_exchanger_breach" for cause in books.plant.causes)
    assert (backwards > 1e-3 * totals["air to the burners"]) == breach
    came = totals["air to the burners"] + totals["gas"] + (backwards if breach else 0.0)
    on_the_way = ON_ITS_WAY * draft.intake_flow + books.growth("gathered")
    gone = totals["flue gas"] + totals["swept"] + totals["without air"] + on_the_way
    assert gone == pytest.approx(came, rel=1e-4 if breach else 1e-6)


def test_heat_of_the_gas_is_released_or_left_unburnt(books: Accounts) -> None:
    totals, value = books.totals, books.plant.parts.flue.heating_value
    unburnt = totals["swept"] + totals["without air"] + books.growth("gathered")
    assert totals["heat_released"] + unburnt * value == pytest.approx(totals["gas heat"], rel=1e-6)
    assert 0 < unburnt < 0.02 * totals["gas"]


def test_heat_released_is_in_air_flue_jacket_and_metal(books: Accounts) -> None:
    totals = books.totals
    gone = totals["heat_to_air"] + totals["flue_loss"] + totals["jacket_loss"] + books.growth("metal")
    assert gone == pytest.approx(totals["heat_released"], rel=1e-3)
    assert books.worst["flue heat"] < 1e-3, "what the flue gas lost is in its temperature and condensate"


def test_heat_of_exchanger_and_coil_is_in_rooms_ducts_and_vapour(books: Accounts) -> None:
    totals = books.totals
    gone = totals["house heat supply"] + totals["duct loss"] + books.growth("ducts") + totals["vaporising"]
    assert gone == pytest.approx(totals["heat_to_air"] + totals["coil"], rel=1e-3)


def test_heat_of_the_house(books: Accounts) -> None:
    came = sum(books.totals[f"house heat {name}"] for name in ("supply", "gains", "loss", "infiltration", "latent"))
    assert came == pytest.approx(books.growth("house heat"), rel=1e-3)


def test_water_of_the_flue_gas_is_condensate_or_leaves_by_the_vent(books: Accounts) -> None:
    """The vapour in the vent by its dew point, with the saturation pressure of `analysis.psychrometrics`."""
    assert books.worst["flue water"] < 2e-3


def test_condensate_drains_or_stands(books: Accounts) -> None:
    totals = books.totals
    assert totals["condensate"] > 0.1
    assert totals["drained"] + books.growth("condensate") == pytest.approx(totals["condensate"], rel=1e-3)


def test_water_of_the_humidifier_is_in_the_house(books: Accounts) -> None:
    totals = books.totals
    used = totals["evaporation"] + totals["humidifier drained"] + books.growth("pad")
    assert used == pytest.approx(totals["water used"], rel=1e-3)
    assert totals["evaporation"] > 0.3
    assert totals["house water supply"] == pytest.approx(totals["evaporation"], rel=1e-3)


def test_water_of_the_house(books: Accounts) -> None:
    came = sum(books.totals[f"house water {name}"] for name in ("supply", "infiltration", "sources", "run_off"))
    assert came == pytest.approx(books.growth("house water"), rel=1e-3)


def test_the_visits_are_what_their_names_say(books: Accounts) -> None:
    """Openings let air in and a blocked drain fills, so that the balances above are not those of a sound unit."""
    draft = books.plant.parts.draft
    causes = {cause.cause for cause in books.plant.causes}
    assert (draft.exchanger_hole > 0) == ("heat_exchanger_breach" in causes)
    assert (draft.collector_leak > 0) == ("collector_leak" in causes)
    assert (books.highest > 0) == ("drain_blocked" in causes)
