"""Uncertainty carried through functions, against a Monte Carlo of the tests' own with scipy's distributions.

"From memory": the example of JCGM 101 is known, its text was not at hand.
"""

import math
from collections.abc import Callable, Mapping
from functools import lru_cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from analysis import combustion
from analysis.airflow import external_static, flow_from_rise, temperature_rise
from analysis.draft import margin
from analysis.gas import meter_input
from analysis.humidity import largest_without_condensation, surface_margin
from analysis.propagation import correlation, monte_carlo, propagate
from analysis.psychrometrics import dew_point, humidity_ratio, saturation_pressure
from analysis.quantity import Error, Quality, Quantity
from tests.analysis.test_propagation import ROOT3, co_air_free, hinge, limits, of, root, run, size

DRAWS = 200_000


@lru_cache(maxsize=64)
def standard_draws(shape: str, number: int) -> NDArray[np.float64]:
    spread = stats.uniform(-ROOT3, 2 * ROOT3) if shape == "rectangular" else stats.norm()
    return np.asarray(spread.rvs(DRAWS, random_state=np.random.Generator(np.random.Philox(4711 + number))), np.float64)


def simulated(function: Callable[..., ArrayLike], inputs: Mapping[str, object]) -> NDArray[np.float64]:
    """Draws of the result, by code of its own: every error, known by its name, from scipy's distributions."""
    numbers: dict[str, int] = {}
    moved: dict[str, object] = {}
    for key, given_ in inputs.items():
        if isinstance(given_, Quantity):
            drawn = np.full(DRAWS, float(given_.value))
            for error, share in given_.budget:
                drawn += share * standard_draws(error.shape, numbers.setdefault(error.name, len(numbers)))
            moved[key] = drawn
        else:
            moved[key] = given_
    result = np.asarray(function(**moved), np.float64)
    return result[np.isfinite(result)]


def total(a: ArrayLike, b: ArrayLike, c: ArrayLike, d: ArrayLike) -> NDArray[np.float64]:
    return np.add(np.add(a, b), np.add(c, d))


def test_sum_of_four() -> None:
    # JCGM 101, 9.2 (from memory): four normal or four rectangular of standard deviation 1: u 2.00; 95 % interval
    # +-3.92 for normal ones and by first order, +-3.88 for rectangular ones by Monte Carlo
    normal = {name: of(0, 1, name) for name in "abcd"}
    rectangular = {name: limits(0, ROOT3, name) for name in "abcd"}
    for inputs, end in ((normal, 3.92), (rectangular, 3.88)):
        found = propagate(total, inputs, unit="")
        assert found.linear
        assert_allclose(found.quantity.u, 2.0, rtol=1e-9)
        drawn = monte_carlo(total, inputs)
        assert_allclose(drawn.u, 2.00, atol=0.01)
        assert_allclose(drawn.interval, (-end, end), atol=0.03)
    exact = (stats.irwinhall(4).ppf(0.975) - 2) * 2 * ROOT3
    assert_allclose(exact, 3.88, atol=0.005)
    # The same with one ten times as wide: u 10.1 to first order, Monte Carlo +-17.0 (and not 1.96 * 10.1 = 19.8)
    wide = rectangular | {"d": limits(0, 10 * ROOT3, "d")}
    assert_allclose(propagate(total, wide, unit="").quantity.u, 10.1, atol=0.06)
    assert_allclose(monte_carlo(total, wide).interval, (-17.0, 17.0), atol=0.1)


def weight(
    reference: ArrayLike, added: ArrayLike, air: ArrayLike, weight_: ArrayLike, standard: ArrayLike
) -> NDArray[np.float64]:
    buoyancy = (np.asarray(air) - 1.2) * (1 / np.asarray(weight_) - 1 / np.asarray(standard))
    return np.subtract(np.add(reference, added) * (1 + buoyancy), 100_000)


def test_calibration_of_a_mass() -> None:
    # JCGM 101, 9.3 (from memory): 1.2340 mg; first order 0.0539; Monte Carlo 0.0754, interval 1.0834 to 1.3825; with
    # terms of higher order 0.0750. Every derivative of the buoyancy is zero, and so is its slope along the gradient.
    inputs = {
        "reference": of(100_000, 0.050, "reference"),
        "added": of(1.234, 0.020, "added"),
        "air": limits(1.20, 0.10, "air"),
        "weight_": limits(8000, 1000, "weight"),
        "standard": limits(8000, 50, "standard"),
    }
    found = propagate(weight, inputs, unit="mg")
    assert not found.linear
    assert_allclose(math.hypot(0.050, 0.020), 0.0539, atol=5e-5)
    assert_allclose(found.quantity.value, 1.2340, atol=5e-5)
    assert_allclose(found.quantity.u, 0.0754, rtol=0.005)
    assert found.quantity.interval is not None
    assert_allclose(found.quantity.interval, (1.0834, 1.3825), atol=0.003)


