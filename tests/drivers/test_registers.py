"""Registers into samples: the specification's own examples, an independent encoder, every order, plans, nonsense.

"Specification" is the MODBUS Application Protocol Specification V1.1b3.
"""

import itertools
import math
import struct
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as any_of
from pymodbus.client.mixin import ModbusClientMixin

from collector.profiles import named
from drivers.codecs.binary import TOO_SHORT, TYPES, BytesDecoder
from drivers.codecs.registers import (
    LAST,
    MOST_BITS,
    MOST_REGISTERS,
    NOTHING_HERE,
    UNKNOWN_SOURCE,
    Batch,
    RegistersDecoder,
    Settling,
    batches,
    settling,
    width,
)
from drivers.profile import Condition, ModbusSection, Profile, Role, Value
from tests.drivers.fuzz import survives

ORDERS = {"ABCD": ("big", "big"), "CDAB": ("little", "big"), "BADC": ("big", "little"), "DCBA": ("little", "little")}
"""Order of registers and of bytes in each, by what comes first on the wire of a number ABCD."""
INDEPENDENT = {
    "int16": ModbusClientMixin.DATATYPE.INT16, "uint16": ModbusClientMixin.DATATYPE.UINT16,
    "int32": ModbusClientMixin.DATATYPE.INT32, "uint32": ModbusClientMixin.DATATYPE.UINT32,
    "int64": ModbusClientMixin.DATATYPE.INT64, "uint64": ModbusClientMixin.DATATYPE.UINT64,
    "float32": ModbusClientMixin.DATATYPE.FLOAT32, "float64": ModbusClientMixin.DATATYPE.FLOAT64,
}  # fmt: skip


def value(first: int, *, name: str = "", table: str = "holding", kind: str | None = None, **more: object) -> Value:
    facts = {"unit": "Pa", "order": "big", **more}
    return Value(name=name or f"{table}_{first}", first_register=first, table=table, type=kind, **facts)  # type: ignore[arg-type]


def decoder(*values: Value, gap: int = 4) -> RegistersDecoder:
    return RegistersDecoder(Profile(name="p", driver="modbus", values=values, modbus=ModbusSection(gap=gap)))


def read(data: bytes, source: str, *values: Value) -> dict[str, float]:
    sample, reason = decoder(*values).decode(data, source)
    assert sample is not None, reason
    return dict(sample.values)


def test_read_holding_registers_as_in_the_specification():
    """Section 6.3: 03 006B 0003 is answered by 03 06 022B 0000 0064; registers 108 to 110 hold 555, 0 and 100."""
    values = read(bytes.fromhex("022B 0000 0064"), "holding 107", value(107), value(108), value(109))
    assert values == {"holding_107": 555.0, "holding_108": 0.0, "holding_109": 100.0}


def test_read_input_registers_as_in_the_specification():
    """Section 6.4: 04 0008 0001 is answered by 04 02 000A; input register 9 holds 10."""
    assert read(bytes.fromhex("000A"), "input 8", value(8, table="input")) == {"input_8": 10.0}


def test_read_coils_as_in_the_specification():
    """Section 6.1: 01 0013 0013 is answered by 01 03 CD 6B 05; coils 27 to 20 are 1100 1101, 38 to 36 101."""
    values = read(bytes.fromhex("CD6B05"), "coil 19", *(value(at, table="coil", unit="1") for at in range(19, 38)))
    assert [int(values[f"coil_{at}"]) for at in range(26, 18, -1)] == [1, 1, 0, 0, 1, 1, 0, 1]
    assert [int(values[f"coil_{at}"]) for at in range(34, 26, -1)] == [0, 1, 1, 0, 1, 0, 1, 1]
    assert [int(values[f"coil_{at}"]) for at in range(37, 34, -1)] == [1, 0, 1]


def test_read_discrete_inputs_as_in_the_specification():
    """Section 6.2: 02 00C4 0016 is answered by 02 03 AC DB 35; inputs 204 to 197 are 1010 1100, 218 to 213 11 0101."""
    values = read(bytes.fromhex("ACDB35"), "discrete 196", *(value(at, table="discrete") for at in range(196, 218)))
    assert [int(values[f"discrete_{at}"]) for at in range(203, 195, -1)] == [1, 0, 1, 0, 1, 1, 0, 0]
    assert [int(values[f"discrete_{at}"]) for at in range(217, 211, -1)] == [1, 1, 0, 1, 0, 1]


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize(("kind", "code"), [("float32", ">f"), ("float64", ">d")])
@given(number=any_of.floats(allow_nan=False, width=32))
def test_ieee_numbers_in_every_order(order: str, kind: str, code: str, number: float):
    words, octets = ORDERS[order]
    packed = struct.pack(code, number)
    wire = [packed[at : at + 2] for at in range(0, len(packed), 2)]
    wire = wire[::-1] if words == "little" else wire
    data = b"".join(word[::-1] if octets == "little" else word for word in wire)
    if order == "ABCD":
        assert data == packed
    if order == "DCBA":
        assert data == packed[::-1]
    found = read(data, "holding 0", value(0, name="x", kind=kind, word_order=words, order=octets))
    assert found["x"] == number


