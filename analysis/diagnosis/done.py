"""What the technician did, and what that makes of the causes: repairs at their times, and tests with their results.

How often a repair succeeds: common practice, no published source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from analysis.diagnosis.causes import CAUSES
from analysis.diagnosis.steps.catalogue import STEPS

TESTED = "tested"
"""What an entry about a test is called; its `test` and `result` say which."""
OTHER = "other"
"""Something in the technician's own words; it changes nothing by itself."""


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that is done to a unit."""

    name: str
    """Stands in recordings; never changes."""
    text: str
    repairs: Mapping[str, float]
    """How often each cause is gone afterwards. [1]"""
    caution: str = ""
    opens: str = ""
    """What stands open from here on; attempts meanwhile are of an altered unit."""
    closes: str = ""
    """What was open and is closed by it."""


_LICENSED = "only by a licensed person, bubble-tested afterwards"
_POWER = "power off while it is done"

DEEDS: Mapping[str, Deed] = {
    deed.name: deed
    for deed in (
        Deed("filter_changed", "filter changed", {"airflow_low_restricted": 0.65}),
        Deed("trap_cleared", "trap cleared and primed", {"drain_blocked": 0.85, "collector_leak": 0.2}, _POWER),
        Deed("hose_drained", "water drained out of the hose", {"switch_hose_water": 0.6}, _POWER),
        Deed("hose_replaced", "hose replaced", {"switch_hose_leak": 0.95, "switch_hose_water": 0.7}, _POWER),
        Deed(
            "switch_replaced",
            "pressure switch replaced, the specified one",
            {"switch_faulty": 0.95, "switch_stuck_closed": 0.95},
            "power off; the set-point that the rating plate asks for, and no other",
        ),
        Deed("igniter_replaced", "igniter replaced", {"igniter_faulty": 0.95}, _POWER),
        Deed("rod_cleaned", "flame rod cleaned", {"flame_sensor_weak": 0.8}, _POWER),
        Deed("rod_replaced", "flame rod replaced", {"flame_sensor_weak": 0.92}, _POWER),
        Deed("vent_cleared", "vent cleared", {"vent_blocked": 0.85, "vent_recirculation": 0.2}),
        Deed("intake_cleared", "intake cleared", {"intake_blocked": 0.88, "vent_recirculation": 0.1}),
        Deed("terminal_moved", "terminations set apart", {"vent_recirculation": 0.9}),
        Deed(
            "gas_pressure_set",
            "manifold pressure set by the maker's instructions",
            {"manifold_low": 0.9, "manifold_high": 0.9},
            _LICENSED,
        ),
        Deed("gas_supply_corrected", "gas supply corrected", {"gas_supply_low": 0.85}, _LICENSED),
        Deed("gas_valve_replaced", "gas valve replaced", {"gas_valve_faulty": 0.95}, _LICENSED),
        Deed("burners_cleaned", "burners cleaned", {"burner_fouled": 0.85}, _LICENSED),
        Deed("inducer_replaced", "inducer replaced", {"inducer_weak": 0.95}, _POWER),
        Deed("collector_sealed", "collector box sealed", {"collector_leak": 0.85}, _LICENSED),
        Deed("secondary_cleaned", "secondary heat exchanger cleaned", {"secondary_restricted": 0.7}, _LICENSED),
        Deed("primary_cleaned", "primary heat exchanger cleaned", {"primary_restricted": 0.7}, _LICENSED),
        Deed("blower_replaced", "blower or its capacitor replaced", {"airflow_low_blower": 0.93}, _POWER),
        Deed("coil_cleaned", "coil or duct cleared", {"airflow_low_restricted": 0.7}, _POWER),
        Deed("baffle_fitted", "air baffle fitted", {"air_baffle_missing": 0.95}, _POWER),
        Deed("limit_replaced", "limit replaced, the specified one", {"limit_faulty": 0.92}, _POWER),
        Deed(
            "limits_closed",
            "limit closed again after its cause was found",
            {},
            "a roll-out switch stays as it is until a licensed person has inspected the unit",
        ),
        Deed("power_restored", "breaker, door or fuse restored", {"control_power_lost": 0.75}),
        Deed("wiring_repaired", "call or thermostat wiring repaired", {"no_call": 0.85}, _POWER),
        Deed("ground_repaired", "ground or polarity repaired", {"ground_polarity": 0.92}, "qualified only; power off"),
        Deed("board_replaced", "control board replaced", {"control_board_faulty": 0.93}, _POWER),
        Deed("setting_changed", "thermostat setting changed", {"lockouts_misset": 0.75, "no_call": 0.2}),
        Deed("humidifier_set", "humidifier set or repaired", {"humidifier_overrun": 0.8}),
        Deed("heat_pump_serviced", "heat pump serviced", {"heat_pump_weak": 0.7}, _LICENSED),
        Deed(
            "cover_off",
            "burner-box cover or pipe off",
            {},
            "inducer only, gas cock shut, refit before firing",
            opens="cover",
        ),
        Deed("cover_on", "burner-box cover or pipe refitted", {}, closes="cover"),
        Deed(OTHER, "something else", {}),
    )
}
"""Everything that has a button, in the order of the page."""


@dataclass(frozen=True, slots=True)
class Done:
    """One entry of the technician."""

    what: str
    """Name in `DEEDS`, or `TESTED`; others change nothing."""
    at: float
    """UTC since 1970. [s]"""
    test: str = ""
    """Name in `analysis.diagnosis.steps.catalogue.STEPS`."""
    result: str = ""
    """Name of the result, empty for a measurement."""


def conditioned(priors: Mapping[str, float], entries: Iterable[Done], span: tuple[float, float]) -> dict[str, float]:
    """Probabilities of the causes during a span, from those before anything was done and what was done. [1]

    priors : of each of `CAUSES` at the first. [1]
    entries : in any order; what is not known changes nothing. [-]
    span : first and last instant of an attempt. [s]
    returns : dict over `CAUSES` that adds to one. [1]

    Valid: one cause at a time; a repair that is entered while the attempt runs counts from the next one on.
    Method: a repair before the span moves the usual share of its causes to `none`: its odds against every other cause
        fall by that share. A test multiplies by its row as things stood when it was made: one that was made after a
        repair says little of the causes before it. Forwards up to the span, backwards down to it (a hidden Markov
        chain whose state changes at repairs only).
    Source: shares of success: common practice, no published source. L. R. Rabiner, "A tutorial on hidden Markov models
        and selected applications in speech recognition", Proc. IEEE 77 (1989) 257, section III, from memory.
    """
    told = sorted(entries, key=lambda entry: entry.at)
    forward = {cause: float(priors.get(cause, 0.0)) for cause in CAUSES}
    for entry in (entry for entry in told if entry.at <= span[0]):
        forward = _after(forward, entry)
    backward = dict.fromkeys(CAUSES, 1.0)
    for entry in reversed([entry for entry in told if entry.at > span[0]]):
        backward = _before(backward, entry)
    weight = {cause: forward[cause] * backward[cause] for cause in CAUSES}
    total = sum(weight.values())
    if not total > 0.0:
        raise ValueError("probabilities of causes must be numbers of at least 0, and one above it")
    return {cause: share / total for cause, share in weight.items()}


def altered(entries: Iterable[Done], span: tuple[float, float]) -> tuple[str, ...]:
    """What stood open during some of a span: its pressures are those of an altered unit."""
    since: dict[str, float] = {}
    found: set[str] = set()
    for entry in sorted(entries, key=lambda entry: entry.at):
        deed = DEEDS.get(entry.what)
        if deed is None:
            continue
        if deed.opens:
            since.setdefault(deed.opens, entry.at)
        if deed.closes and deed.closes in since and since.pop(deed.closes) <= span[1] and entry.at >= span[0]:
            found.add(deed.closes)
    found |= {what for what, start in since.items() if start <= span[1]}
    return tuple(sorted(found))


def made(entries: Iterable[Done]) -> dict[str, str]:
    """Tests that were made, with their last result; what was repaired since has to be tested anew. [-]"""
    found: dict[str, str] = {}
    for entry in sorted(entries, key=lambda entry: entry.at):
        if entry.what == TESTED and entry.test in STEPS:
            found[entry.test] = entry.result
        elif deed := DEEDS.get(entry.what):
            for test in [test for test in found if _tells_of(test, deed)]:
                del found[test]
    return found


def _tells_of(test: str, deed: Deed) -> bool:
    """Whether a test tells of a cause that a repair is for."""
    step = STEPS[test]
    if not step.results:
        return bool(set(step.about) & set(deed.repairs))
    rows = step.rows()
    return any(max(abs(a - b) for a, b in zip(rows[cause], rows["none"], strict=True)) > 0.2 for cause in deed.repairs)


def _after(shares: dict[str, float], entry: Done) -> dict[str, float]:
    """What an entry makes of what held before it."""
    if row := _row(entry):
        return {cause: share * row[cause] for cause, share in shares.items()}
    repaired = dict(shares)
    for cause, success in _repairs(entry).items():
        repaired[cause] -= success * shares[cause]
        repaired["none"] += success * shares[cause]
    return repaired


def _before(likely: dict[str, float], entry: Done) -> dict[str, float]:
    """How likely what came after an entry is, for what held before it."""
    if row := _row(entry):
        return {cause: value * row[cause] for cause, value in likely.items()}
    repairs = _repairs(entry)
    return {
        cause: (1.0 - repairs.get(cause, 0.0)) * value + repairs.get(cause, 0.0) * likely["none"]
        for cause, value in likely.items()
    }


def _repairs(entry: Done) -> Mapping[str, float]:
    deed = DEEDS.get(entry.what)
    return deed.repairs if deed else {}


def _row(entry: Done) -> dict[str, float]:
    """How often the result of a test is seen under each cause; empty where it says nothing."""
    step = STEPS.get(entry.test) if entry.what == TESTED else None
    if step is None or entry.result not in {one.name for one in step.results}:
        return {}
    place = step.result(entry.result)
    return {cause: row[place] for cause, row in step.rows().items()}
