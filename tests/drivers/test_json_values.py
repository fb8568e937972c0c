"""Messages of gateways: what JSON and its paths say, by literal messages and by anything at all."""

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonpath_rfc9535 import find_one

from drivers.codecs.json_values import (
    LONGEST_MESSAGE,
    NO_TIME,
    NO_TOPIC,
    NOT_JSON,
    NOT_TEXT,
    NOTHING,
    TOO_LONG,
    JsonDecoder,
    json_path,
    numbers_in,
)
from drivers.profile import Condition, MqttSection, Profile, Role, Value
from tests.drivers.fuzz import survives

NOT_A_NUMBER = "has no number where 'v' belongs"


def decoder(*values: Value, **section: Any) -> JsonDecoder:
    return JsonDecoder(Profile(name="json", driver="mqtt", values=values, mqtt=MqttSection(**section)))


def at(path: str, message: str) -> float | None:
    """The number at a path of a message; None where it was not read."""
    sample, reason = decoder(Value(name="v", unit="1", path=path)).decode(message.encode())
    assert (sample is None) == bool(reason)
    return None if sample is None else sample.values["v"]


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("$.o['j j']", 1.0),
        ("$.o['j j']['k.k']", 3.0),
        ('$.o["j j"]["k.k"]', 3.0),
        ('$["\'"]["@"]', 2.0),
    ],
)
def test_names_lead_where_the_standard_says(path: str, expected: float) -> None:
    """Source: RFC 9535, table 5 (name selector); numbers stand for its objects where it selects those."""
    message = '{"o": {"j j": {"k.k": 3}}, "\'": {"@": 2}}'
    if path == "$.o['j j']":
        message = '{"o": {"j j": 1}}'
    assert at(path, message) == expected


@pytest.mark.parametrize(("path", "expected"), [("$[1]", 8.0), ("$[-2]", 7.0), ("$[0]", 7.0), ("$[2]", None)])
def test_indexes_count_from_both_ends(path: str, expected: float | None) -> None:
    """Source: RFC 9535, table 7 (index selector), with numbers for its letters."""
    assert at(path, "[7, 8]") == expected


@pytest.mark.parametrize(
    "path", ["$.store.book[*].author", "$..author", "$.store.*", "$..book[0,1]", "$..book[:2]", "$..book[?@.isbn]"]
)
def test_a_path_that_may_lead_to_several_places_is_refused(path: str) -> None:
    """Source: RFC 9535, section 2.1.2 (singular queries) and table 2 (examples)."""
    with pytest.raises(ValueError, match="may lead to several places"):
        json_path(path)


@pytest.mark.parametrize("path", ["", "temperature", "$.", "$.a b", "$[", "$.a.", "$['a'", "$[1", "$[-0]", "$ .", "€"])
def test_what_is_no_path_is_refused_in_one_line(path: str) -> None:
    with pytest.raises(ValueError, match="is not a JSON path") as caught:
        json_path(path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0", 0.0),
        ("-0", -0.0),
        ("21.5", 21.5),
        ("-1.25e-1", -0.125),
        ("1E+2", 100.0),
        ("9007199254740993", 9007199254740992.0),
        ("1e400", math.inf),
        ("-" + "9" * 400, -math.inf),
        *((wrong, None) for wrong in ("+1", "01", "-01", ".5", "5.", "1e", "0x10", "1_0", "1,5", "--1", "NaN")),
        *((wrong, None) for wrong in ("Infinity", "-Infinity", "")),
    ],
)
def test_numbers_are_those_of_the_grammar(text: str, expected: float | None) -> None:
    """Source: RFC 8259, section 6; a number beyond the range of values is beyond the instrument's too."""
    assert at("$.v", f'{{"v": {text}}}') == expected


@pytest.mark.parametrize(
    ("found", "expected"),
    [("true", 1.0), ("false", 0.0), ('"21.5"', 21.5), ('" -3,5 "', -3.5), ('"CLOSED"', 1.0), ('"OPEN"', 0.0)],
)
def test_contacts_and_numbers_in_quotes_are_numbers(found: str, expected: float) -> None:
    reader = decoder(Value(name="v", unit="1", path="$.v", states={"CLOSED": 1.0, "OPEN": 0.0}))
    sample, reason = reader.decode(f'{{"v": {found}}}'.encode())
    assert sample is not None
    assert (sample.values, reason) == ({"v": expected}, "")


