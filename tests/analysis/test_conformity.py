"""Judging against limits: published probabilities, guard bands, and what would tell where it cannot be told.

"From memory": the example of JCGM 106 is known, its text was not at hand; its probability comes from scipy too.
"""

import math
import re
from dataclasses import replace

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from analysis.conformity import Conformity, coverage_factor, verdict
from analysis.quantity import Error, Quality, Quantity

TABLE = [
    # x, low, high, u, probability, verdict with a guard band of 2 u: computed with scipy after JCGM 106, 7.4 and 7.5
    (3.78, None, 3.80, 0.02, 0.841345, "cannot_tell"),
    (3.80, None, 3.80, 0.02, 0.5, "cannot_tell"),
    (3.75, 3.20, 3.80, 0.03, 0.9522, "cannot_tell"),
    (64.2, 35.0, 65.0, 0.82, 0.835371, "cannot_tell"),
    (69.0, None, 70.0, 0.82, 0.888675, "cannot_tell"),
    (0.48, None, 0.50, 0.02, 0.841345, "cannot_tell"),
    (9.5, None, 10.0, 0.5, 0.841345, "cannot_tell"),
    # at the acceptance limits 3.76, 3.74, 63.36, 68.36 and 0.46 it passes, as far outside it fails
    (3.76, None, 3.80, 0.02, 0.977250, "pass"),
    (3.74, 3.20, 3.80, 0.03, 0.977250, "pass"),
    (63.36, 35.0, 65.0, 0.82, 0.977250, "pass"),
    (68.36, None, 70.0, 0.82, 0.977250, "pass"),
    (0.46, None, 0.50, 0.02, 0.977250, "pass"),
    (3.841, None, 3.80, 0.02, 0.020182, "fail"),
    (33.3, 35.0, 65.0, 0.82, 0.019078, "fail"),
    # JCGM 106, 7.4 and 7.5 (from memory): Zener diode -5.47 V, u 0.05 V, at most -5.40 V: 0.92; container bursting at
    # 509.7 kPa, u 8.6 kPa, at least 490 kPa: 0.99; oil of 13.6 mm2/s, u 1.8 mm2/s, 12.5 to 16.3 mm2/s: 0.66
    (-5.47, None, -5.40, 0.05, 0.919243, "cannot_tell"),
    (509.7, 490.0, None, 8.6, 0.989014, "pass"),
    (13.6, 12.5, 16.3, 1.8, 0.662642, "cannot_tell"),
]


@pytest.mark.parametrize(("x", "low", "high", "u", "probability", "expected"), TABLE)
def test_probability_and_verdict(  # noqa: PLR0917
    x: float, low: float | None, high: float | None, u: float, probability: float, expected: str
) -> None:
    judged = verdict(Quantity(x, "degF", u), low, high)
    assert_allclose(judged.probability, probability, atol=5e-5)
    assert judged.verdict == expected
    assert bool(judged.remedy) == (expected == "cannot_tell")


def test_published_probabilities_as_printed() -> None:
    printed = [verdict(Quantity(x, "", u), low, high).probability for x, low, high, u, *_ in TABLE[-3:]]
    assert [round(one, 2) for one in printed] == [0.92, 0.99, 0.66]


@settings(deadline=None)
@given(
    x=st.floats(-10, 10),
    u=st.floats(0.01, 5),
    low=st.floats(-10, 10),
    width=st.floats(0, 10),
    freedom=st.one_of(st.just(math.inf), st.floats(1, 200)),
)
def test_probability_against_scipy(x: float, u: float, low: float, width: float, freedom: float) -> None:
    spread = stats.norm(x, u) if math.isinf(freedom) else stats.t(freedom, x, u)
    quantity = Quantity(x, "", u, freedom)
    assert_allclose(
        verdict(quantity, low, low + width).probability, spread.cdf(low + width) - spread.cdf(low), atol=1e-9
    )
    assert_allclose(verdict(quantity, low).probability, spread.sf(low), atol=1e-9)
    assert_allclose(verdict(quantity, None, low).probability, spread.cdf(low), atol=1e-9)


