"""What a recording is described by for a diagnosis: every number, where it comes from, and how it is scaled.

Scaled numbers are nearly normal over a population: a pressure counts by its logarithm once it is well away from nothing
and by itself near it. Sizes are what a technician would call a small difference; our choice.
"""

import math
from dataclasses import dataclass

GROUPS = "draft gas air electric time house".split()
"""Features of one group depend on each other within one kind of fault; groups depend through the cause alone."""


@dataclass(frozen=True, slots=True)
class Feature:
    """One number."""

    name: str
    group: str
    """Name in `GROUPS`."""
    size: float
    """Distance from nothing beyond which differences count as ratios. [inside unit]"""
    spread: float
    """How far the physics that the cases come from may be off, as a standard deviation. [scaled]"""
    measures: tuple[str, ...] = ()
    """Names in `analysis.measures.names` that it is, the first that is there; empty: `seen.py` gives it."""
    pick: str = "last"
    """Of several attempts: `last`, of those that went wrong if there are any; or of all `least` or `most`."""
    linear: bool = False
    """Always by itself, never by its logarithm."""

    def scaled(self, value: float) -> float:
        """Number as it is compared. [1]"""
        return value / self.size if self.linear else math.asinh(value / self.size)

    def unscaled(self, value: float) -> float:
        """Number that is compared as this one. [inside unit]"""
        return value * self.size if self.linear else self.size * math.sinh(min(max(value, -30.0), 30.0))

    def scaled_u(self, value: float, u: float) -> float:
        """Its standard uncertainty. [1]"""
        return u / self.size if self.linear else u / math.hypot(self.size, value)


def _taps() -> list[Feature]:
    found = []
    for point in "draft_burner_box draft_transition draft_collector draft_vent draft_switch draft_switch_high".split():
        for state in "cold hot.low hot.high".split():
            measures = () if state == "cold" else (f"{point}.{state}",)
            found.append(Feature(f"{point}.{state}", "draft", 12.0, 0.06, measures))
    for point, size in (("speed_inducer", 100.0), ("amps_inducer", 0.1)):
        for state in "cold hot.low hot.high".split():
            measures = () if state == "cold" else (f"{point}.{state}",)
            found.append(Feature(f"{point}.{state}", "draft", size, 0.05, measures))
    for point in "draft_transition draft_collector draft_switch".split():
        found += [
            Feature(f"{point}.trend.{stage}", "draft", 1.0, 0.3, (f"{point}.trend.{stage}",))
            for stage in ("low", "high")
        ]
    return found


CHANGING = "draft_burner_box draft_transition draft_collector draft_vent draft_switch speed_inducer".split()
"""Points whose level before a flame is compared between attempts that went wrong and others."""


def _changes() -> list[Feature]:
    """What is different in attempts of the same unit that went wrong from those that did not, as a share."""
    return [Feature(f"{point}.change", "draft", 0.1, 0.3) for point in CHANGING]


def _steps() -> list[Feature]:
    """Steps of the taps when the blower starts, and how restless they are."""
    found = []
    for point in "draft_burner_box draft_transition draft_collector draft_switch".split():
        found.append(Feature(f"{point}.blower_step", "draft", 1.0, 0.2))
        found.append(Feature(f"{point}.restless", "draft", 0.5, 0.3))
    found.append(Feature("flame_current.blower_step", "gas", 2e-7, 0.2))
    found.append(Feature("flame_current.restless", "gas", 1e-7, 0.3))
    return found


