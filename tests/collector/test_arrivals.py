"""Arrivals: counted, aged, and a rate that follows steady and bunched readings alike."""

import pytest

from collector.arrivals import Arrivals


def test_nothing_came():
    arrivals = Arrivals()
    assert (arrivals.count, arrivals.age(5.0), arrivals.rate) == (0, None, 0.0)


@pytest.mark.parametrize("bunch", [1, 5])
def test_the_rate_follows_the_readings(bunch):
    """Ten a second, one by one or in bunches as a serial line hands them over."""
    arrivals = Arrivals()
    for number in range(0, 600, bunch):
        for _ in range(bunch):
            arrivals.arrive(number / 10)
    assert arrivals.rate == pytest.approx(10, rel=0.3)
    assert arrivals.count == 600
    assert arrivals.age(60.0) == pytest.approx(60.0 - (600 - bunch) / 10)