Draw = Callable[[np.random.Generator], dict[str, object]]


def errors_of(generator: np.random.Generator, name: str, value: float, size: float) -> Quantity:
    """A reading of one of two meters, so that readings often share gain and offset."""
    meter = f"meter {generator.integers(2)}"
    budget = (
        (Error(f"{meter}: gain", "rectangular"), value * generator.uniform(0, 0.01)),
        (Error(f"{meter}: offset", "rectangular"), size * generator.uniform(0, 1)),
        (Error(f"{meter}: resolution, {name}", "rectangular"), size * generator.uniform(0, 0.3)),
        (Error(f"{name}: scatter", statistical=True), size * generator.uniform(0.1, 1)),
    )
    return Quantity(value, "", math.hypot(*(share for _, share in budget)), budget=budget)


def draw_rise(generator: np.random.Generator) -> dict[str, object]:
    first, second = generator.uniform(10, 25), generator.uniform(30, 70)
    return {"temp_return": errors_of(generator, "r", first, 0.5), "temp_supply": errors_of(generator, "s", second, 0.5)}


def draw_margin(generator: np.random.Generator) -> dict[str, object]:
    acting, closing = generator.uniform(50, 400, 2)
    return {"pressure": errors_of(generator, "p", acting, 3), "closing": errors_of(generator, "c", closing, 8)}


def draw_static(generator: np.random.Generator) -> dict[str, object]:
    after, before = generator.uniform(10, 150), generator.uniform(-120, -5)
    return {"supply": errors_of(generator, "s", after, 3), "return_": errors_of(generator, "r", before, 3)}


def draw_saturation(generator: np.random.Generator) -> dict[str, object]:
    return {
        "temp": errors_of(generator, "t", generator.uniform(-20, 60), 0.5),
        "over": str(generator.choice(["ice", "water"])),
    }


def draw_air(generator: np.random.Generator) -> dict[str, object]:
    temp, humidity = generator.uniform(10, 35), generator.uniform(0.3, 0.85)
    return {"temp": errors_of(generator, "t", temp, 0.4), "humidity": errors_of(generator, "h", humidity, 0.02)}


def draw_surface(generator: np.random.Generator) -> dict[str, object]:
    air = draw_air(generator)
    surface = errors_of(generator, "x", generator.uniform(0, 20), 0.5)
    return {"temp_surface": surface, "temp_air": air["temp"], "humidity_air": air["humidity"]}


def draw_flow(generator: np.random.Generator) -> dict[str, object]:
    heat = generator.uniform(10_000, 30_000)
    rest = {"heat": errors_of(generator, "q", heat, 400), "ratio": 0.005, "pressure": 101_325.0}
    return draw_rise(generator) | rest


def draw_flue(generator: np.random.Generator) -> dict[str, object]:
    co, o2 = generator.uniform(60e-6, 300e-6), generator.uniform(0.03, 0.13)
    return {"co": errors_of(generator, "co", co, 5e-6), "o2": errors_of(generator, "o2", o2, 0.002)}


def draw_meter(generator: np.random.Generator) -> dict[str, object]:
    clocked: dict[str, object] = {
        "volume": errors_of(generator, "v", 0.05, 0.0003),
        "seconds": errors_of(generator, "s", 70, 0.5),
    }
    return {**clocked, "heating_value": errors_of(generator, "h", 38e6, 4e5)}


def draw_glass(generator: np.random.Generator) -> dict[str, object]:
    surface = errors_of(generator, "s", generator.uniform(0, 15), 0.5)
    return {"temp_surface": surface, "temp_room": errors_of(generator, "r", 21, 0.5)}