def test_coverage_factors() -> None:
    # JCGM 100, table G.2, column 95.45 % (from memory), as printed
    degrees = [1, 2, 3, 4, 5, 10, 20, 50, math.inf]
    assert_allclose(coverage_factor(degrees), [13.97, 4.53, 3.31, 2.87, 2.65, 2.28, 2.13, 2.05, 2.000], atol=0.0051)
    assert coverage_factor(math.inf) == 2
    assert_allclose(coverage_factor(1e9), 2, rtol=1e-6)
    assert [math.isnan(one) for one in coverage_factor([0, -1, math.nan])] == [True, True, True]


def test_few_degrees_of_freedom_widen_the_guard_band() -> None:
    # 0.46 + 2 * 0.02 = 0.50, but with 5 degrees of freedom k = 2.65
    assert verdict(Quantity(0.46, "inH2O", 0.02), high=0.50).verdict == "pass"
    assert verdict(Quantity(0.46, "inH2O", 0.02, 5), high=0.50).verdict == "cannot_tell"
    assert verdict(Quantity(0.446, "inH2O", 0.02, 5), high=0.50).verdict == "pass"


@pytest.mark.parametrize(
    ("x", "guard", "expected"),
    [
        (0.49, 0.0, "pass"),
        (0.50, 0.0, "pass"),
        (0.51, 0.0, "fail"),
        (0.475, 0.5, "pass"),
        (0.485, 0.5, "cannot_tell"),
        (0.515, 0.5, "cannot_tell"),
        (0.525, 0.5, "fail"),
        (0.46, 2.0, "cannot_tell"),
    ],
)
def test_guard_bands(x: float, guard: float, expected: str) -> None:
    judged = verdict(Quantity(x, "inH2O", 0.02), high=0.50, guard=guard)
    assert judged.verdict == expected
    assert ("its uncertainty left out" in judged.why) == (guard == 0)


def test_a_certain_value_is_inside_or_outside() -> None:
    results = [verdict(Quantity(x, "1", 0.0), 1.0, 2.0) for x in (0.999, 1.0, 1.5, 2.0, 2.001)]
    assert [one.verdict for one in results] == ["fail", "pass", "pass", "pass", "fail"]
    assert [one.probability for one in results] == [0, 1, 1, 1, 0]


def test_rounding_of_the_arithmetic_decides_nothing() -> None:
    # 0.3 - 2 * 0.1 is 0.09999999999999998 and 0.1 + 2 * 0.1 is 0.30000000000000004
    assert verdict(Quantity(0.3, "Pa", 0.1), low=0.1).verdict == "pass"
    assert verdict(Quantity(0.1, "Pa", 0.1), high=0.3).verdict == "pass"
    # as far outside it fails: 0.3 + 2 * 0.1 = 0.5, and 0.3 - 2 * 0.1 is below 0.1 by rounding only
    assert verdict(Quantity(0.3, "Pa", 0.1), low=0.5).verdict == "fail"
    assert verdict(Quantity(0.3, "Pa", 0.1), high=0.1).verdict == "fail"


def test_the_sides_of_an_interval_count_each_for_itself() -> None:
    # 100 with 90 to 140: plenty below, little above
    skewed = Quantity(100.0, "ppm", 12.0, interval=(90.0, 140.0))
    assert verdict(skewed, low=89.0).verdict == "pass"
    assert verdict(skewed, low=91.0).verdict == "cannot_tell"
    assert verdict(skewed, high=139.0).verdict == "cannot_tell"
    assert verdict(skewed, high=141.0).verdict == "pass"
    assert verdict(skewed, low=141.0).verdict == "fail"
    assert verdict(skewed, high=89.0).verdict == "fail"
    # 2.5 % are outside either end, half on either side of the value
    found = [verdict(skewed, high=limit).probability for limit in (90.0, 100.0, 140.0)]
    assert_allclose(found, [0.025, 0.5, 0.975], atol=1e-9)
    # a guard band of half of each side
    assert verdict(skewed, high=121.0, guard=0.5).verdict == "pass"
    assert verdict(skewed, high=119.0, guard=0.5).verdict == "cannot_tell"


