"""What trial runs of whole plants share."""

import pytest

from tests.drivers.simulate.plant_bench import Kept


@pytest.fixture(scope="session")
def kept() -> Kept:
    """Runs that more than one test looks at, each made once; nobody changes them."""
    return Kept()