@pytest.mark.parametrize(
    ("function", "draw", "cases"),
    [
        (temperature_rise, draw_rise, 50),
        (margin, draw_margin, 50),
        (external_static, draw_static, 30),
        (saturation_pressure, draw_saturation, 30),
        (dew_point, draw_air, 25),
        (surface_margin, draw_surface, 25),
        (flow_from_rise, draw_flow, 25),
        (combustion.co_air_free, draw_flue, 25),
        (meter_input, draw_meter, 25),
        (largest_without_condensation, draw_glass, 25),
        (lambda temp, humidity: humidity_ratio(temp, humidity, 95_000.0), draw_air, 25),
    ],
)
def test_standard_uncertainty_against_monte_carlo(function: Callable[..., ArrayLike], draw: Draw, cases: int) -> None:
    generator = np.random.default_rng(20_260)
    straight, worst = 0, 0.0
    for _ in range(cases):
        inputs = draw(generator)
        found = propagate(function, inputs, unit="")
        expected = float(np.std(simulated(function, inputs), ddof=1))
        worst = max(worst, abs(found.quantity.u / expected - 1))
        straight += found.linear
        assert_allclose(math.hypot(*(share for _, share in found.quantity.budget)), found.quantity.u, rtol=1e-9)
    print(f"{function.__name__}: {cases} cases, {straight} along straight lines, u within {worst:.2%}")  # noqa: T201
    assert worst < 0.02
    assert straight >= 0.8 * cases


def test_correlated_normal_inputs_against_draws_from_their_covariance() -> None:
    # The inputs drawn together from the covariance that the budgets stand for, and not error by error
    shares = np.array([[0.3, 0.2, 0.0], [0.0, 0.25, 0.1]])
    sources = [Error(name) for name in ("first", "second", "third")]
    temp, humidity = (
        Quantity(value, "", float(np.linalg.norm(row)), budget=tuple(zip(sources, map(float, row), strict=True)))
        for value, row in ((21.0, shares[0]), (0.4, shares[1] / 10))
    )
    covariance = np.diag([1, 0.1]) @ shares @ shares.T @ np.diag([1, 0.1])
    drawn = np.random.default_rng(77).multivariate_normal([21.0, 0.4], covariance, DRAWS)
    expected = np.std(np.asarray(dew_point(drawn[:, 0], drawn[:, 1])), ddof=1)
    assert_allclose(run(dew_point, temp=temp, humidity=humidity).quantity.u, expected, rtol=0.01)
    assert_allclose(correlation(temp, humidity), np.asarray(np.corrcoef(drawn.T))[0, 1], atol=0.01)


def step(altitude: ArrayLike) -> NDArray[np.float64]:
    height = np.asarray(altitude, np.float64)
    return np.where(height > 2000, 1 - 0.00004 * height, 1.0)


def product(first: ArrayLike, second: ArrayLike) -> NDArray[np.float64]:
    return np.multiply(first, second)


CURVED: list[tuple[Callable[..., ArrayLike], dict[str, Quantity], str]] = [
    (co_air_free, {"co": of(60, 3, "co"), "o2": of(16, 0.4, "o2")}, "the uncertainty of o2"),
    (co_air_free, {"co": of(60, 3, "co"), "o2": limits(17, 0.5, "o2")}, "the uncertainty of o2"),
    (co_air_free, {"co": of(60, 3, "co"), "o2": limits(18, 0.5, "o2")}, "the uncertainty of o2"),
    (co_air_free, {"co": of(60, 3, "co"), "o2": limits(19, 0.5, "o2")}, "the uncertainty of o2"),
    (co_air_free, {"co": limits(60, 10, "co"), "o2": limits(20, 0.5, "o2")}, "the uncertainty of o2"),
    (combustion.co_air_free, {"co": of(6e-5, 3e-6, "co"), "o2": of(0.155, 0.003, "o2")}, "the uncertainty of o2"),
    (root, {"margin": of(10, 5, "margin")}, "the uncertainty of margin"),
    (root, {"margin": of(1, 5, "margin")}, "the uncertainty of margin"),
    (hinge, {"pressure": of(0, 1, "pressure")}, "the uncertainty of pressure"),
    (hinge, {"pressure": of(1.5, 1, "pressure")}, "the uncertainty of pressure"),
    (size, {"x": of(0.2, 1, "x")}, "the uncertainty of x"),
    (step, {"altitude": limits(1900, 200, "altitude")}, "the uncertainty of altitude"),
    (product, {"first": of(0, 1, "first"), "second": of(1, 0.5, "second")}, "reach together"),
    (lambda x: x**2, {"x": of(0, 1, "x")}, "the uncertainty of x"),
    (lambda x: x**3, {"x": limits(0, 1, "x")}, "the uncertainty of x"),
    (dew_point, {"temp": of(21, 0.5, "temp"), "humidity": of(0.06, 0.01, "humidity")}, "the uncertainty of humidity"),
    (dew_point, {"temp": of(21, 0.5, "temp"), "humidity": of(0.99, 0.01, "humidity")}, "the uncertainty of humidity"),
]