def test_an_interval_serves_where_there_is_no_standard_uncertainty() -> None:
    long_tail = Quantity(1393.0, "ppm", interval=(828.0, 3911.0))
    assert verdict(long_tail, high=400.0).verdict == "fail"
    judged = verdict(long_tail, high=1200.0)
    assert (judged.verdict, judged.remedy) == ("cannot_tell", "a better meter: 34% of the present uncertainty or less")


def test_an_interval_that_leaves_out_the_value_is_judged_from_its_middle() -> None:
    folded = Quantity(0.0, "Pa", 0.6, interval=(0.03, 2.24))
    assert verdict(folded, high=2.3).verdict == "pass"
    assert verdict(folded, low=0.5).verdict == "cannot_tell"
    assert_allclose(verdict(folded, high=(0.03 + 2.24) / 2).probability, 0.5, atol=1e-9)


def test_no_value_is_not_measured() -> None:
    gone = verdict(Quantity(math.nan, "degF", quality=Quality.BAD, reason="thermometer lost"), high=70.0)
    assert (gone.verdict, gone.why, gone.remedy) == ("not_measured", "thermometer lost", "")
    assert math.isnan(gone.probability)
    assert verdict(Quantity(math.nan, "degF"), high=70.0).why == "there is no usable value"
    assert verdict(Quantity(69.0, "degF", 0.1, quality=Quality.BAD), high=70.0).verdict == "not_measured"


def test_without_a_known_accuracy_it_cannot_be_told() -> None:
    judged = verdict(Quantity(20.0, "degF"), high=70.0)
    assert judged.verdict == "cannot_tell"
    assert math.isnan(judged.probability)
    assert judged.why == "20 degF cannot be judged: no accuracy is known for it"
    assert judged.remedy == "the accuracy of the meter, from its sheet or certificate"


def test_a_doubtful_value_is_judged_and_said_to_be_doubtful() -> None:
    judged = verdict(Quantity(60.0, "degF", 0.8, quality=Quality.SUSPECT, reason="still drifting"), high=70.0)
    assert judged.verdict == "pass"
    assert judged.why == (
        "60.0 ± 1.6 degF is inside by at least its uncertainty: at most 70.0 degF; it is doubtful: still drifting"
    )


def test_sentences() -> None:
    assert verdict(Quantity(0.62, "inH2O", 0.03), low=0.60).why == (
        "0.620 ± 0.060 inH2O is too near a limit to tell: at least 0.600 inH2O"
    )
    assert verdict(Quantity(72.0, "degF", 0.8), 35.0, 65.0).why == (
        "72.0 ± 1.6 degF is outside by at least its uncertainty: 35.0 to 65.0 degF"
    )
    assert verdict(Quantity(50.0, "degF", 0.8), 35.0, 65.0, guard=1.5).why == (
        "50.0 ± 1.6 degF is inside by at least 1.5 times its uncertainty: 35.0 to 65.0 degF"
    )


# --- What would tell --------------------------------------------------------------------------------------------------

OFFSET = Error("draft meter: offset", "rectangular")
GAIN = Error("draft meter: gain", "rectangular")
SCATTER = Error("scatter", statistical=True)
POINT = Error("switch: closing point", "rectangular")


def of(value: float, **parts: float) -> Quantity:
    known = {"offset": OFFSET, "gain": GAIN, "scatter": SCATTER, "point": POINT}
    budget = tuple((known[name], share) for name, share in parts.items())
    return Quantity(value, "inH2O", math.hypot(*parts.values()), budget=budget)


def test_a_better_meter() -> None:
    # 0.05 in hand: u may be 0.025; scatter of 0.010 leaves sqrt(0.025^2 - 0.010^2) = 0.0229 to the meter, now 0.05
    judged = verdict(of(0.65, offset=0.04, gain=-0.03, scatter=0.010), low=0.60)
    assert (
        judged.remedy == "a better meter or figure for draft meter (standard uncertainty at most 0.022 inH2O, now 0.05)"
    )


