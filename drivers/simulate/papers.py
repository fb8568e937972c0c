"""What is written down about a unit: what its job file says, and nothing of what it does."""

from dataclasses import dataclass, field

from analysis.model import Baseline, Plate, Timing


@dataclass(frozen=True, slots=True)
class Papers:
    """The rating plate, the sheet, the baseline and the settings of one installation; None where not known."""

    name: str = "invented unit"
    """Free text for `site.name`."""
    altitude: float = 0.0
    """Of the site. [m]"""
    plate: Plate = field(default_factory=Plate)
    baseline: Baseline = field(default_factory=Baseline)
    """Hot, high stage, when known good. [Pa]"""
    timing: Timing = field(default_factory=Timing)
    capacity_47: float | None = None
    """Rated heat of the heat pump at 47 degF. [W]"""
    capacity_17: float | None = None
    """Rated heat of the heat pump at 17 degF. [W]"""
    compressor_lockout: float | None = None
    """The compressor may run above it. [degC]"""
    auxiliary_lockout: float | None = None
    """The furnace may heat below it. [degC]"""
    humidifier_setting: float | None = None
    """Relative humidity wanted. [1]"""