@pytest.mark.parametrize(("function", "inputs", "words"), CURVED)
def test_where_straight_lines_end_it_says_so_and_draws(
    function: Callable[..., ArrayLike], inputs: dict[str, Quantity], words: str
) -> None:
    found = propagate(function, inputs, unit="")
    assert not found.linear
    assert "200,000 random draws (JCGM 101), because" in found.way
    assert words in found.way
    drawn = simulated(function, inputs)
    assert_allclose(found.quantity.u, np.std(drawn, ddof=1), rtol=0.02)
    assert found.quantity.interval is not None
    assert_allclose(found.quantity.interval, np.quantile(drawn, [0.025, 0.975]), atol=0.03 * found.quantity.u)
    assert_allclose(found.missing, 1 - drawn.size / DRAWS, atol=0.005)
    assert_allclose(math.hypot(*(share for _, share in found.quantity.budget)), found.quantity.u, rtol=1e-9)


def test_the_budget_of_draws_keeps_what_is_straight() -> None:
    # max(x, 0) at 1.5 +- 1: the best straight fit has the slope Phi(1.5), since E[x f(x)] = E[f'(x)] for a normal x
    # (Stein); what is left is no error of x and does not correlate with it
    given_ = of(1.5, 1, "pressure")
    found = run(hinge, pressure=given_).quantity
    slope = stats.norm.cdf(1.5)
    assert_allclose(dict(found.budget)[Error("pressure")], slope, rtol=0.005)
    assert found.budget[-1][0].name == "hinge: not straight at 1.5 "
    assert_allclose(correlation(found, given_), slope / found.u, rtol=0.01)
    other = run(hinge, pressure=of(1.6, 1, "another")).quantity
    assert correlation(found, other) == 0


def test_what_goes_in_step_with_the_line_is_noticed() -> None:
    # A weak cubic term adds to u what stays small at every single point
    def bowed(x: ArrayLike) -> NDArray[np.float64]:
        return np.add(x, 0.02 * np.power(x, 3))

    found = run(bowed, x=of(0, 1, "x"))
    assert_allclose(found.quantity.u, math.sqrt(1 + 6 * 0.02 + 15 * 0.02**2), rtol=0.01)
    # Between limits it stays below a tenth of u everywhere and adds 3.6 %: E[x^4] = 9/5, E[x^6] = 27/7
    bounded = run(bowed, x=limits(0, ROOT3, "x"))
    assert_allclose(bounded.quantity.u, math.sqrt(1 + 2 * 0.02 * 9 / 5 + 0.02**2 * 27 / 7), rtol=0.01)
    # Six terms of 0.11 x^2: each is within what is allowed of the joint u, together they add 1.2 % to it
    inputs = {name: of(0, 1, name) for name in "abcdef"}

    def bent(**parts: ArrayLike) -> NDArray[np.float64]:
        return np.asarray(sum(np.add(part, 0.11 * np.power(part, 2)) for part in parts.values()), np.float64)

    several = propagate(bent, inputs, unit="")
    assert not several.linear
    assert_allclose(several.quantity.u, math.sqrt(6 * (1 + 2 * 0.11**2)), rtol=0.01)


def test_a_kink_that_hardly_any_draw_reaches_does_no_harm() -> None:
    found = run(hinge, pressure=of(2.9, 1, "pressure"))
    assert found.linear
    expected = np.std(simulated(hinge, {"pressure": of(2.9, 1, "pressure")}))
    assert_allclose(found.quantity.u, expected, rtol=0.01)


def test_a_distribution_without_a_standard_deviation_gets_none() -> None:
    # 20.0 +- 0.3 % oxygen: 1 / (20.9 - o2) has no variance, whatever a number of draws seems to say
    found = run(co_air_free, co=of(60, 3, "co"), o2=of(20, 0.3, "o2"))
    assert math.isnan(found.quantity.u)
    assert (found.quantity.budget, found.quantity.quality) == ((), Quality.SUSPECT)
    assert "tails of co_air_free are too long" in found.quantity.reason
    drawn = simulated(co_air_free, {"co": of(60, 3, "co"), "o2": of(20, 0.3, "o2")})
    assert found.quantity.interval is not None
    assert_allclose(found.quantity.interval, np.quantile(drawn, [0.025, 0.975]), rtol=0.05)
