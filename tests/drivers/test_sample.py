"""From what stands in a message to what it says, by the words of a profile."""

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.units import UnitError
from drivers.codecs.sample import Decoded, Interpreter, Sample
from drivers.profile import Condition, Role, Value

PRESSURE = Value(
    name="pressure",
    unit="inH2O",
    scale=0.001,
    missing=(-32768.0,),
    over_range=(32767.0,),
    words={"OL": Condition.OVER_RANGE, "LO": Condition.LOW_BATTERY, "ERR": Condition.FAULT},
)
TEMPERATURE = Value(name="temp", unit="degF", scale=1.8, offset=32.0)
BATTERY = Value(name="battery", role=Role.BATTERY, unit="%")
COUNTER = Value(name="number", role=Role.COUNTER)
CLOCK = Value(name="clock", role=Role.CLOCK, unit="ms")
STATUS = Value(
    name="status",
    role=Role.STATUS,
    bits={0: Condition.OVER_RANGE, 3: Condition.HOLD},
    words={"hold": Condition.HOLD, "broken": Condition.FAULT},
)
ALL = Interpreter((PRESSURE, TEMPERATURE, BATTERY, COUNTER, CLOCK, STATUS))


def said(decoded: Decoded) -> Sample:
    """The sample of a message that could be read."""
    assert decoded.sample is not None
    return decoded.sample


def test_scale_and_offset_make_the_value():
    sample, reason = ALL.sample({"pressure": -1250.0, "temp": "21.5"})
    assert sample is not None
    assert sample.values == {"pressure": pytest.approx(-1.25), "temp": pytest.approx(70.7)}
    assert reason == ""


def test_what_is_no_measured_value_stands_beside_them():
    sample, _ = ALL.sample({"battery": "85", "number": 254.0, "clock": 120_500.0})
    assert sample is not None
    assert (sample.values, sample.battery, sample.counter, sample.clock) == ({}, 0.85, 254, 120.5)


def test_a_missing_number_is_no_value_and_one_beyond_the_range_is_infinite():
    assert math.isnan(said(ALL.sample({"pressure": -32768.0})).values["pressure"])
    assert said(ALL.sample({"pressure": 32767.0})).values == {"pressure": math.inf}
    assert said(ALL.sample({"pressure": -math.inf})).values == {"pressure": -math.inf}


def test_a_word_in_place_of_a_number_says_what_it_says():
    assert said(ALL.sample({"pressure": " OL "})).values == {"pressure": math.inf}
    low, reason = ALL.sample({"pressure": "LO"})
    assert low is not None
    assert math.isnan(low.values["pressure"])
    assert (low.conditions, reason) == (frozenset({Condition.LOW_BATTERY}), "")


@pytest.mark.parametrize("text", ["", "abc", "1.2.3", "0x10", "1_000", "١٢"])
def test_what_is_no_number_is_not_read_and_the_others_are(text: str):
    sample, reason = ALL.sample({"pressure": text, "temp": "20"})
    assert sample is not None
    assert (sample.values, reason) == ({"temp": 68.0}, "has no number where 'pressure' belongs")
    assert ALL.sample({"pressure": text}) == (None, "has no number where 'pressure' belongs")


def test_bits_and_words_of_a_status_are_conditions():
    assert said(ALL.sample({"status": 9.0})).conditions == {Condition.OVER_RANGE, Condition.HOLD}
    assert said(ALL.sample({"status": "hold"})).conditions == {Condition.HOLD}
    over = said(ALL.sample({"status": 1.0, "pressure": 3.0}))
    assert over.values == {"pressure": math.inf}
    broken = said(ALL.sample({"status": "broken", "pressure": 3.0}))
    assert math.isnan(broken.values["pressure"])