def test_a_longer_reading() -> None:
    # u may be 0.025; the meter's 0.015 leaves 0.020 of scatter, which is 0.05: (0.05 / 0.020)^2 = 6.25 times as long
    judged = verdict(of(0.65, offset=0.015, scatter=0.05), low=0.60)
    assert judged.remedy == "a longer reading (about 7 times as long)"


def test_what_takes_both() -> None:
    # u may be 0.025; neither 0.03 of the meter nor 0.05 of scatter may stay: both down to 0.025 / hypot(0.03, 0.05)
    judged = verdict(of(0.65, offset=0.03, scatter=0.05), low=0.60)
    share = 0.025 / math.hypot(0.03, 0.05)
    assert math.ceil(share**-2) == 6
    assert judged.remedy == (
        "a longer reading (about 6 times as long) and a better meter or figure for draft meter: offset"
        " (standard uncertainty at most 0.012 inH2O, now 0.03)"
    )


def test_at_the_limit_itself_nothing_helps() -> None:
    judged = verdict(of(0.602, offset=0.03, scatter=0.05), low=0.60)
    assert judged.remedy == "neither a better meter nor a longer reading: it is at the limit itself"
    assert verdict(of(0.598, offset=0.03), low=0.60).remedy == judged.remedy


def test_a_quantity_without_a_budget_names_no_meter() -> None:
    judged = verdict(Quantity(0.48, "inH2O", 0.02), high=0.50)
    assert judged.remedy == "a better meter or figure for this (standard uncertainty at most 0.01 inH2O, now 0.02)"


SIZES = st.floats(0.001, 1)


@settings(deadline=None)
@example(distance=-1.5, sizes={"offset": 0.25, "scatter": 1.0, "point": 0.25}, window=None, guard=1.5)
@given(
    distance=st.floats(-3, 3),
    sizes=st.fixed_dictionaries({"offset": SIZES, "scatter": SIZES, "point": SIZES}),
    window=st.one_of(st.none(), st.floats(0.5, 20)),
    guard=st.sampled_from([0.5, 1.0, 1.5]),
)
def test_what_is_advised_does_tell(
    distance: float, sizes: dict[str, float], window: float | None, guard: float
) -> None:
    quantity = of(10.0, **sizes)
    low = 10.0 - distance
    high = None if window is None else low + window
    judged = verdict(quantity, low, high, guard)
    assume(judged.verdict == "cannot_tell" and not judged.remedy.startswith("neither"))
    better = verdict(improved(quantity, judged), low, high, guard)
    assert better.verdict in ("pass", "fail")
    assert (better.probability > 0.5) == (better.verdict == "pass")


def improved(quantity: Quantity, judged: Conformity) -> Quantity:
    """The quantity after the advice was taken, read from its own words."""
    shares = dict(quantity.budget)
    for name, most in re.findall(r"figure for (.+?) \(standard uncertainty at most ([\d.e-]+) inH2O", judged.remedy):
        error = next(error for error in shares if error.name == name)
        assert float(most) < shares[error]
        shares[error] = float(most)
    for times in re.findall(r"about (\d+) times as long", judged.remedy):
        assert int(times) > 1
        shares[SCATTER] /= math.sqrt(int(times))
    budget = tuple(shares.items())
    return replace(quantity, u=math.hypot(*shares.values()), budget=budget)


@pytest.mark.parametrize(
    ("low", "high", "guard", "words"),
    [
        (None, None, 1.0, "needs a limit that is a number"),
        (math.nan, None, 1.0, "needs a limit that is a number"),
        (70.0, 60.0, 1.0, "the lower limit 70.0 is above the upper limit 60.0"),
        (60.0, None, -1.0, "a guard band of -1.0 times"),
        (60.0, None, math.nan, "a guard band of nan times"),
    ],
)
def test_a_wrong_request_is_refused(low: float | None, high: float | None, guard: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        verdict(Quantity(65.0, "degF", 1.0), low, high, guard)
