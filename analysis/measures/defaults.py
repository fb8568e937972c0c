"""What is taken of a meter where nobody says how good or how slow it is.

Common practice, no published source, but for thermocouple wire: ASTM E230/E230M, table of tolerances, standard grade,
type K, from public reproductions.
"""

from collections.abc import Mapping

from analysis.points import POINTS

_BY_MEASURE: Mapping[str, tuple[str, float]] = {
    "pressure": ("1 % + 0.01 inH2O, resolution 0.01 inH2O", 0.5),
    "temperature": ("greater of 2.2 degC or 0.75 %", 15.0),
    "humidity": ("3 %", 20.0),
    "flame_current": ("2 % + 0.1 uA, resolution 0.1 uA", 0.3),
    "voltage": ("1 % + 0.3 V", 0.3),
    "current": ("2 % + 0.05 A", 0.3),
    "speed": ("0.5 % + 5 rpm", 0.5),
    "fraction": ("0.3 vol %, resolution 0.1 vol %", 20.0),
    "trace": ("greater of 20 ppm or 5 %, resolution 1 ppm", 20.0),
    "contact": ("", 0.0),
}
_BY_POINT: Mapping[str, tuple[str, float]] = {
    "gas_inlet": ("1 % + 0.02 inH2O, resolution 0.01 inH2O", 0.5),
    "gas_manifold": ("1 % + 0.02 inH2O, resolution 0.01 inH2O", 0.5),
    "temp_flue": ("greater of 2.2 degC or 0.75 %", 30.0),
    "temp_outdoor": ("0.5 degC", 30.0),
    "temp_surface": ("0.5 degC", 30.0),
    "temp_room": ("0.5 degC", 30.0),
    "room_co": ("greater of 10 ppm or 10 %, resolution 1 ppm", 30.0),
}


def default_accuracy(point: str) -> str:
    """Accuracy statement of a usual meter of a point; empty for a contact."""
    return _default(point)[0]


def default_response_time(point: str) -> float:
    """Time constant of a usual meter of a point. [s]"""
    return _default(point)[1]


def _default(point: str) -> tuple[str, float]:
    return _BY_POINT.get(point) or _BY_MEASURE[POINTS[point].measure]
