"""The sections of the job file as models, each value read by its reader."""

from typing import Annotated

from analysis.model import Timing
from analysis.points import DERIVED, POINTS, nearest
from collector import job_values as given
from collector.alarm_rule import PRIORITIES
from collector.job_values import shown
from collector.sections import Field, Section, StrictBool, ValidationInfo, by, checking

DRIVERS = ("ble", "serial", "modbus", "mqtt", "manual", "replay", "simulate", "share")
BAUD_RATES = (300, 600, 1200, 2400, 4800, 9600, 14400, 19200, 28800, 38400, 57600, 115200)


_Text = Annotated[str | None, by(given.free_text)]
_Seconds = Annotated[float, by(given.seconds)]
_Tap = Annotated[float | None, by(given.bounded, given.PRESSURE, "-10 inH2O", "10 inH2O")]
_Switch = Annotated[tuple[float, ...], by(given.per_stage, given.PRESSURE, "0.01 inH2O", "10 inH2O")]
_Capacity = Annotated[float | None, by(given.bounded, given.POWER, "0.5 kW", "100 kW")]
_Outdoor = Annotated[float | None, by(given.bounded, given.TEMPERATURE, "-60 degF", "120 degF")]
_Fraction = Annotated[float | None, by(given.fraction)]
_Delay = Annotated[float, by(given.bounded, given.DURATION, "0 s", "24 h")]
_TYPICAL = Timing()


class SiteSettings(Section):
    """Where the job is."""

    name: _Text = None
    altitude: Annotated[float | None, by(given.bounded, given.LENGTH, "-500 m", "5000 m")] = None
    """[m]"""


class UnitSettings(Section):
    """The unit's papers, for the report."""

    model: _Text = None
    serial: _Text = None
    installed: _Text = None


class BaselineSettings(Section):
    """The fields of `analysis.model.Baseline`. [Pa]"""

    draft_burner_box: _Tap = None
    draft_transition: _Tap = None
    draft_collector: _Tap = None
    draft_vent: _Tap = None


class TimingSettings(Section):
    """The fields of `analysis.model.Timing`. [s]"""

    prepurge: _Seconds = _TYPICAL.prepurge
    igniter_warmup: _Seconds = _TYPICAL.igniter_warmup
    ignition_trial: _Seconds = _TYPICAL.ignition_trial
    blower_on_delay: _Seconds = _TYPICAL.blower_on_delay
    post_purge: _Seconds = _TYPICAL.post_purge
    blower_off_delay: _Seconds = _TYPICAL.blower_off_delay
    trials: Annotated[int, by(given.whole, 1, 10)] = _TYPICAL.trials