def test_a_unit_that_the_profile_does_not_name_gives_no_value():
    value = Value(name="p", units={"inWC": "inH2O", "PA": "Pa"}, unit_from="u")
    reader = Interpreter((value, TEMPERATURE))
    assert said(reader.sample({"p": "1"}, {"p": " PA "})).units == {"p": "Pa"}
    sample, reason = reader.sample({"p": "1", "temp": "0"}, {"p": "psi"})
    assert sample is not None
    assert sample.values == {"temp": 32.0}
    assert reason == "has a unit of 'p' that the profile does not name"
    assert reader.sample({"p": "1"}) == (None, reason), "nor does a message without a unit that follows"
    assert said(reader.sample({"p": "1"}, {"p": "PA"})).values == {"p": 1.0}
    assert said(reader.sample({"p": "2"})).values == {"p": 2.0}


OF_ONE = Value(
    name="one",
    role=Role.STATUS,
    bits={0: Condition.OVER_RANGE, 1: Condition.UNDER_RANGE, 2: Condition.FAULT},
    about=("pressure",),
)


def test_a_status_of_one_value_spoils_no_other():
    reader = Interpreter((PRESSURE, TEMPERATURE, OF_ONE))
    sample = said(reader.sample({"pressure": 3.0, "temp": 20.0, "one": 1.0}))
    assert sample.values == {"pressure": math.inf, "temp": 68.0}
    assert sample.conditions == {Condition.OVER_RANGE}
    assert sample.said["one"] == {Condition.OVER_RANGE}


def test_beyond_both_ends_at_once_has_no_sign():
    reader = Interpreter((PRESSURE, OF_ONE))
    values = [said(reader.sample({"pressure": 3.0, "one": bits})).values["pressure"] for bits in (1.0, 2.0, 3.0, 5.0)]
    assert values[:2] == [math.inf, -math.inf]
    assert all(math.isnan(value) for value in values[2:])


@pytest.mark.parametrize("missing", [999.9, -999.9, 99999.9, 0.1, 9.9e37])
def test_a_number_that_means_nothing_is_known_though_it_comes_rounded(missing: float):
    """Source: IEEE 754-2019, binary32; the library of the language rounds to it."""
    (rounded,) = struct.unpack("<f", struct.pack("<f", missing))
    for kind in ("float32", None) if rounded != int(rounded) else ("float32",):
        reader = Interpreter((Value(name="v", unit="Pa", type=kind, missing=(missing,)),))
        assert math.isnan(said(reader.sample({"v": rounded})).values["v"])
        reader = Interpreter((Value(name="v", unit="Pa", type=kind, over_range=(missing,)),))
        assert math.isinf(said(reader.sample({"v": rounded})).values["v"])
        assert said(reader.sample({"v": rounded * 1.0001})).values["v"] == rounded * 1.0001


def test_the_neighbour_of_a_whole_number_that_means_nothing_is_a_value():
    reader = Interpreter((Value(name="v", unit="Pa", type="int32", missing=(2147483647.0,)),))
    assert math.isnan(said(reader.sample({"v": 2147483647.0})).values["v"])
    assert said(reader.sample({"v": 2147483646.0})).values == {"v": 2147483646.0}


@pytest.mark.parametrize(("charge", "expected"), [(0.0, 0.0), (100.0, 1.0), (101.0, None), (255.0, None), (-1.0, None)])
def test_what_no_battery_can_have_is_no_charge(charge: float, expected: float | None):
    assert said(ALL.sample({"battery": charge, "temp": 20.0})).battery == expected


def test_a_clock_needs_a_unit_of_time():
    with pytest.raises(UnitError, match="degF"):
        Interpreter((Value(name="clock", role=Role.CLOCK, unit="degF"),))


@given(
    st.dictionaries(
        st.sampled_from(["pressure", "temp", "battery", "number", "clock", "status"]),
        st.floats() | st.text(max_size=12),
        max_size=6,
    )
)
def test_whatever_stands_there_is_read_or_refused(raw: dict[str, float | str]):
    sample, reason = ALL.sample(raw)
    assert sample is not None or reason or not raw
    if sample is not None:
        assert all(type(value) is float for value in sample.values.values())
        assert sample.battery is None or math.isfinite(sample.battery)
        assert sample.clock is None or math.isfinite(sample.clock)
