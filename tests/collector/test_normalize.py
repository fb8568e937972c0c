"""Many readings at once become what each of them becomes, and a channel's limits go into the inside unit with it."""

import struct

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analysis.model import Channel, Quality
from collector.normalize import Normalizer

CHANNELS = [
    Channel("draft_switch", "draft meter", "inH2O"),
    Channel("draft_switch", "draft meter", "Pa", low=-2.0, high=2.0),
    Channel("temp_supply", "duct thermometer", "degF"),
    Channel("humidity_room", "hygrometer", "%", high=95.0),
    Channel("room_co", "room meter", "ppm"),
    Channel("switch_closed", "contact logger", "1"),
]
READINGS = st.lists(
    st.tuples(
        st.one_of(st.floats(-300, 300), st.floats(), st.sampled_from([0.0, -0.0, 1.0, 2.0, -2.0, 95.0])),
        st.sampled_from(Quality),
        st.integers(-5, 5),
    ),
    max_size=20,
)


@given(
    st.sampled_from(CHANNELS),
    st.lists(st.tuples(st.integers(-5, 5), st.floats(-1, 1)), max_size=4).map(sorted),
    READINGS,
)
@example(CHANNELS[1], [(0, 0.5), (0, 0.7)], [(2.1, Quality.GOOD, 0), (1.0, Quality.BAD, 0), (2.1, Quality.SUSPECT, -1)])
def test_many_at_once_are_what_each_is_to_the_last_bit(channel, zeros, readings):
    normalizer = Normalizer(channel, zeros)
    one_by_one = [normalizer(*reading) for reading in readings]
    value, quality, time = (
        np.array([row[place] for row in readings], kind) for place, kind in enumerate((np.float64, np.int8, np.int64))
    )
    values, qualities = normalizer.all(value, quality, time)
    assert qualities.tolist() == [int(quality) for _, quality in one_by_one]
    assert [bits(value) for value in values] == [bits(value) for value, _ in one_by_one]


def bits(value: float) -> bytes:
    return b"none" if value != value else struct.pack(">d", value)  # noqa: PLR0124 - NaN


def test_limits_of_a_channel_go_into_the_inside_unit_with_it():
    inside = Normalizer(Channel("temp_supply", "duct thermometer", "degF", low=32.0, high=212.0)).inside()
    assert inside.unit == "degC"
    assert [inside.low, inside.high] == pytest.approx([0.0, 100.0], abs=1e-9)
    assert Normalizer(CHANNELS[0]).inside().low is None