@pytest.mark.parametrize("words", ["big", "little"])
@pytest.mark.parametrize("kind", INDEPENDENT)
@given(data=any_of.data())
def test_numbers_as_an_independent_library_packs_and_unpacks_them(kind: str, words: str, data: any_of.DataObject):
    """The other one is pymodbus, both ways."""
    size = TYPES[kind] * 8
    low, high = (0, 2**size - 1) if kind.startswith("u") else (-(2 ** (size - 1)), 2 ** (size - 1) - 1)
    numbers = any_of.floats(allow_nan=False, width=32) if "float" in kind else any_of.integers(low, high)
    number = data.draw(numbers)
    independent = INDEPENDENT[kind]
    registers = ModbusClientMixin.convert_to_registers(number, independent, word_order=words)  # type: ignore[arg-type]
    wire = b"".join(register.to_bytes(2, "big") for register in registers)
    found = read(wire, "holding 0", value(0, name="x", kind=kind, word_order=words))["x"]
    back = ModbusClientMixin.convert_from_registers(registers, independent, word_order=words)  # type: ignore[arg-type]
    assert found == float(back) == float(number)  # type: ignore[arg-type]


def test_a_short_number_stands_in_the_low_bytes_of_its_registers():
    assert read(bytes.fromhex("12FE"), "holding 0", value(0, name="x", kind="int8")) == {"x": -2.0}
    assert read(bytes.fromhex("FFFF FFFE"), "holding 0", value(0, name="x", kind="int24")) == {"x": -2.0}


def test_a_status_in_one_answer_holds_for_the_values_of_another():
    status = value(100, name="status", role=Role.STATUS, bits={0: Condition.FAULT}, unit="")
    both = decoder(value(0, name="x"), status)
    assert [batch.source for batch in both.batches] == ["holding 0", "holding 100"]
    sample, reason = both.decode_all([("holding 0", b"\x00\x05"), ("holding 100", b"\x00\x01")])
    assert sample is not None, reason
    assert math.isnan(sample.values["x"])
    assert sample.conditions == {Condition.FAULT}


def test_what_is_cut_or_elsewhere_is_said():
    two = decoder(value(0, name="x", kind="float32"), value(2, name="y"))
    sample, reason = two.decode(struct.pack(">f", 1.5), "holding 0")
    assert sample is not None
    cut = f"{TOO_SHORT}: holding registers 0 to 2 are read together, which makes 6 bytes"
    assert (sample.values, reason) == ({"x": 1.5}, cut)
    assert two.decode(b"\x00\x01", "holding 0") == (None, cut)
    assert two.decode(b"\x00", "holding 2") == (None, NOTHING_HERE)
    assert two.decode(b"\x00\x01\x00\x02", "input 0") == (None, NOTHING_HERE)
    for source in ("holding", "holding x", "40001", "pressure 0", "holding -1"):
        assert two.decode(b"\x00\x01", source) == (None, UNKNOWN_SOURCE)


def test_neighbours_are_asked_together_over_a_gap_and_no_further():
    values = (value(10, kind="float32"), value(0), value(1), value(6), value(20), value(3, table="input"))
    assert batches(values, 4) == (Batch("holding", 0, 12), Batch("holding", 20, 1), Batch("input", 3, 1))
    assert batches(values, 0) == (
        Batch("holding", 0, 2), Batch("holding", 6, 1), Batch("holding", 10, 2), Batch("holding", 20, 1),
        Batch("input", 3, 1),
    )  # fmt: skip


@given(
    places=any_of.lists(any_of.tuples(any_of.integers(0, 3000), any_of.sampled_from([*TYPES, "coil", "discrete"]))),
    gap=any_of.integers(0, 120),
)
def test_every_value_is_whole_in_one_question_that_is_allowed(places: list[tuple[int, str]], gap: int):
    values = [
        value(first, name=f"v{index}", table=kind) if kind in ("coil", "discrete") else value(first, kind=kind)
        for index, (first, kind) in enumerate(places)
    ]
    planned = batches(values, gap)
    for one in values:
        first, end = one.first_register or 0, (one.first_register or 0) + width(one)
        holders = [b for b in planned if b.table == one.table and b.first <= first and end <= b.first + b.count]
        assert holders, f"{one.name} is not asked for"
    for batch in planned:
        assert 1 <= batch.count <= (MOST_REGISTERS if batch.table == "holding" else MOST_BITS)
    assert len(planned) <= len(values)


def test_the_settling_question_has_an_answer_like_no_other_and_is_a_read_of_what_is_there():
    assert settling([Batch("holding", 5, 4)]) == Settling(Batch("holding", 5, 1), certain=True)
    assert settling([Batch("holding", 5, 4), Batch("holding", 50, 1)]) == Settling(Batch("holding", 5, 2), certain=True)
    assert settling([Batch("holding", 5, 1)]) == Settling(Batch("input", 5, 1), certain=False)
    assert settling([Batch("coil", 0, 17)]) == Settling(Batch("coil", 0, 1), certain=True)
    assert settling([Batch(table, 0, 1) for table in ("holding", "input", "coil", "discrete")]) is None


