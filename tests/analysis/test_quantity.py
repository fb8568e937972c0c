"""A quantity prints as a technician reads it, and explains itself in steps that can be challenged."""

import math

import pytest

from analysis.display import in_trade, in_unit, shown
from analysis.evaluation import evaluate
from analysis.formulas import FormulaError, formula
from analysis.quantity import Error, Quality, Quantity, plain
from analysis.units import UnitError


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (0.5, "0.5"),
        (92094.1, "92094"),
        (0.0059728, "0.005973"),
        (1234.56, "1235"),
        (-0.25, "-0.25"),
        (3.1e-7, "3.1e-07"),
        (2.5e10, "2.5e+10"),
        (99999.6, "100000"),
        (1e300, "1e+300"),
    ],
)
def test_numbers_without_powers_of_ten_where_these_are_not_needed(value: float, text: str) -> None:
    assert plain(value) == text


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        (Quantity(1.23456, "Pa", u=0.05), "1.23 ± 0.10 Pa"),
        (Quantity(57000.0, "Btu/hr", u=329.0), "57000 ± 660 Btu/hr"),
        (Quantity(0.35, "1", u=0.01), "0.350 ± 0.020"),
        (Quantity(107123.0, "Btu/hr", u=1448.0), "107100 ± 2900 Btu/hr"),
        (Quantity(2.0, "1", u=0.6, interval=(1.378, 3.983)), "2 (95 %: 1.378 to 3.983)"),
        (Quantity(math.nan, "Pa"), "no value"),
        (Quantity(5.0, "Pa", u=0.0), "5 Pa"),
        (Quantity(5.0, "Pa"), "5 Pa"),
    ],
)
def test_twice_the_standard_uncertainty_with_two_digits(quantity: Quantity, text: str) -> None:
    assert str(quantity) == text


def dew_point(humidity: float) -> Quantity:
    meter = Error("hygrometer: offset", "rectangular")
    inputs = {
        "temp": Quantity(21.1, "degC", u=0.3),
        "humidity": Quantity(humidity, "1", u=0.02, budget=((meter, 0.02),)),
    }
    return evaluate(formula("dew_point"), inputs, ["both read at the return"])[""]


def test_each_step_is_named() -> None:
    steps = dict(dew_point(0.35).steps())
    assert list(steps) == ["", "From", "Rests on", "Holds", "Method", "Source", "Uncertainty"]
    assert steps["From"] == "temp 21.10 ± 0.60 degC, humidity 0.350 ± 0.040."
    assert steps["Rests on"] == "both read at the return; not given, so taken: over ice."
    assert "most of it comes from hygrometer: offset" in steps["Uncertainty"]
    assert "ASHRAE" in steps["Source"]
    paragraph = dew_point(0.35).explain()
    assert "\n" not in paragraph
    assert all(text in paragraph for text in steps.values())


def test_no_value_says_why() -> None:
    found = dew_point(1.2)
    assert (str(found), found.quality) == ("no value", Quality.BAD)
    assert dict(found.steps())["No value"] == ("humidity = 120 % cannot be; it has to be above 0 % and at most 100 %.")


def test_a_step_that_was_computed_itself_shows_its_own_inputs() -> None:
    pressure = evaluate(formula("pressure_at_altitude"), {"altitude": Quantity(1609.344, "m")})[""]
    inputs = {"temp": Quantity(20.0, "degC"), "humidity": Quantity(0.5, "1"), "pressure": pressure}
    found = evaluate(formula("humidity_ratio"), inputs)[""]
    assert "(pressure_at_altitude of altitude 5280 ft)" in found.explain(shown)


def test_a_doubtful_input_makes_a_doubtful_result_that_says_so() -> None:
    doubtful = Quantity(21.1, "degC", u=0.3, quality=Quality.SUSPECT, reason="still drifting")
    found = evaluate(formula("dew_point"), {"temp": doubtful, "humidity": Quantity(0.35, "1", u=0.02)})[""]
    assert found.quality == Quality.SUSPECT
    assert dict(found.steps())["Doubtful"] == "temp: still drifting."


def test_an_input_that_has_no_value_leaves_none_and_passes_its_reason_on() -> None:
    nothing = Quantity(math.nan, "degC", quality=Quality.BAD, reason="the thermometer is unplugged")
    found = evaluate(formula("dew_point"), {"temp": nothing, "humidity": Quantity(0.35, "1")})[""]
    assert "the thermometer is unplugged" in found.reason


@pytest.mark.parametrize(
    ("inputs", "says"),
    [
        ({"temp": Quantity(20, "degC")}, "dew_point also needs humidity [%]"),
        ({"temp": Quantity(20, "degC"), "humidty": Quantity(0.5, "1")}, "takes no 'humidty'; nearest known: humidity"),
        ({"temp": Quantity(20, "degC"), "humidity": Quantity(0.5, "1"), "over": "wate"}, "nearest known: water"),
    ],
)
def test_a_request_that_makes_no_sense_is_refused(inputs: dict[str, Quantity | str], says: str) -> None:
    with pytest.raises(FormulaError) as caught:
        evaluate(formula("dew_point"), inputs)
    assert says in str(caught.value)


def test_one_source_of_error_through_two_formulas_is_one() -> None:
    """Density from temperature twice: the ratio of a number to itself has no uncertainty, however uncertain it is."""
    temp = Quantity(20.0, "degC", u=0.5, budget=((Error("thermometer: offset"), 0.5),))
    rise = evaluate(formula("temperature_rise"), {"temp_return": temp, "temp_supply": temp})[""]
    assert rise.value == 0.0
    assert math.isnan(rise.u)
    assert rise.how is not None
    assert "the accuracies given cancel" in rise.how.propagation
    apart = Quantity(20.0, "degC", u=0.5, budget=((Error("another: offset"), 0.5),))
    rise = evaluate(formula("temperature_rise"), {"temp_return": temp, "temp_supply": apart})[""]
    assert rise.u == pytest.approx(math.sqrt(0.5))


@pytest.mark.parametrize(
    ("name", "quantity", "text"),
    [
        ("temp", Quantity(0.0, "degC", u=0.5), "32.0 ± 1.8 degF"),
        ("temperature_rise", Quantity(10.0, "K"), "18 degF"),
        ("pressure", Quantity(101325.0, "Pa"), "14.7 psi"),
        ("draft_margin", Quantity(24.9089, "Pa"), "0.1 inH2O"),
        ("co", Quantity(60e-6, "1"), "60 ppm"),
        ("humidity", Quantity(0.35, "1"), "35 %"),
        ("specific_gravity", Quantity(0.6, "1"), "0.6"),
        ("flow", Quantity(0.4719474432, "m3/s"), "1000 cfm"),
        ("molar", Quantity(5.0, "mol"), "5 mol"),
    ],
)
def test_the_units_of_the_trade(name: str, quantity: Quantity, text: str) -> None:
    assert shown(name, quantity) == text


def test_another_unit_takes_uncertainty_budget_and_interval_along() -> None:
    error = Error("meter: offset")
    found = in_unit(Quantity(10.0, "degC", 1.0, budget=((error, -1.0),), interval=(8.0, 13.0)), "degF")
    assert found.value == pytest.approx(50.0)
    assert found.u == pytest.approx(1.8)
    ((same, part),) = found.budget
    assert same is error
    assert part == pytest.approx(-1.8)
    assert found.interval is not None
    assert list(found.interval) == pytest.approx([46.4, 55.4])
    assert in_trade("x", Quantity(1.0, "1")).unit == "1"
    with pytest.raises(UnitError, match="does not measure"):
        in_unit(Quantity(10.0, "degC"), "Pa")
