"""The sections of a profile as models, each value read by its reader; `docs/profiles.md` explains them."""

from typing import Annotated

from collector import job_values as given
from collector import profile_values as own
from collector.job_sections import BAUD_RATES
from collector.sections import Field, Section, StrictBool, ValidationInfo, by, checking
from drivers.codecs.binary import TYPES
from drivers.codecs.checksums import CHECKSUMS
from drivers.profile import BleSection, Condition, ModbusSection, MqttSection, Role, SerialSection

DRIVERS = ("serial", "ble", "modbus", "mqtt")
FORMATS = ("line", "separated", "columns", "query", "frame")
BLE_FORMATS = ("characteristics", "environmental", "bthome")
TABLES = ("holding", "input", "coil", "discrete")

_SERIAL, _BLE, _MODBUS, _MQTT = SerialSection(), BleSection(), ModbusSection(), MqttSection()

_Text = Annotated[str | None, by(given.free_text)]
_Period = Annotated[float, by(given.bounded, given.DURATION, "1 ms", "1 h")]
_Baud = Annotated[int, by(given.choice, *BAUD_RATES)]
_Parity = Annotated[str, by(given.choice, "none", "even", "odd")]
_Numbers = Annotated[tuple[float, ...], by(own.numbers)]


class ValueTable(Section):
    """The fields of `drivers.profile.Value`."""

    name: Annotated[str, by(own.value_name)]
    role: Annotated[Role, by(given.choice, *(str(role) for role in Role))] = Role.MEASURE
    unit: Annotated[str, by(own.unit)] = ""
    units: Annotated[dict[str, str], by(own.unit_names)] = Field(default_factory=dict)
    unit_from: _Text = None
    accuracy: Annotated[str | None, by(given.accuracy)] = None
    response_time: Annotated[float | None, by(given.bounded, given.DURATION, "0 s", "1 h")] = None
    low: Annotated[float | None, by(own.number)] = None
    high: Annotated[float | None, by(own.number)] = None
    scale: Annotated[float, by(own.factor)] = 1.0
    offset: Annotated[float, by(own.number)] = 0.0
    missing: _Numbers = ()
    over_range: _Numbers = ()
    words: Annotated[dict[str, Condition], by(own.words)] = Field(default_factory=dict)
    bits: Annotated[dict[int, Condition], by(own.bits)] = Field(default_factory=dict)
    states: Annotated[dict[str, float], by(own.states)] = Field(default_factory=dict)
    about: Annotated[tuple[str, ...], by(own.value_names)] = ()
    counter_bits: Annotated[int, by(given.whole, 4, 64)] = 8
    counter_last: Annotated[int | None, by(given.whole, 15, 10**18)] = None
    group: _Text = None
    field: Annotated[str | int | None, by(own.field)] = None
    columns: Annotated[tuple[int, int] | None, by(own.columns)] = None
    query: _Text = None
    at: Annotated[int | None, by(given.whole, 0, 4096)] = None
    type: Annotated[str | None, by(given.choice, *TYPES)] = None
    order: Annotated[str | None, by(given.choice, "little", "big")] = None
    """None: as its driver begins with, see `collector.profiles`."""
    characteristic: Annotated[str | None, by(own.uuid)] = None
    every: Annotated[float | None, by(given.bounded, given.DURATION, "1 ms", "1 h")] = None
    first_register: Annotated[int | None, by(given.whole, 0, 65535)] = Field(None, alias="register")
    table: Annotated[str, by(given.choice, *TABLES)] = "holding"
    word_order: Annotated[str, by(given.choice, "big", "little")] = "big"
    topic: Annotated[str | None, by(own.topic)] = None
    path: Annotated[str | None, by(own.path)] = None

    @checking("units")
    @classmethod
    def _one_way(cls, units: dict[str, str], info: ValidationInfo) -> dict[str, str]:
        if units and info.data.get("unit"):
            raise ValueError("'unit' is given too; keep 'unit' where it is always the same, else 'units'")
        return units


class SerialTable(Section):
    """The fields of `drivers.profile.SerialSection`."""

    baud: _Baud = _SERIAL.baud
    data_bits: Annotated[int, by(given.choice, 7, 8)] = _SERIAL.data_bits
    parity: _Parity = _SERIAL.parity
    stop_bits: Annotated[float, by(given.choice, 1, 2)] = _SERIAL.stop_bits
    decimal: Annotated[str | None, by(given.choice, ",", ".")] = None
    format: Annotated[str, by(given.choice, *FORMATS)] = _SERIAL.format
    pattern: Annotated[str | None, by(given.expression)] = None
    separator: Annotated[str, by(given.separator)] = _SERIAL.separator
    send: Annotated[str | None, by(given.as_written)] = None
    every: _Period = _SERIAL.every
    within: _Period = _SERIAL.within
    ending: Annotated[str, by(given.as_written)] = _SERIAL.ending
    start: Annotated[bytes, by(own.data)] = _SERIAL.start
    length: Annotated[int | None, by(given.whole, 2, 1024)] = None
    length_at: Annotated[int | None, by(given.whole, 0, 255)] = None
    checksum: Annotated[str, by(given.choice, *CHECKSUMS)] = _SERIAL.checksum
    checksum_order: Annotated[str | None, by(given.choice, "little", "big")] = None
    checksum_from: Annotated[int, by(given.whole, 0, 255)] = 0


class BleTable(Section):
    """The fields of `drivers.profile.BleSection`."""

    format: Annotated[str, by(given.choice, *BLE_FORMATS)] = _BLE.format
    service: Annotated[str | None, by(own.uuid)] = None


class ModbusTable(Section):
    """The fields of `drivers.profile.ModbusSection`."""

    every: _Period = _MODBUS.every
    within: _Period = _MODBUS.within
    gap: Annotated[int, by(given.whole, 0, 120)] = _MODBUS.gap
    baud: _Baud = _MODBUS.baud
    parity: _Parity = _MODBUS.parity
    stop_bits: Annotated[float, by(given.choice, 1, 2)] = _MODBUS.stop_bits


class MqttTable(Section):
    """The fields of `drivers.profile.MqttSection`."""

    old_after: Annotated[float | None, by(given.bounded, given.DURATION, "1 s", "24 h")] = _MQTT.old_after
    time_path: Annotated[str | None, by(own.path)] = None


class ExampleTable(Section):
    """A message and what it says."""

    text: Annotated[str | None, by(given.as_written)] = None
    """Either as text, or as bytes."""
    data: Annotated[bytes | None, by(own.data)] = Field(None, alias="hex")
    of: str = ""
    values: Annotated[dict[str, float], by(own.expected)] = Field(default_factory=dict)
    units: Annotated[dict[str, str], by(own.text_by_name)] = Field(default_factory=dict)
    conditions: Annotated[tuple[Condition, ...], by(own.conditions)] = ()
    refused: StrictBool = False


class ProfileFile(Section):
    """The whole file."""

    title: _Text = None
    driver: Annotated[str, by(given.choice, *DRIVERS)]
    silence: _Period = 10.0
    warm_up: Annotated[float, by(given.bounded, given.DURATION, "0 s", "1 h")] = 0.0
    serial: SerialTable = SerialTable()
    ble: BleTable = BleTable()
    modbus: ModbusTable = ModbusTable()
    mqtt: MqttTable = MqttTable()
    values: Annotated[tuple[ValueTable, ...], by(given.entries, "value")] = Field((), alias="value")
    examples: Annotated[tuple[ExampleTable, ...], by(given.entries, "example")] = Field((), alias="example")
