"""The default unit on propane."""

from drivers.simulate.fire import FireUnit
from drivers.simulate.gas import GasUnit
from drivers.simulate.tank import TankUnit

PROPANE_TRAIN = GasUnit(
    fuel="propane", inputs=(23_446.0, 16_426.0), manifold=(2491.0, 1220.0), line_resistance=5.7e8, tank=TankUnit()
)
"""The same inputs from a propane tank: manifold 10 and 4.9 in. w.c."""
PROPANE_BURNERS = FireUnit(fuel="propane", rated_flow=4.6591e-4)
"""The same input of propane."""