def test_null_is_no_value_and_told_from_what_is_not_there() -> None:
    reader = decoder(Value(name="v", unit="1", path="$.v"))
    sample, reason = reader.decode(b'{"v": null}')
    assert sample is not None
    assert math.isnan(sample.values["v"])
    assert reason == ""
    assert reader.decode(b'{"w": 1}') == (None, NOTHING)


@pytest.mark.parametrize("found", ["{}", "[]", "[1]", '{"v": 1}', '"unavailable"', '""'])
def test_what_is_no_number_is_not_read_and_the_others_of_the_message_are(found: str) -> None:
    reader = decoder(Value(name="v", unit="1", path="$.v"), Value(name="w", unit="1", path="$.w"))
    sample, reason = reader.decode(f'{{"v": {found}, "w": 2}}'.encode())
    assert sample is not None
    assert (sample.values, reason) == ({"w": 2.0}, NOT_A_NUMBER)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"restarting", NOT_JSON),
        (b"", NOT_JSON),
        (b'{"v": 1} x', NOT_JSON),
        (b'{"v": 1', NOT_JSON),
        (b"{'v': 1}", NOT_JSON),
        (b'{"v": 1,}', NOT_JSON),
        (b"\xff\xfe{", NOT_TEXT),
        ('{"v": 1}'.encode("utf-16"), NOT_TEXT),
        (b'{"v":' * 5000 + b"1" + b"}" * 5000, NOT_JSON),
        (b"[" * LONGEST_MESSAGE, NOT_JSON),
        (b" " * LONGEST_MESSAGE + b"1", TOO_LONG),
        (b"1", NOTHING),
    ],
)
def test_what_cannot_be_read_says_why(data: bytes, reason: str) -> None:
    assert decoder(Value(name="v", unit="1", path="$.v")).decode(data) == (None, reason)


def test_a_mark_of_the_byte_order_is_not_in_the_way() -> None:
    """Source: RFC 8259, section 8.1."""
    sample, _ = decoder(Value(name="v", unit="1", path="$.v")).decode(b'\xef\xbb\xbf{"v": 1}')
    assert sample is not None
    assert sample.values == {"v": 1.0}


@pytest.mark.parametrize(
    ("data", "expected"), [(b"21.5", 21.5), (b" 21,5\n", 21.5), (b'"3"', 3.0), (b"true", 1.0), (b"ON", 1.0), (b"+7", 7)]
)
def test_a_plain_number_is_the_whole_message(data: bytes, expected: float) -> None:
    sample, reason = decoder(Value(name="v", unit="1", states={"ON": 1.0})).decode(data)
    assert sample is not None
    assert (sample.values, reason) == ({"v": expected}, "")


@pytest.mark.parametrize("data", [b"", b"NaN", b"21.5 degC", b'{"v": 1}', b"[1]"])
def test_what_is_no_plain_number_is_not_read(data: bytes) -> None:
    assert decoder(Value(name="v", unit="1")).decode(data) == (None, NOT_A_NUMBER)


def test_each_topic_has_its_values() -> None:
    reader = decoder(
        Value(name="a", unit="1", topic="a"),
        Value(name="b", unit="1", topic="b", path="$.b"),
        Value(name="state", role=Role.STATUS, topic="state", words={"held": Condition.HOLD}),
    )
    assert reader.decode(b"1", "a").sample.values == {"a": 1.0}  # type: ignore[union-attr]
    assert reader.decode(b'{"b": 2}', "b").sample.values == {"b": 2.0}  # type: ignore[union-attr]
    assert reader.decode(b"held", "state").sample.conditions == {Condition.HOLD}  # type: ignore[union-attr]
    assert reader.decode(b"well", "state").sample.conditions == frozenset()  # type: ignore[union-attr]
    assert reader.decode(b"1", "c") == (None, NO_TOPIC)
    assert reader.decode(b"1") == (None, NO_TOPIC)


