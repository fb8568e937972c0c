"""A day of a furnace with sixteen channels at ten readings a second, for what has to be fast."""

import numpy as np
from numpy.typing import NDArray

from analysis.model import Channel, Series
from analysis.points import measure_of
from analysis.units import INCH_OF_WATER

START = 1_768_372_280.0
NOISE = {"pressure": 0.5, "temperature": 0.03, "flame_current": 3e-8}


def day(hours: float = 24.0, rate: float = 10.0) -> list[Series]:
    """Calls of fifteen minutes every half hour, each channel of an instrument of its own."""
    count, random = round(hours * 3600 * rate), np.random.default_rng(1)
    at: NDArray[np.float64] = np.arange(count, dtype=np.float64) / rate

    def during(begin: float, end: float) -> NDArray[np.float64]:
        return ((at % 1800 > begin) & (at % 1800 < end)).astype(np.float64)

    run, gas, blower = during(0, 900), during(40, 885), during(70, 1000)
    inch = INCH_OF_WATER
    courses: dict[str, NDArray[np.float64]] = {
        "draft_burner_box": -0.15 * inch * run,
        "draft_transition": -0.5 * inch * run,
        "draft_collector": -1.25 * inch * run,
        "draft_vent": 0.35 * inch * run,
        "draft_switch": 1.1 * inch * run,
        "gas_inlet": (7 - 0.4 * gas) * inch,
        "gas_manifold": 3.5 * inch * gas,
        "static_return": -30 * blower,
        "static_supply": 50 * blower,
        "temp_return": 20 + 0 * gas,
        "temp_supply": 20 + 30 * gas,
        "flame_current": 3e-6 * gas,
        "call_heat": run,
        "switch_closed": run,
        "gas_valve": gas,
        "blower_on": blower,
    }
    series = []
    for number, (point, value) in enumerate(courses.items()):
        measure = measure_of(point)
        noisy: NDArray[np.float64] = value + NOISE.get(measure.name, 0.0) * random.standard_normal(count)
        time = np.round(START + at + 0.003 * number + 0.001 * random.integers(0, 5, count).astype(np.float64), 3)
        series.append(Series(Channel(point, f"meter {number}", measure.inside), time, noisy))
    return series
