"""Lines of text into samples in each format of a profile, numbers as instruments write them, and what is refused."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.codecs.lines import Unreadable
from drivers.codecs.sample import Decoder
from drivers.codecs.text import text_decoder
from drivers.profile import Condition, Profile, Role, SerialSection, Value
from tests.drivers.fuzz import survives


def decoder(*values: Value, **section: Any) -> Decoder:
    return text_decoder(Profile(name="meter", driver="serial", values=values, serial=SerialSection(**section)))


def value(name: str, **keys: Any) -> Value:
    return Value(name=name, **{"unit": "Pa", **keys})


ANYTHING = decoder(value("value"), pattern=r"(?P<value>\S+)")


@pytest.mark.parametrize(
    ("line", "number"),
    [
        # NR1, NR2 and NR3 numeric response data: IEEE 488.2-1992 sections 8.7.2 to 8.7.4, which SCPI-99 volume 1
        # takes over; the sections' own form (sign optional, digits, point, E with signed exponent)
        (b"146", 146.0),
        (b"+146", 146.0),
        (b"-12345", -12345.0),
        (b"12.3", 12.3),
        (b"+1.2345", 1.2345),
        (b"-0.123", -0.123),
        (b"1.23E+5", 123000.0),
        (b"123.4E-56", 123.4e-56),
        (b"-12345.678E+9", -12345678000000.0),
        # forgiving listening, NRf: the same standard, section 7.7.2
        (b".5", 0.5),
        (b"5.", 5.0),
        (b"1e3", 1000.0),
        # hexadecimal, octal and binary numeric response data: the same standard, sections 8.7.5 to 8.7.7 (section
        # numbers from memory); letters of either case as in its nondecimal program data, 7.7.4
        (b"#H1F", 31.0),
        (b"#ha4e", 2638.0),
        (b"#Q62", 50.0),
        (b"#q15", 13.0),
        (b"#B01011", 11.0),
        # infinity and negative infinity: SCPI-99 volume 1, 7.2.1.4 (section from memory)
        (b"9.9E37", math.inf),
        (b"+9.90000E+37", math.inf),
        (b"-9.9E37", -math.inf),
        (b"1e999", math.inf),
        # not a number: SCPI-99 volume 1, 7.2.1.5 (section from memory)
        (b"9.91E37", math.nan),
        (b"+9.91000E+37", math.nan),
        # decimal comma
        (b"-0,52", -0.52),
        (b" 0.52 \t", 0.52),
        (b"-0", 0.0),
    ],
)
def test_numbers(line: bytes, number: float) -> None:
    sample, reason = ANYTHING.decode(line)
    assert sample is not None
    assert not reason
    assert sample.values == pytest.approx({"value": number}, nan_ok=True)


@pytest.mark.parametrize(
    "line",
    [
        b"OL", b"----", b"nan", b"inf", b"1_000", b"0x10", b"1,234.5", b"1.2.3", "٣".encode(), b"\xff\xfe",
        b"#H", b"#HG", b"#Q8", b"#B2", b"#D12", b"#H-1", b"#B" + b"1" * 65,
    ],
)  # fmt: skip
def test_what_is_no_number_is_refused(line: bytes) -> None:
    assert ANYTHING.decode(line) == (None, "has no number where 'value' belongs")


def test_groups_of_one_line_are_read_each_for_itself() -> None:
    both = decoder(value("temp"), value("humidity"), pattern=r"T=(?P<temp>\S+)(?: RH=(?P<humidity>\S+))?")
    for line, expected, complete in (
        (b"T=21.5 RH=40", {"temp": 21.5, "humidity": 40.0}, True),
        (b"T=21.5", {"temp": 21.5}, True),
        (b"T=OL RH=40", {"humidity": 40.0}, False),
    ):
        sample, reason = both.decode(line)
        assert sample is not None
        assert sample.values == expected
        assert bool(reason) is not complete
    assert both.decode(b"T=OL RH=OL").sample is None


SEPARATED = decoder(
    value("pressure", field=2, unit="", units={"Pa": "Pa", "IWC": "inH2O"}, unit_from="3", words={"OL": "over_range"}),
    value("temp", field=5),
    format="separated",
)


@pytest.mark.parametrize(
    ("line", "values", "unit"),
    [
        (b"12:00:01,-1.25,IWC,x,21.5\r\n", {"pressure": -1.25, "temp": 21.5}, "inH2O"),
        (b"12:00:01, -1.25 , Pa ,x, 21.5 ,more", {"pressure": -1.25, "temp": 21.5}, "Pa"),
        (b'"12:00,01","-1.25","Pa",x,21.5', {"pressure": -1.25, "temp": 21.5}, "Pa"),
        (b"t,,Pa,x,21.5", {"temp": 21.5}, None),
        (b"t,OL,Pa,x,21.5", {"pressure": math.inf, "temp": 21.5}, "Pa"),
    ],
)
def test_separated_columns_are_counted_off(line: bytes, values: dict[str, float], unit: str | None) -> None:
    sample, _ = SEPARATED.decode(line)
    assert sample is not None
    assert sample.values == values
    assert sample.units.get("pressure") == unit or unit is None


def test_a_separated_line_with_too_few_columns_gives_nothing() -> None:
    """A line that lost a column would put every later value into the place of another."""
    for line in (b"12:00:01,-1.25,Pa,21.5", b'"12:00,-1.25,"Pa",x,21.5'):
        assert SEPARATED.decode(line) == (None, Unreadable.TOO_FEW.value)


@pytest.mark.parametrize(
    ("separator", "line"),
    [(";", b"a;1,5;2"), ("\t", b"a\t1.5\t2"), (" ", b"a   1.5  2"), ("; ", b"a; 1.5; 2"), ("|", b"a|1.5|2")],
)
def test_separators(separator: str, line: bytes) -> None:
    two = decoder(value("a", field=2), value("b", field=3), format="separated", separator=separator)
    sample, _ = two.decode(line)
    assert sample is not None
    assert sample.values == {"a": 1.5, "b": 2.0}


def test_columns_by_name_need_the_line_of_headings_and_follow_a_new_one() -> None:
    named = decoder(value("p", field="Pressure"), value("t", field="Temp"), format="separated", separator=";")
    assert named.decode(b"1;2") == (None, Unreadable.NO_HEADINGS.value)
    for heads, line in ((b"Time;Pressure;Temp", b"9;1;2"), (b'"Temp";Time;"Pressure"', b"2;9;1")):
        sample, reason = named.decode(heads)
        assert sample is not None
        assert not sample.values
        assert not reason
        sample, _ = named.decode(line)
        assert sample is not None
        assert sample.values == {"p": 1.0, "t": 2.0}
    assert named.decode(b"2;9").reason == Unreadable.TOO_FEW.value


COLUMNS = decoder(
    value("pressure", columns=(4, 9), unit="", units={"Pa": "Pa", "hPa": "hPa"}, unit_from="shown"),
    Value(name="shown", role=Role.STATUS, columns=(11, 13)),
    Value(name="state", role=Role.STATUS, columns=(1, 2), words={"LB": Condition.LOW_BATTERY}),
    format="columns",
)


def test_fixed_columns() -> None:
    sample, reason = COLUMNS.decode(b"LB  -1.25 hPa\r\n")
    assert not reason
    assert sample is not None
    assert sample.values == {"pressure": -1.25}
    assert sample.units == {"pressure": "hPa"}
    assert sample.conditions == {Condition.LOW_BATTERY}


def test_a_line_that_ends_within_a_column_gives_nothing() -> None:
    """Its number would be another one: -1.2 of -1.25."""
    line = b"LB  -1.25 hPa"
    for end in range(1, len(line)):
        assert COLUMNS.decode(line[:end] + b"\n") == (None, Unreadable.TOO_SHORT.value)


def test_answers_are_read_by_their_question() -> None:
    asked = decoder(
        value("pressure", query="MEAS:PRES?"),
        value("a", query="ALL?", field=1),
        value("b", query="ALL?", field=2),
        format="query",
    )
    for data, question, expected in (
        (b"+1.250E+00\n", "MEAS:PRES?", {"pressure": 1.25}),
        (b"1,2", "ALL?", {"a": 1.0, "b": 2.0}),
        (b"1,2", "ALL?\n", {"a": 1.0, "b": 2.0}),
    ):
        sample, _ = asked.decode(data, question)
        assert sample is not None
        assert sample.values == expected
    for question in ("", "OTHER?"):
        sample, reason = asked.decode(b"1", question)
        assert sample is None
        assert reason == f"{Unreadable.NOT_ASKED}; say which with 'of': 'MEAS:PRES?', 'ALL?'"


def test_answers_by_pattern_and_alone() -> None:
    sample, _ = decoder(value("p", query="?", group="x"), format="query", pattern=r"P=(?P<x>\S+)").decode(b"P=1.5")
    assert sample is not None
    assert sample.values == {"p": 1.5}
    sample, _ = decoder(value("p", query="?"), format="query").decode(b"1.5\r\n")
    assert sample is not None
    assert sample.values == {"p": 1.5}


@pytest.mark.parametrize(
    ("values", "section", "word"),
    [
        ((value("a", query="?"), value("b", query="?")), {"format": "query"}, "one question"),
        ((value("a", query="?", unit_from="x", units={"Pa": "Pa"}, unit=""),), {"format": "query"}, "unit_from"),
        ((value("a", columns=(1, 4), unit_from="x", units={"Pa": "Pa"}, unit=""),), {"format": "columns"}, "unit_from"),
        ((value("a"),), {"pattern": "(?P<b>.)"}, "no group"),
    ],
)
def test_what_cannot_be_read_is_refused_in_a_sentence(
    values: tuple[Value, ...], section: dict[str, Any], word: str
) -> None:
    with pytest.raises(ValueError, match=word) as raised:
        decoder(*values, **section)
    assert "\n" not in str(raised.value)


@pytest.mark.parametrize(
    ("codec", "seeds", "source"),
    [
        (ANYTHING, [b"-1.25", b"OL", b"9.91E37", b"#H1F"], ""),
        (SEPARATED, [b"12:00:01,-1.25,IWC,x,21.5\r\n", b't,"OL",Pa,x,21.5\n', b",,,,\n"], ""),
        (COLUMNS, [b"LB  -1.25 hPa\r\n", b"OK   0.50  Pa\r\n"], ""),
        (
            decoder(value("p", field="Pressure"), format="separated", separator=";"),
            [b"Time;Pressure\n", b"9;1.5\n"],
            "",
        ),
        (decoder(value("a", query="ALL?", field=2), value("b", query="B?"), format="query"), [b"1,2", b"3.5"], "ALL?"),
    ],
    ids=["line", "separated", "columns", "headings", "query"],
)
def test_bad_lines_raise_nothing_and_keep_nothing(codec: Decoder, seeds: list[bytes], source: str) -> None:
    assert survives(lambda data: codec.decode(data, source), seeds) > 0


@given(st.binary(max_size=80))
def test_no_bytes_raise(line: bytes) -> None:
    for codec in (ANYTHING, SEPARATED, COLUMNS):
        sample, reason = codec.decode(line)
        assert sample is not None or reason


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6))
def test_what_is_written_in_columns_is_read_back(first: float, second: float) -> None:
    two = decoder(value("a", columns=(1, 12)), value("b", columns=(14, 25)), format="columns")
    sample, _ = two.decode(f"{first:12.3f} {second:12.3f}".encode())
    assert sample is not None
    assert sample.values == {"a": round(first, 3) + 0.0, "b": round(second, 3) + 0.0}