@given(
    any_of.lists(any_of.tuples(any_of.sampled_from(["holding", "input", "coil"]), any_of.integers(1, 20)), min_size=1)
)
def test_no_settling_answer_can_be_taken_for_a_wanted_one(asked: list[tuple[str, int]]):
    planned = [Batch(table, index * 30, count) for index, (table, count) in enumerate(asked)]
    question = settling(planned)
    assert question is not None
    assert question.batch.shape not in {batch.shape for batch in planned}
    inside = any(
        b.table == question.batch.table and b.first == question.batch.first and question.batch.count < b.count
        for b in planned
    )
    assert inside == question.certain


def test_only_what_a_job_records_and_what_says_something_of_it_is_asked():
    values = (
        value(0, name="pressure", unit="", units={"1": "inH2O"}, unit_from="shown"),
        value(20, name="shown", role=Role.STATUS, unit=""),
        value(40, name="temperature", unit="", units={"1": "degC"}, unit_from="shown too"),
        value(60, name="shown too", role=Role.STATUS, unit=""),
        value(80, name="state", role=Role.STATUS, unit="", bits={0: Condition.HOLD}),
        value(100, name="charge", role=Role.BATTERY, unit="%"),
    )
    profile = Profile(name="p", driver="modbus", values=values)
    asked = RegistersDecoder(profile, {"pressure"}).batches
    assert asked == tuple(Batch("holding", first, 1) for first in (0, 20, 80, 100))
    assert len(RegistersDecoder(profile).batches) == 6, "an example may hold any of them"


def test_a_unit_in_another_register_is_that_of_the_value():
    pair = decoder(
        value(0, name="p", unit="", units={"0": "Pa", "1000001": "inH2O"}, unit_from="u"),
        value(8, name="u", role=Role.STATUS, unit="", kind="uint32"),
    )
    said = [("holding 0", b"\x00\x05"), ("holding 8", (1_000_001).to_bytes(4, "big"))]
    sample, reason = pair.decode_all(said)
    assert sample is not None, reason
    assert (sample.values, sample.units) == ({"p": 5.0}, {"p": "inH2O"})
    sample, reason = pair.decode_all([said[0], ("holding 8", b"\x00\x00\x00\x07")])
    assert sample is None or not sample.values, "in a unit that nobody named"
    assert "has a unit of 'p' that the profile does not name" in reason


def test_a_value_whose_unit_is_not_in_the_message_is_not_read():
    values = (
        value(0, name="p", unit="", units={"0": "Pa", "1": "inH2O"}, unit_from="u", kind="uint8", at=0),
        value(90, name="u", role=Role.STATUS, unit="", kind="uint8", at=1),
    )
    for decoded in (decoder(*values).decode(b"\x00\x05", "holding 0"), BytesDecoder(values).decode(b"\x05")):
        assert decoded.sample is None or not decoded.sample.values
        assert decoded.reason
    assert decoder(*values).decode(b"\x00\x01", "holding 90").reason == "", "nothing is wrong with the unit alone"


def test_a_batch_without_gaps_is_asked_apart_from_then_on():
    two = decoder(value(0), value(3), value(40))
    assert two.batches == (Batch("holding", 0, 4), Batch("holding", 40, 1))
    assert two.without_gaps(Batch("holding", 0, 4))
    assert [batch.source for batch in two.batches] == ["holding 0", "holding 3", "holding 40"]
    assert not two.without_gaps(Batch("holding", 0, 1))
    sample, reason = two.decode(b"\x00\x01", "holding 0")
    assert sample is not None
    assert (sample.values, reason) == ({"holding_0": 1.0}, "")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (value(LAST, kind="float32"), "does not fit at register 65535"),
        (Value(name="x", unit="Pa"), "has no 'register'"),
        (value(0, table="coil", kind="uint16"), "leave 'type' out"),
        (value(0, table="file"), "unknown table 'file'"),
    ],
)
def test_a_value_that_cannot_be_there_is_refused_in_one_sentence(wrong: Value, words: str):
    with pytest.raises(ValueError, match=words):
        decoder(wrong)


@pytest.mark.parametrize("name", ["modbus-float", "modbus-scaled-integers"])
def test_the_examples_of_the_shipped_profiles_hold(name: str):
    profile = named(name)
    codec = RegistersDecoder(profile)
    assert profile.examples
    for example in profile.examples:
        sample, reason = codec.decode(example.data, example.of)
        if example.refused:
            assert sample is None, example
            assert reason
            continue
        assert sample is not None, (example, reason)
        assert sample.values == pytest.approx(dict(example.values), nan_ok=True)
        assert sample.conditions == set(example.conditions)


def test_bad_answers_never_let_an_error_escape():
    profile = named("modbus-scaled-integers")
    values = (*profile.values, value(0, name="x", kind="float32"))
    codec = RegistersDecoder(replace(profile, values=values))
    sources = ("input 0", "holding 0", "discrete 0", "input 3", "holding -", "")
    seeds = [example.data for example in profile.examples]
    turn = itertools.cycle(sources)
    assert survives(lambda data: codec.decode(data, next(turn)), seeds) > 0