FEATURES: tuple[Feature, ...] = (
    *_taps(),
    *_steps(),
    *_changes(),
    Feature("draft_margin.smallest", "draft", 12.0, 0.15, ("draft_margin.smallest",), "least"),
    Feature("draft_margin_high.smallest", "draft", 12.0, 0.15, ("draft_margin_high.smallest",), "least"),
    Feature("draft_margin.at_start", "draft", 12.0, 0.1, ("draft_margin.largest_at_start",), "least"),
    Feature("draft_switch.after_stop", "draft", 3.0, 0.2, ("draft_switch.after_stop",), "most"),
    Feature("draft_switch.at_rest", "draft", 3.0, 0.2),
    Feature("draft_switch.time_to_zero", "draft", 2.0, 0.3, ("draft_switch.time_to_zero",), "most"),
    Feature("draft_switch.spread", "draft", 12.0, 0.2),
    Feature("baseline.draft_burner_box", "draft", 12.0, 0.02),
    Feature("baseline.draft_transition", "draft", 12.0, 0.02),
    Feature("baseline.draft_collector", "draft", 12.0, 0.02),
    Feature("baseline.draft_vent", "draft", 12.0, 0.02),
    Feature("plate.switch_close.low", "draft", 12.0, 0.02),
    Feature("plate.switch_close.high", "draft", 12.0, 0.02),
    Feature("switch.closes_at", "draft", 12.0, 0.08),
    Feature("gas_inlet.static", "gas", 100.0, 0.03, ("gas_inlet.static",)),
    Feature("gas_inlet.flowing.low", "gas", 100.0, 0.04, ("gas_inlet.flowing.low",)),
    Feature("gas_inlet.flowing.high", "gas", 100.0, 0.04, ("gas_inlet.flowing.high",)),
    Feature("gas_inlet.drop.high", "gas", 20.0, 0.15, ("gas_inlet.drop.high",)),
    Feature("gas_inlet.lowest", "gas", 100.0, 0.05, ("gas_inlet.lowest",), "least"),
    Feature("gas_manifold.at_trial", "gas", 50.0, 0.08, (), "least"),
    Feature("gas_manifold.flowing.low", "gas", 50.0, 0.03, ("gas_manifold.flowing.low",)),
    Feature("gas_manifold.flowing.high", "gas", 50.0, 0.03, ("gas_manifold.flowing.high",)),
    Feature("plate.manifold.high", "gas", 50.0, 0.02),
    Feature("plate.manifold.low", "gas", 50.0, 0.02),
    Feature("plate.gas_inlet", "gas", 100.0, 0.02),
    Feature("plate.input", "gas", 1000.0, 0.02),
    Feature("site.altitude", "gas", 1000.0, 0.02, linear=True),
    Feature("flame_current.settled.low", "gas", 2e-7, 0.1, ("flame_current.settled.low",)),
    Feature("flame_current.settled.high", "gas", 2e-7, 0.1, ("flame_current.settled.high", "flame_current.settled")),
    Feature("flame_current.smallest", "gas", 2e-7, 0.15, ("flame_current.smallest",), "least"),
    Feature("flame_current.at_trial", "gas", 2e-7, 0.2, (), "least"),
    Feature("flame_current.trend.high", "gas", 2e-8, 0.3, ("flame_current.trend.high",)),
    Feature("ignition.light_off_delay", "gas", 0.5, 0.2, ("ignition.light_off_delay",), "most"),
    Feature("ignition.time_to_prove", "gas", 0.5, 0.2, ("ignition.time_to_prove",), "most"),
    Feature("flue_o2.settled.low", "gas", 0.02, 0.08, ("flue_o2.settled.low",)),
    Feature("flue_o2.settled.high", "gas", 0.02, 0.08, ("flue_o2.settled.high",)),
    Feature("flue_co2.settled.low", "gas", 0.02, 0.08, ("flue_co2.settled.low",)),
    Feature("flue_co2.settled.high", "gas", 0.02, 0.08, ("flue_co2.settled.high",)),
    Feature("flue_co.settled.low", "gas", 20e-6, 0.3, ("flue_co.settled.low",)),
    Feature("flue_co.settled.high", "gas", 20e-6, 0.3, ("flue_co.settled.high",)),
    Feature("flue_co.trend.high", "gas", 2e-6, 0.4, ("flue_co.trend.high",), "most"),
    Feature("temp_flue.settled.low", "gas", 3.0, 0.6, ("temp_flue.settled.low",), linear=True),
    Feature("temp_flue.settled.high", "gas", 3.0, 0.6, ("temp_flue.settled.high",), linear=True),
    Feature("temp_rise.low", "air", 2.0, 0.7, ("temp_rise.settled.low", "temp_rise.expected.low"), linear=True),
    Feature("temp_rise.high", "air", 2.0, 0.7, ("temp_rise.settled.high", "temp_rise.expected.high"), linear=True),
    Feature("temp_supply.highest", "air", 3.0, 0.7, ("temp_supply.highest",), "most", linear=True),
    Feature("temp_supply_2.highest", "air", 3.0, 0.7, ("temp_supply_2.highest",), "most", linear=True),
    Feature("temp_supply.settled.high", "air", 3.0, 0.7, ("temp_supply.settled.high",), linear=True),
    Feature("temp_supply_2.settled.high", "air", 3.0, 0.7, ("temp_supply_2.settled.high",), linear=True),
    Feature("temp_return.settled.high", "air", 2.0, 0.7, ("temp_return.settled.high",), linear=True),
    Feature("plate.rise", "air", 2.0, 0.02, linear=True),
    Feature("static_return.low", "air", 12.0, 0.1, ("static_return.settled.low",)),
    Feature("static_return.high", "air", 12.0, 0.1, ("static_return.settled.high",)),
    Feature("static_supply.low", "air", 12.0, 0.1, ("static_supply.settled.low",)),
    Feature("static_supply.high", "air", 12.0, 0.1, ("static_supply.settled.high",)),
    Feature("static_return.running", "air", 12.0, 0.1),
    Feature("static_supply.running", "air", 12.0, 0.1),
    Feature("amps_blower.low", "air", 0.3, 0.1, ("amps_blower.settled.low",)),
    Feature("amps_blower.high", "air", 0.3, 0.1, ("amps_blower.settled.high",)),
    Feature("amps_blower.running", "air", 0.3, 0.1),
    Feature("temp_rise.pump", "air", 2.0, 0.5, linear=True),
    Feature("plate.capacity", "air", 1000.0, 0.02),
    Feature("temp_outdoor.mean", "air", 5.0, 0.1, ("temp_outdoor.mean",), linear=True),
    Feature("volts_control.lowest", "electric", 1.0, 0.5, ("volts_control.lowest",), "least", linear=True),
    Feature("volts_control.middle", "electric", 1.0, 0.4, linear=True),
    Feature("volts_line.lowest", "electric", 2.0, 0.5, ("volts_line.lowest",), "least", linear=True),
    Feature("volts_line_neutral_ground.middle", "electric", 0.5, 0.3),
    Feature("amps_igniter.warmup", "electric", 0.2, 0.1, ("amps_igniter.warmup",)),
    Feature("switch_closed.time_to_close", "time", 1.0, 0.3, ("switch_closed.time_to_close",), "most"),
    Feature("phase.over.prepurge", "time", 1.0, 0.3, ("phase.over_timing.prepurge",)),
    Feature("phase.over.igniter_warmup", "time", 1.0, 0.3, ("phase.over_timing.igniter_warmup",)),
    Feature("phase.over.ignition_trial", "time", 1.0, 0.3, ("phase.over_timing.ignition_trial",), "most"),
    Feature("phase.over.blower_on_delay", "time", 2.0, 0.3, ("phase.over_timing.blower_on_delay",)),
    Feature("phase.over.post_purge", "time", 2.0, 0.3, ("phase.over_timing.post_purge",)),
    Feature("attempts.rate", "time", 1.0, 0.3),
    Feature("limit.opens_at", "time", 5.0, 0.3, linear=True),
    Feature("flame.shortest", "time", 5.0, 0.3),
    Feature("humidifier.duty", "house", 0.1, 0.2),
    Feature("humidifier.over", "house", 0.02, 0.2),
    Feature("humidity_room.mean", "house", 0.02, 0.5, ("humidity_room.mean",), linear=True),
    Feature("humidity_supply.mean", "house", 0.02, 0.5, ("humidity_supply.mean",), linear=True),
    Feature("humidity_supply.highest", "house", 0.05, 0.5, ("humidity_supply.highest",), linear=True),
    Feature("dew_point_margin.smallest", "house", 1.0, 0.7, ("dew_point_margin.smallest",), linear=True),
    Feature("compressor.below_lockout", "house", 1.0, 0.3),
    Feature("furnace.above_lockout", "house", 1.0, 0.3),
    Feature("calls.duty", "house", 0.1, 0.3),
    Feature("temp_room.fall", "house", 0.3, 0.3),
)
"""All of them, in the order in which cases are stored."""

NUMBER = {feature.name: number for number, feature in enumerate(FEATURES)}
"""Place of each by its name."""
FROM_PAPERS = frozenset(name for name in NUMBER if name.startswith(("plate.", "baseline.", "site.")))
"""What is known of the unit before anything is measured."""