def test_the_message_says_the_unit() -> None:
    units = {"inWC": "inH2O", "PA": "Pa"}
    reader = decoder(Value(name="p", units=units, unit_from="$.unit", path="$.p"))
    sample, _ = reader.decode(b'{"p": 1.5, "unit": "PA"}')
    assert sample is not None
    assert (sample.values, sample.units) == ({"p": 1.5}, {"p": "Pa"})
    for unit in ('"psi"', "7", "{}", "[[[]]]"):
        assert reader.decode(f'{{"p": 1.5, "unit": {unit}}}'.encode()).sample is None


@pytest.mark.parametrize(
    "at",
    [
        '"2026-01-14T06:31:20Z"',
        '"2026-01-14T01:31:20-05:00"',
        '"20260114T063120Z"',
        "1768372280",
        "1768372280000",
        '"1768372280"',
        "1768372280.0",
    ],
)
def test_a_time_is_of_iso_8601_or_counted_since_1970(at: str) -> None:
    """One moment in several ways. Source: ISO 8601 as in RFC 3339, section 5.6; GNU date 9.1 for the count."""
    reader = decoder(Value(name="v", unit="1", path="$.v"), time_path="$.at")
    sample, reason = reader.decode(f'{{"v": 1, "at": {at}}}'.encode())
    assert sample is not None
    assert (sample.own_time, sample.clock, reason) == (1768372280.0, None, "")


@pytest.mark.parametrize("at", ['"2026-01-14T06:31:20"', '"2026-01-14"', '"noon"', "true", "null", "{}", "1e999", '""'])
def test_a_time_that_cannot_be_placed_is_none_and_the_value_is_there(at: str) -> None:
    reader = decoder(Value(name="v", unit="1", path="$.v"), time_path="$.at")
    sample, reason = reader.decode(f'{{"v": 1, "at": {at}}}'.encode())
    assert sample is not None
    assert (sample.values, sample.own_time, reason) == ({"v": 1.0}, None, NO_TIME)


def test_numbers_are_found_with_their_paths() -> None:
    message = {"a": 1, "b": {"c d": [True, "x", "2,5"]}, 'it\'s "e\\"': None, "ü": -3, "": 4}
    assert list(numbers_in(json.dumps(message).encode())) == [
        ("$.a", 1.0),
        ("$.b['c d'][0]", 1.0),
        ("$.b['c d'][2]", 2.5),
        ("$['ü']", -3.0),
        ("$['']", 4.0),
    ]
    assert list(numbers_in(b"21.5")) == [("", 21.5)]
    assert list(numbers_in(b"-21,5")) == [("", -21.5)]
    assert list(numbers_in(b"on")) == list(numbers_in(b"[" * 90_000)) == list(numbers_in(b"\xff")) == []


JSON = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=12,
)


@settings(max_examples=40, deadline=None)
@given(JSON)
def test_each_path_that_is_found_leads_back_to_its_number(message: Any) -> None:
    for path, number in numbers_in(json.dumps(message).encode()):
        if path:
            json_path(path)
            node = find_one(path, json.loads(json.dumps(message)))
            assert node is not None
            assert (
                float(str(node.value).replace(",", ".")) == number
                if isinstance(node.value, str)
                else node.value == number
            )


def test_a_codec_of_messages_survives_anything() -> None:
    reader = decoder(
        Value(name="t", unit="degC", path="$.room.t", words={"OL": Condition.OVER_RANGE}),
        Value(name="p", units={"PA": "Pa"}, unit_from="$.unit", path="$.p[1]"),
        Value(name="battery", role=Role.BATTERY, unit="%", path="$.battery"),
        Value(name="state", role=Role.STATUS, path="$.state", bits={0: Condition.HOLD}),
        time_path="$.at",
    )
    seeds = [
        b'{"room": {"t": 21.5}, "p": [0, -1.25e1], "unit": "PA", "battery": 87, "state": 1, "at": 1768372280}',
        b'{"room": {"t": "OL"}, "battery": null, "at": "2026-01-14T06:31:20Z"}',
        b'{"p": ["\\ud800", true], "unit": "\xc3\xbc"}',
        b"[[[[[[]]]]]]",
    ]
    assert survives(reader.decode, seeds) > 1000


def test_a_codec_of_plain_numbers_survives_anything() -> None:
    reader = decoder(Value(name="v", unit="1", missing=(-999.0,)))
    assert survives(reader.decode, [b"21.5", b"-999", b"true", b" 1e5 ", b'"3,5"']) > 1000
