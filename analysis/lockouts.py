"""The outdoor lockouts of a dual-fuel system: bands where nothing may heat, or not enough, or both at once."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from analysis.findings import Finding, Severity

Band = tuple[float, float]
"""Outdoor temperatures from the first up to, not including, the second. [degC]"""


@dataclass(frozen=True, slots=True)
class LockoutSettings:
    """How the control is set, and what is known of its thermometer; None is not known.

    compressor_lockout : () the compressor may run from this outdoor temperature on. [degC]
    auxiliary_lockout : () the furnace may heat below this outdoor temperature. [degC]
    balance_point : () outdoor temperature below which the heat pump alone cannot hold the house. [degC]
    coil_downstream : whether the heat pump's coil is downstream of the furnace: `yes` or `no`. [-]
    changeover : whether the control stops the compressor while the furnace heats: `yes` or `no`. [-]
    outdoor_reading : () what the control's outdoor sensor reads. [degC]
    outdoor_reference : () what an independent thermometer reads beside it, shaded. [degC]
    u_outdoor_reading : () standard uncertainty of the control's sensor, value >= 0. [K]
    u_outdoor_reference : () standard uncertainty of the independent thermometer, value >= 0. [K]
    furnace_safe : whether the furnace was found safe to fire: `yes` or `no`. [-]
    """

    compressor_lockout: float | None
    auxiliary_lockout: float | None
    balance_point: float | None = None
    coil_downstream: bool | None = None
    changeover: bool | None = None
    outdoor_reading: float | None = None
    outdoor_reference: float | None = None
    u_outdoor_reading: float | None = None
    u_outdoor_reference: float | None = None
    furnace_safe: bool | None = None


def judge(settings: LockoutSettings, balance: float | None) -> tuple[Finding, ...]:
    """Whether the outdoor lockouts fit each other, a balance point and the thermometer they go by.

    settings : LockoutSettings, see there; its own balance point does not enter. [-]
    balance : () outdoor temperature below which the heat pump alone cannot hold the house, minus infinity where it
        always can; None where it is not known. [degC]
    returns : what is wrong, doubtful or missing; empty where all was judged and fits. [-]

    Valid: a furnace as the auxiliary heat; both lockouts go by one outdoor sensor.
    Method: which of the two may heat at each outdoor temperature; a sensor is wrong where it is off by more than twice
        the combined standard uncertainty, and then moves both settings by as much the other way.
    Source: common practice, no published source; twice the combined uncertainty as in JCGM 100, coverage factor 2.
    """
    compressor, furnace = _number(settings.compressor_lockout), _number(settings.auxiliary_lockout)
    holds_from = math.nan if balance is None else balance
    found = list(_missing(compressor, furnace, holds_from))
    alone_from = _later(compressor, furnace)
    idle, weak = _band(furnace, compressor), _band(alone_from, holds_from)
    if idle:
        found.append(_no_heat(idle))
    if weak:
        found.append(_cannot_hold(weak))
    found += _both(settings, _band(compressor, furnace))
    found += _sensor(settings, compressor, furnace, holds_from)
    found += _emergency_heat(settings, cold_house=bool(idle or weak))
    return tuple(found)


def _number(value: float | None) -> float:
    return value if value is not None and math.isfinite(value) else math.nan


def _later(compressor: float, furnace: float) -> float:
    """From here on the compressor may run and the furnace may not; NaN where a setting is not known."""
    return max(compressor, furnace) if not math.isnan(compressor + furnace) else math.nan


def _band(low: float, high: float) -> Band | None:
    """None where the band is empty or an end is not known."""
    return (low, high) if low < high else None


def _ends(band: Band) -> tuple[tuple[str, float, str], ...]:
    low, high = band
    return (("from", low, "degC"), ("up to", high, "degC"), ("width", high - low, "K"))


def _no_heat(band: Band) -> Finding:
    text = (
        "Between these outdoor temperatures nothing may heat: the furnace is locked out and the compressor is too; set"
        " the furnace's lockout at or above the compressor's, once the furnace is known to be safe."
    )
    return Finding("no_heat_band", Severity.FAULT, text, _ends(band))


def _cannot_hold(band: Band) -> Finding:
    text = (
        "Between these outdoor temperatures only the heat pump may heat and it cannot hold the house: set the furnace's"
        " lockout at or above the balance point, once the furnace is known to be safe."
    )
    return Finding("cannot_hold", Severity.FAULT, text, _ends(band))


def _both(settings: LockoutSettings, band: Band | None) -> Iterator[Finding]:
    if not band or settings.coil_downstream is False:
        return
    if settings.coil_downstream is None:
        text = "Whether both may heat at once needs the place of the heat pump's coil: before or after the furnace."
        yield Finding("coil_place_unknown", Severity.MISSING, text, _ends(band))
    elif settings.changeover is not True:
        broken = settings.changeover is False
        does = "does not change over" if broken else "has to change over: see that it does"
        text = (
            "Between these outdoor temperatures both may heat, the coil is downstream of the furnace, where running"
            f" both drives the head pressure up, and the control {does}; the furnace tempering a defrost is normal."
        )
        yield Finding("both_at_once", Severity.FAULT if broken else Severity.ADVICE, text, _ends(band))


def _sensor(settings: LockoutSettings, compressor: float, furnace: float, holds_from: float) -> Iterator[Finding]:
    reading, reference = _number(settings.outdoor_reading), _number(settings.outdoor_reference)
    spread = math.hypot(*(_number(u) for u in (settings.u_outdoor_reading, settings.u_outdoor_reference)))
    off = reading - reference
    usable = _number(settings.u_outdoor_reading) >= 0 and _number(settings.u_outdoor_reference) >= 0
    if math.isnan(off) or not usable:
        text = (
            "Whether the outdoor sensor is right needs its reading, that of an independent thermometer beside it in the"
            " shade, and the accuracy of both."
        )
        yield Finding("outdoor_sensor_unchecked", Severity.MISSING, text)
        return
    if abs(off) <= 2 * spread:
        return
    values = (
        ("sensor", reading, "degC"),
        ("independent thermometer", reference, "degC"),
        ("sensor too warm by", off, "K"),
        ("twice the combined uncertainty", 2 * spread, "K"),
        ("compressor in truth from", compressor - off, "degC"),
        ("furnace in truth below", furnace - off, "degC"),
    )
    way = "warm, so that both settings act at colder" if off > 0 else "cold, so that both settings act at warmer"
    text = f"The outdoor sensor reads too {way} weather than they say: check its place and its lead, then replace it."
    yield Finding("outdoor_sensor", Severity.FAULT, text, tuple(one for one in values if not math.isnan(one[1])))
    alone_from = _later(compressor, furnace)
    yield from _shifted(_band(alone_from, holds_from), _band(alone_from - off, holds_from))


def _shifted(meant: Band | None, true: Band | None) -> Iterator[Finding]:
    """What a wrong sensor does to the band in which only the heat pump may heat and cannot hold."""
    if true and not meant:
        text = (
            "The sensor's error alone opens a band in which only the heat pump may heat and cannot hold the house,"
            " although the settings would leave none."
        )
        yield Finding("sensor_opens_band", Severity.FAULT, text, _ends(true))
    elif true and meant and true[0] < meant[0]:
        text = "The sensor's error widens the band in which only the heat pump may heat and cannot hold the house."
        yield Finding("sensor_widens_band", Severity.FAULT, text, _ends(true))
    elif meant and not true:
        text = (
            "The sensor's error hides the band in which only the heat pump may heat and cannot hold the house: it"
            " opens when the sensor is put right and the settings are not."
        )
        yield Finding("sensor_hides_band", Severity.ADVICE, text, _ends(meant))


def _missing(compressor: float, furnace: float, holds_from: float) -> Iterator[Finding]:
    needs = (
        (compressor, "compressor_lockout_unknown", "A band without heat needs the compressor's outdoor lockout."),
        (furnace, "auxiliary_lockout_unknown", "A band without heat needs the furnace's outdoor lockout."),
        (
            holds_from,
            "balance_point_unknown",
            "Whether the heat pump alone can hold the house needs its balance point, or the heat loss of the house, the"
            " temperature at which it needs no heat, and the heat pump's rated capacities.",
        ),
    )
    for value, name, text in needs:
        if math.isnan(value):
            yield Finding(name, Severity.MISSING, text)


def _emergency_heat(settings: LockoutSettings, *, cold_house: bool) -> Iterator[Finding]:
    """Emergency heat is the furnace here: it is never advised unless the furnace was found safe."""
    if settings.furnace_safe is False:
        text = (
            "Emergency heat is the furnace here: leave it off while the furnace is unsafe; the heat pump alone, gas"
            " cock shut, where the equipment allows it."
        )
        yield Finding("emergency_heat", Severity.ADVICE, text)
    elif cold_house and settings.furnace_safe:
        text = "Until the settings are right, emergency heat, which is the furnace here, can heat in that band."
        yield Finding("emergency_heat", Severity.ADVICE, text)
    elif cold_house:
        text = "Whether emergency heat, which is the furnace here, may heat meanwhile needs the furnace found safe."
        yield Finding("furnace_not_judged", Severity.MISSING, text)
