"""What a profile says of a kind of instrument: how it talks, and what each of its values means; no I/O.

The files are TOML and are read by `collector.profiles`; `docs/profiles.md` explains them to whoever writes one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Role(StrEnum):
    """What a value is for."""

    MEASURE = "measure"
    """Something measured: a channel of the recording."""
    BATTERY = "battery"
    """Charge of the instrument's battery, with unit `%`."""
    COUNTER = "counter"
    """The instrument's own number of the message: shows what is missing, came twice or out of order."""
    CLOCK = "clock"
    """The instrument's own clock, with a unit of time."""
    STATUS = "status"
    """Bits or words that say how the instrument is."""


class Condition(StrEnum):
    """How an instrument says it is."""

    OVER_RANGE = "over_range"
    """What it measures is beyond its range: no value."""
    UNDER_RANGE = "under_range"
    """As over range, on the low side."""
    LOW_BATTERY = "low_battery"
    """Its readings are doubtful soon, or already."""
    HOLD = "hold"
    """Its display is held: what it says is not the present."""
    WARMING_UP = "warming_up"
    """Its readings are doubtful."""
    FAULT = "fault"
    """It is defective: no value."""
    OLD = "old"
    """What it says is from before: its readings are doubtful."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One value that an instrument gives, and where in its messages that stands; None where a key is not given."""

    name: str
    """Unique in the profile; the key in the job file's `channels`."""
    role: Role = Role.MEASURE
    unit: str = ""
    """Unit of the value after `scale` and `offset`; empty where the message says it."""
    units: Mapping[str, str] = field(default_factory=dict)
    """What the instrument calls its units, and which each is; where the message says the unit."""
    unit_from: str | None = None
    """Where the message says it: a group of the pattern, a field, a JSON path, or the name of another value.

    In bytes that value is a number, which `units` has in decimal digits.
    """
    accuracy: str | None = None
    """As the instrument's sheet states it."""
    response_time: float | None = None
    """Time constant. [s]"""
    low: float | None = None
    """Smallest value that it can show. [unit]"""
    high: float | None = None
    """Largest value that it can show. [unit]"""
    scale: float = 1.0
    offset: float = 0.0
    """`value = number in the message * scale + offset`."""
    missing: tuple[float, ...] = ()
    """Numbers in the message that mean: no value."""
    over_range: tuple[float, ...] = ()
    """Numbers in the message that mean: beyond the range."""
    words: Mapping[str, Condition] = field(default_factory=dict)
    """Texts in place of a number, or of a status, and what they say."""
    states: Mapping[str, float] = field(default_factory=dict)
    """Texts in place of a number, and the number that each stands for, such as 1 for a closed contact."""
    bits: Mapping[int, Condition] = field(default_factory=dict)
    """Bits of a status, 0 the lowest, and what each says when set."""
    about: tuple[str, ...] = ()
    """Status: the values that it speaks of; none: all of the instrument."""
    counter_bits: int = 8
    """Width of a counter, which begins again at 0 after its largest number. [bits]"""
    counter_last: int | None = None
    """Its largest number, where that is none of a whole number of bits, such as 999."""

    group: str | None = None
    """Line by pattern: the group, if not the value's name."""
    field: str | int | None = None
    """Separated line: the column, counted from 1, or its name in a line of headings."""
    columns: tuple[int, int] | None = None
    """Line in columns: first and last character, counted from 1."""
    query: str | None = None
    """Asked: what is sent for it."""
    at: int | None = None
    """Bytes: offset of its first byte."""
    type: str | None = None
    """Bytes and registers: a name of `drivers.codecs.binary.TYPES`."""
    order: str = "little"
    """Bytes and registers: `little` or `big`; what a Modbus profile does not say is `big`."""
    characteristic: str | None = None
    """Bluetooth: its UUID, short or long."""
    every: float | None = None
    """Bluetooth: read so often; None: it notifies. [s]"""
    first_register: int | None = None
    """Modbus: address of its first register, counted from 0."""
    table: str = "holding"
    """Modbus: `holding`, `input`, `coil` or `discrete`."""
    word_order: str = "big"
    """Modbus: which of its registers comes first, `big` or `little`."""
    topic: str | None = None
    """MQTT: below the topic of the job file."""
    path: str | None = None
    """MQTT: singular JSON path (RFC 9535) in the message; None: the message is the number."""

    @property
    def counter_size(self) -> int:
        """Numbers of a counter, 0 among them. [1]"""
        return 1 << self.counter_bits if self.counter_last is None else self.counter_last + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SerialSection:
    """How an instrument on a serial line talks."""

    baud: int = 9600
    data_bits: int = 8
    parity: str = "none"
    """`none`, `even` or `odd`."""
    stop_bits: float = 1.0
    decimal: str | None = None
    """Decimal sign of its numbers; None: comma or point, and `1,234`, which may be either number, is not read."""
    format: str = "line"
    """`line` by pattern, `separated`, `columns`, `query` and answer, or `frame`."""
    pattern: str | None = None
    """Line: regular expression that a whole line fits; its named groups are values."""
    separator: str = ","
    """Separated: what stands between values."""
    send: str | None = None
    """Sent when the port is open, such as what starts the instrument's sending."""
    every: float = 1.0
    """Query: time from one round of questions to the next. [s]"""
    within: float = 1.0
    """Query: longest time to an answer. [s]"""
    ending: str = "\n"
    """Query: what ends a question."""
    start: bytes = b""
    """Frame: its first bytes."""
    length: int | None = None
    """Frame: its length with start and checksum, where that is fixed. [bytes]"""
    length_at: int | None = None
    """Frame: offset of the byte that says how many bytes follow it, the checksum not counted."""
    checksum: str = "none"
    """Frame: a name of `drivers.codecs.checksums.CHECKSUMS`; it stands at the end."""
    checksum_order: str | None = None
    """Frame: order of its bytes, `little` or `big`; None: as is usual for it."""
    checksum_from: int = 0
    """Frame: offset of the first byte that it covers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BleSection:
    """How an instrument with Bluetooth Low Energy talks."""

    format: str = "characteristics"
    """`characteristics` described by values, `environmental` (the standard service), or `bthome` advertisements."""
    service: str | None = None
    """UUID that it advertises."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ModbusSection:
    """How an instrument with Modbus is asked."""

    every: float = 1.0
    """Time from one round of questions to the next. [s]"""
    within: float = 0.5
    """Longest time to an answer. [s]"""
    gap: int = 4
    """Registers between two wanted ones that are read along rather than asked apart. [1]"""
    baud: int = 9600
    parity: str = "none"
    stop_bits: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MqttSection:
    """How a gateway's messages are taken."""

    old_after: float | None = None
    """A message whose own time is so far from now is old, and its values are suspect; None: not judged. [s]"""
    time_path: str | None = None
    """JSON path of the message's own time: ISO 8601 with its zone, or seconds or milliseconds since 1970."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """A message as the instrument sends it, and what it says."""

    data: bytes
    of: str = ""
    """The characteristic, topic, question or first register (`holding 0`) that it belongs to."""
    values: Mapping[str, float] = field(default_factory=dict)
    """Expected, by the name of the value."""
    units: Mapping[str, str] = field(default_factory=dict)
    """Expected, where the message says units."""
    conditions: tuple[Condition, ...] = ()
    """Expected."""
    refused: bool = False
    """Whether the message must not be read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A kind of instrument."""

    name: str
    """Of its file, without the ending."""
    title: str = ""
    """In a few words, for people."""
    driver: str
    """`ble`, `serial`, `modbus` or `mqtt`."""
    values: tuple[Value, ...]
    silence: float = 10.0
    """An instrument that said nothing for so long is taken as lost. [s]"""
    warm_up: float = 0.0
    """Readings are doubtful for so long after it was switched on. [s]"""
    serial: SerialSection = field(default_factory=SerialSection)
    ble: BleSection = field(default_factory=BleSection)
    modbus: ModbusSection = field(default_factory=ModbusSection)
    mqtt: MqttSection = field(default_factory=MqttSection)
    examples: tuple[Example, ...] = ()

    def measures(self) -> tuple[Value, ...]:
        """Values that may be channels."""
        return tuple(value for value in self.values if value.role is Role.MEASURE)