class FurnaceSettings(Section):
    """The fields of `analysis.model.Plate` in the same units, and how the unit is piped."""

    fuel: Annotated[str | None, by(given.choice, "natural gas", "propane")] = None
    condensing: StrictBool | None = None
    input: Annotated[tuple[float, ...], by(given.per_stage, given.POWER, "1 kW", "200 kW")] = ()
    efficiency: _Fraction = None
    rise: Annotated[tuple[float, float] | None, by(given.window, given.DIFFERENCE, "1 degF", "200 degF")] = None
    static_max: Annotated[float | None, by(given.bounded, given.PRESSURE, "0.01 inH2O", "10 inH2O")] = None
    supply_max: Annotated[float | None, by(given.bounded, given.TEMPERATURE, "80 degF", "400 degF")] = None
    manifold: Annotated[tuple[float, ...], by(given.per_stage, given.PRESSURE, "0.1 inH2O", "20 inH2O")] = ()
    gas_inlet: Annotated[tuple[float, float] | None, by(given.window, given.PRESSURE, "0.5 inH2O", "60 inH2O")] = None
    switch_close: _Switch = ()
    switch_open: _Switch = ()
    flame_current_min: Annotated[float | None, by(given.bounded, given.FLAME_CURRENT, "0.01 uA", "100 uA")] = None
    switch_label: Annotated[str, by(given.choice, "make", "break", "unknown")] = "unknown"
    manifold_reference: Annotated[str, by(given.choice, "room", "burner_box")] = "room"
    pipes: Annotated[int | None, by(given.whole, 1, 2)] = None
    vent_material: _Text = None
    vent_length: Annotated[float | None, by(given.bounded, given.LENGTH, "0 ft", "500 ft")] = None
    """[m]"""
    elbows: Annotated[int | None, by(given.whole, 0, 50)] = None
    condensate_route: _Text = None
    baseline: BaselineSettings = BaselineSettings()
    timing: TimingSettings = TimingSettings()

    @checking("switch_open")
    @classmethod
    def _opens_below(cls, opening: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
        closing: tuple[float, ...] = info.data.get("switch_close", ())
        if closing and len(opening) != len(closing):
            raise ValueError(f"has {len(opening)} and switch_close {len(closing)}; expected one of each per stage")
        for stage, (low, high) in enumerate(zip(opening, closing, strict=False), start=1):
            if low >= high:
                raise ValueError(f"number {stage} is not below number {stage} of switch_close")
        return opening


class HeatPumpSettings(Section):
    """Rated capacities [W], and outdoor temperatures that lock out the compressor or the furnace [degC]."""

    capacity_47: _Capacity = None
    capacity_17: _Capacity = None
    compressor_lockout: _Outdoor = None
    """The compressor may run above it."""
    auxiliary_lockout: _Outdoor = None
    """The furnace may run below it."""


class HumidifierSettings(Section):
    """Setting of the humidity control. [1]"""

    setting: _Fraction = None


class ShareSettings(Section):
    """The broker through which other machines see the readings."""

    broker: Annotated[str | None, by(given.url, "mqtt", "mqtts")] = None
    company: _Text = None
    """First name of the call on the broker."""
    technician: _Text = None
    """Second name; without it, who records as the archive has it."""
    call: _Text = None
    """Third name; without it, that of the recording."""
    secret: Annotated[str | None, by(given.secret_place)] = None
    """Where the password of the user in `broker` is kept."""
    certificate: _Text = None
    """File with a certificate of our own and its key, for a broker that wants one."""


class ArchiveSettings(Section):
    """The server that keeps readings for good; takes line protocol."""

    url: Annotated[str | None, by(given.url, "http", "https")] = None
    bucket: _Text = None
    """Where on it the readings go, on servers that have several such places."""
    org: _Text = None
    """Whose bucket that is, on servers that have several owners."""
    secret: Annotated[str | None, by(given.secret_place)] = None
    """Where its token is kept."""
    technician: _Text = None
    """Who records, as it stands with each reading."""


class InstrumentSettings(Section):
    """One instrument, how it is reached and what it measures."""

    name: Annotated[str, by(given.plain_name)] = ""
    """Unique in the file; `instrument 2` where the file gives none."""
    driver: Annotated[str | None, by(given.choice, *DRIVERS)] = None
    profile: _Text = None
    address: Annotated[str | None, by(given.address)] = None
    device: Annotated[int | None, by(given.unit_number)] = None
    """Number of the unit on its line."""
    topic: _Text = None
    """Topic under which its messages come."""
    secret: Annotated[str | None, by(given.secret_place)] = None
    """Where its password or key is kept."""
    accuracy: Annotated[str | None, by(given.accuracy)] = None
    """As the instrument's sheet gives it, see `analysis.uncertainty.Accuracy.parse`."""
    isolated: StrictBool | None = None
    response_time: Annotated[float | None, by(given.bounded, given.DURATION, "0 s", "1 h")] = None
    """[s]"""
    baud: Annotated[int | None, by(given.choice, *BAUD_RATES)] = None
    line: Annotated[str | None, by(given.expression)] = None
    """Regular expression that a line of text matches; its named groups are values."""
    channels: dict[str, Annotated[str, by(given.known_point, POINTS)]] = Field(default_factory=dict)
    """Point of each value that the instrument gives."""
    units: dict[str, str] = Field(default_factory=dict)
    """Native unit of values, where no profile says it."""

    @checking("channels")
    @classmethod
    def _distinct(cls, channels: dict[str, str], info: ValidationInfo) -> dict[str, str]:
        groups = given.groups(info.data["line"]) if info.data.get("line") else [*channels]
        seen: dict[str, str] = {}
        for value, point in channels.items():
            if point in seen:
                raise ValueError(f"{shown(seen[point])} and {shown(value)} would both be '{point}'; keep one of them")
            if value not in groups:
                raise ValueError(f"'line' has no group {shown(value)}{nearest(value[:60], groups)}")
            seen[point] = value
            if info.data.get("accuracy"):
                given.accuracy(info.data["accuracy"], point)
        return channels

    @checking("units")
    @classmethod
    def _fitting(cls, found: dict[str, str], info: ValidationInfo) -> dict[str, str]:
        channels: dict[str, str] = info.data.get("channels", {})
        for value, unit in found.items():
            if value in channels:
                given.native_unit(unit, channels[value])
            elif channels:
                raise ValueError(f"'channels' has no {shown(value)}{nearest(value[:60], channels)}")
        return found


class LimitSettings(Section):
    """Limit of an alarm, in the inside unit of its point."""

    name: Annotated[str, by(given.plain_name)] = ""
    """Unique in the file; such as `humidity_supply above 60 %` where the file gives none."""
    point: Annotated[str, by(given.known_point, {**POINTS, **DERIVED})]
    above: float | None = None
    below: float | None = Field(default=None, validate_default=True)
    deadband: float = 0.0
    priority: Annotated[str, by(given.choice, *reversed(PRIORITIES))] = "medium"
    on_delay: _Delay = 0.0
    """[s]"""
    off_delay: _Delay = 0.0
    """[s]"""
    text: Annotated[str, by(given.free_text)] = ""

    @checking("above", "below", "deadband", mode="before")
    @classmethod
    def _in_unit_of_point(cls, value: object, info: ValidationInfo) -> float | None:
        if value is None:
            return None
        if "point" not in info.data:
            return 0.0  # a wrong point is a mistake of its own
        return given.at_point(value, info.data["point"], difference=info.field_name == "deadband")

    @checking("below")
    @classmethod
    def _one_side(cls, below: float | None, info: ValidationInfo) -> float | None:
        if "above" in info.data and (info.data["above"] is None) == (below is None):
            raise ValueError("expected exactly one of 'above' and 'below'")
        return below

    @checking("on_delay")
    @classmethod
    def _at_once_for_safety(cls, delay: float, info: ValidationInfo) -> float:
        if delay > 0 and info.data.get("priority") == "safety":
            raise ValueError("a safety limit alarms at once; leave 'on_delay' out")
        return delay


class File(Section):
    """The whole file."""

    site: SiteSettings = SiteSettings()
    unit: UnitSettings = UnitSettings()
    furnace: FurnaceSettings = FurnaceSettings()
    heat_pump: HeatPumpSettings = HeatPumpSettings()
    humidifier: HumidifierSettings = HumidifierSettings()
    instruments: Annotated[tuple[InstrumentSettings, ...], by(given.entries, "instrument")] = Field(
        (), alias="instrument"
    )
    limits: Annotated[tuple[LimitSettings, ...], by(given.entries, "limit")] = Field((), alias="limit")
    share: ShareSettings = ShareSettings()
    archive: ArchiveSettings = ArchiveSettings()
