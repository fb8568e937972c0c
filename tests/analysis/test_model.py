"""Values: what they carry, what they refuse, how they print."""

import math

import numpy as np
import pytest

from analysis.model import Channel, Quality, Quantity, Series, origin_of, with_origin

CHANNEL = Channel("draft_collector", "draft meter", "inH2O")


def test_quality_combines_by_max():
    assert max(Quality.GOOD, Quality.BAD, Quality.SUSPECT) is Quality.BAD


def test_key_names_point_and_instrument():
    assert CHANNEL.key == "draft_collector@draft meter"


@pytest.mark.parametrize("time", [[0.0, 0.0], [1.0, 0.5], [0.0, math.nan]])
def test_series_refuses_time_that_does_not_increase(time):
    with pytest.raises(ValueError, match="time does not increase"):
        Series(CHANNEL, np.array(time), np.zeros(2))


def test_series_refuses_shapes_that_differ():
    with pytest.raises(ValueError, match="differ"):
        Series(CHANNEL, np.zeros(1), np.zeros(2))


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (Quantity(48.316, "degF", 0.82), "48.3 ± 1.6 degF"),
        (Quantity(-1.2503, "inH2O", 0.0029), "-1.2503 ± 0.0058 inH2O"),
        (Quantity(1055.62, "cfm", 46.8), "1056 ± 94 cfm"),
        (Quantity(3.5, "inH2O"), "3.5 inH2O"),
        (Quantity(math.nan, "Pa", 1.0), "no value"),
    ],
)
def test_quantity_prints_twice_its_uncertainty_and_no_false_digits(quantity, text):
    assert str(quantity) == text


def test_origin_stays_visible_and_is_not_repeated():
    assert origin_of("draft meter") is None
    assert origin_of("replay: draft meter") == "replay"
    assert with_origin("replay", "replay: draft meter") == "replay: draft meter"
    assert origin_of(with_origin("shared", "simulated: draft meter")) == "shared"
    with pytest.raises(ValueError, match="unknown origin"):
        with_origin("copied", "draft meter")
