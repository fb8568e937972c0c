"""What is known of a unit before anything is measured: the papers."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from analysis.model import Baseline, Plate


@dataclass(frozen=True, slots=True)
class Known:
    """Rating plate, baseline and settings; None where not known."""

    plate: Plate = field(default_factory=Plate)
    baseline: Baseline = field(default_factory=Baseline)
    altitude: float | None = None
    """Of the site. [m]"""
    capacity: float | None = None
    """Rated heat of the heat pump at 47 degF. [W]"""
    compressor_lockout: float | None = None
    """The compressor may run above it. [degC]"""
    auxiliary_lockout: float | None = None
    """The furnace may heat below it. [degC]"""
    humidifier_setting: float | None = None
    """Relative humidity wanted. [1]"""

    def values(self) -> Iterator[tuple[str, float]]:
        """Features of `features.FROM_PAPERS` that are known. [inside unit]"""
        plate, baseline = self.plate, self.baseline
        found: list[tuple[str, float | None]] = [
            (f"baseline.{tap}", getattr(baseline, tap))
            for tap in "draft_burner_box draft_transition draft_collector draft_vent".split()
        ]
        found += [
            ("plate.switch_close.low", plate.switch_close[-1] if plate.switch_close else None),
            ("plate.switch_close.high", plate.switch_close[0] if len(plate.switch_close) > 1 else None),
            ("plate.manifold.high", plate.manifold[0] if plate.manifold else None),
            ("plate.manifold.low", plate.manifold[-1] if len(plate.manifold) > 1 else None),
            ("plate.gas_inlet", plate.gas_inlet[0] if plate.gas_inlet else None),
            ("plate.input", plate.input[0] if plate.input else None),
            ("plate.rise", 0.5 * sum(plate.rise) if plate.rise else None),
            ("plate.capacity", self.capacity),
            ("site.altitude", self.altitude),
        ]
        return ((name, value) for name, value in found if value is not None)
