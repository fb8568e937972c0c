"""Accuracy statements: what they mean, what they are made of, and what is refused."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from analysis import uncertainty
from analysis.airflow import temperature_rise
from analysis.draft import margin
from analysis.points import MEASURES
from analysis.quantity import Error, Quality, Quantity
from analysis.uncertainty import Accuracy, AccuracyError, combine, correlation, propagate, verdict

ROOT3, ROOT12 = math.sqrt(3), math.sqrt(12)
INCH = 249.08891
"""[Pa]"""

STATEMENTS = [
    # statement, reading, unit, standard uncertainty in that unit by hand arithmetic
    ("0.5 % + 0.01 inH2O", 0.68, "inH2O", math.hypot(0.0034 / ROOT3, 0.01 / ROOT3)),
    ("0.5 % + 0.01 inH2O", -0.68, "inH2O", math.hypot(0.0034 / ROOT3, 0.01 / ROOT3)),
    ("0.5 % + 0.01 inH2O", 0.68 * INCH, "Pa", INCH * math.hypot(0.0034 / ROOT3, 0.01 / ROOT3)),
    ("±1 % ± 2 digits, resolution 0.01 inH2O", 2.0, "inH2O", math.hypot(0.02 / ROOT3, 0.02 / ROOT3, 0.01 / ROOT12)),
    ("+/- 1 % +- 2 dgts and resolution: 0.01 inH2O", 2.0, "inH2O", math.sqrt(0.0004 / 3 + 0.0004 / 3 + 0.0001 / 12)),
    ("±(1 % of reading + 0.1 uA)", 3.0, "uA", math.hypot(0.03 / ROOT3, 0.1 / ROOT3)),
    ("2 % of 10 inH2O", 0.3, "inH2O", 0.2 / ROOT3),
    ("2 % FS of 10 inH2O", 0.3, "inH2O", 0.2 / ROOT3),
    ("2 % of full scale of 10 inH2O", 0.3, "inH2O", 0.2 / ROOT3),
    ("2 % FS (10 inH2O)", 0.3, "inH2O", 0.2 / ROOT3),
    ("class 1.0 of 10 inH2O", 5.0, "inH2O", 0.1 / ROOT3),
    ("1 degF", 118.0, "degF", 1 / ROOT3),
    ("1 degF", 20.0, "degC", 1 / 1.8 / ROOT3),
    ("1 K", 50.0, "degF", 1.8 / ROOT3),
    ("0.5 % of reading + 0.01 inH2O, resolution 0.01 inH2O", 1.0, "inH2O", math.sqrt(0.000125 / 3 + 0.0001 / 12)),
    ("u 0.02 inH2O", 1.0, "inH2O", 0.02),
    ("u = 0.02 inH2O", 1.0, "inH2O", 0.02),
    ("0.05 inH2O k=2", 1.0, "inH2O", 0.025),
    ("U = 0.05 inH2O (k = 2)", 1.0, "inH2O", 0.025),
    ("U = 0.05 inH2O, k=2.5", 1.0, "inH2O", 0.02),
    ("1 % k=2", 3.0, "V", 0.015),
    ("0.01 inH2O resolution", 1.0, "inH2O", 0.01 / ROOT12),
    ("5 %", 60.0, "ppm", 3 / ROOT3),
    ("5 ppm and 5 %", 60e-6, "1", math.hypot(5e-6, 3e-6) / ROOT3),
    ("3 %RH", 40.0, "%", 3 / ROOT3),
    ("3 percentage points", 0.40, "1", 0.03 / ROOT3),
    ("0.2 vol %", 8.0, "%", 0.2 / ROOT3),
    (".5% rdg", 10.0, "V", 0.05 / ROOT3),
    ("1e-2 inH2O + 1e+0 %", 1.0, "inH2O", math.hypot(0.01, 0.01) / ROOT3),
]

TYPICAL = [
    # "Typical accuracies" of common practice as they are written on sheets; the thermocouples are ASTM E230
    "0.5 % of reading + 0.01 inH2O",
    "±2 % of full scale 1 inH2O",
    "greater of 2.2 degC or 0.75 %",
    "±1.1 degC or ±0.4 %, whichever is greater",
    "the greater of 1.0 degC or 1.5 %",
    "±0.5 degC",
    "±3 %RH, resolution 0.1 %",
    "±10 ppm, 5 % of reading",
    "±2 % ± 0.1 µA",
]


@pytest.mark.parametrize(("text", "value", "unit", "expected"), STATEMENTS)
def test_what_a_statement_makes_of_a_reading(text: str, value: float, unit: str, expected: float) -> None:
    assert_allclose(Accuracy.parse(text).u(value, unit), expected, rtol=1e-6)


@pytest.mark.parametrize("text", [text for text, *_ in STATEMENTS] + TYPICAL)
def test_canonical_text_parses_to_the_same(text: str) -> None:
    accuracy = Accuracy.parse(text)
    assert Accuracy.parse(str(accuracy)) == accuracy
    assert str(Accuracy.parse(str(accuracy))) == str(accuracy)


def test_canonical_texts() -> None:
    assert str(Accuracy.parse("±1 % ± 2 digits, resolution 0.01 inH2O")) == (
        "1 % of reading + 0.02 inH2O + resolution 0.01 inH2O"
    )
    assert str(Accuracy.parse("class 1.0 of 10 inH2O")) == "1 % of 10 inH2O"
    assert str(Accuracy.parse("U=0.05 inH2O, k=2 + u 1 Pa")) == "0.05 inH2O k=2 + u 1 Pa"
    assert str(Accuracy.parse("2.2 degC or 0.75 %, whichever is greater")) == (
        "greater of 2.2 degC or 0.75 % of reading"
    )


@pytest.mark.parametrize(
    ("measure", "absolute"),
    [("humidity", True), ("fraction", True), ("trace", False), ("pressure", False), ("", False)],
)
def test_a_bare_percentage_is_of_the_reading_except_where_the_reading_is_shown_in_percent(
    measure: str, absolute: bool
) -> None:
    # 3 % at 40 %: 3 percentage points, or 3 % of 40 % = 1.2 percentage points
    accuracy = Accuracy.parse("3 %", measure)
    unit = MEASURES[measure].inside if measure else "1"
    assert_allclose(accuracy.u(0.40, unit), (0.03 if absolute else 0.012) / ROOT3, rtol=1e-9)
    assert_allclose(Accuracy.parse("3 % of reading", measure).u(0.40, unit), 0.012 / ROOT3, rtol=1e-9)
    assert Accuracy.parse(str(accuracy), measure) == accuracy
    assert Accuracy.parse(str(accuracy)) == accuracy


def test_a_thermocouple_has_the_greater_of_two_limits() -> None:
    # ASTM E230: type K, standard: the greater of 2.2 degC or 0.75 %; they meet at 2.2 / 0.0075 = 293.3 degC
    wire = Accuracy.parse("greater of 2.2 degC or 0.75 %")
    for celsius, limit in ((20.0, 2.2), (293.0, 2.2), (400.0, 3.0), (1000.0, 7.5), (-400.0, 3.0)):
        assert_allclose(wire.u(celsius, "degC"), limit / ROOT3, rtol=1e-9)


def test_a_percentage_of_a_temperature_counts_on_the_scale_of_the_statement() -> None:
    # ASTM E230, note: percentages apply to temperatures in degC, and the tolerance in degF is 1.8 times as large:
    # 752 degF = 400 degC: 0.75 % of 400 degC = 3 degC = 5.4 degF
    wire = Accuracy.parse("greater of 2.2 degC or 0.75 %")
    assert_allclose(wire.u(752.0, "degF"), 5.4 / ROOT3, rtol=1e-9)
    assert_allclose(Accuracy.parse("0.75 %").u(752.0, "degF"), 5.4 / ROOT3, rtol=1e-9)
    # A sheet in degF: 1 % of 150 degF = 1.5 degF, whatever unit the reading comes in (150 degF = 65.556 degC)
    fahrenheit = Accuracy.parse("1 % + 1 degF")
    assert_allclose(fahrenheit.u(150.0, "degF"), math.hypot(1.5, 1) / ROOT3, rtol=1e-9)
    assert_allclose(fahrenheit.u((150 - 32) / 1.8, "degC"), math.hypot(1.5, 1) / 1.8 / ROOT3, rtol=1e-9)
    # A difference that the meter itself gives has no zero of a scale: 1 % of 25 K
    assert_allclose(Accuracy.parse("1 %").u(25.0, "K"), 0.25 / ROOT3, rtol=1e-9)


@pytest.mark.parametrize(
    ("text", "measure", "words"),
    [
        ("", "", "nothing is stated"),
        ("about right", "", "'about right' is not understood; write for example"),
        ("0,5 %", "", "decimals with a point"),
        ("0.5 % +", "", "part is missing"),
        ("0.5 % + + 1 Pa", "", "part is missing"),
        ("3", "", "'3' has no unit"),
        ("2 % FS", "", "does not say what full scale is"),
        ("2 digits", "", "does not say what one is"),
        ("0 %", "", "not a number above zero"),
        ("1e999 Pa", "", "not a number above zero"),
        ("-1 %", "", "not understood"),
        ("1 inH20", "", "nearest known: inH2O"),
        ("1 Pa + 1 degC", "", "does not measure what 'Pa' does"),
        ("1 Pa", "temperature", "'Pa' is not a unit of temperature"),
        ("U 0.05 inH2O", "", "expanded"),
        ("u 0.05 inH2O k=2", "", "standard"),
        ("resolution 1 % of reading", "", "not a step of the display"),
        ("1(degC)", "", "'(degC)' is no unit"),
        ("0.5 k=2 0.5 inH2O k=2 K", "", "is no unit for an accuracy"),
        ("1 Pa + " * 60, "", "longer than 300 characters"),
    ],
)
def test_a_statement_that_is_refused_says_why_in_one_sentence(text: str, measure: str, words: str) -> None:
    with pytest.raises(AccuracyError) as caught:
        Accuracy.parse(text, measure)
    message = str(caught.value)
    assert words in message
    assert message.startswith("accuracy '")
    assert "\n" not in message


def test_an_unknown_measure_is_a_wrong_request() -> None:
    with pytest.raises(ValueError, match="unknown measure 'humidty'; nearest known: humidity"):
        Accuracy.parse("3 %", "humidty")


_NUMBERS = st.floats(1e-6, 1e6).map(repr) | st.sampled_from(["0.5", "1", "2", ".01", "0", "1e400", "1,5"])
_UNITS = st.sampled_from(
    ["%", "inH2O", "Pa", "degF", "degC", "K", "digits", "%RH", "ppm", "dB", "degC/m", "", "parsec"]
)
_WORDS = ["+", "±", "and", ",", "(", ")", "of", "or", "greater of", "FS", "class", "resolution", "u", "U", "k=2", "k ="]


@settings(deadline=None)
@given(text=st.text(max_size=320), measure=st.sampled_from(["", *MEASURES]))
@example(text="5 degC\x00", measure="")
@example(text="1 m**99999999", measure="")
@example(text="1 __import__", measure="")
def test_any_text_is_read_or_refused(text: str, measure: str) -> None:
    read_or_refused(text, measure)


@settings(deadline=None)
@given(
    words=st.lists(_NUMBERS | _UNITS | st.sampled_from(_WORDS), max_size=12), measure=st.sampled_from(["", *MEASURES])
)
def test_any_words_of_statements_are_read_or_refused(words: list[str], measure: str) -> None:
    read_or_refused(" ".join(words), measure)


def read_or_refused(text: str, measure: str) -> None:
    refused = ""
    try:
        accuracy = Accuracy.parse(text, measure)
    except AccuracyError as error:
        refused = str(error)
    else:
        assert Accuracy.parse(str(accuracy), measure) == accuracy
    assert len(refused.splitlines()) <= 1


@st.composite
def statements(draw: st.DrawFn) -> tuple[str, float]:
    """A statement in inches of water, and its standard uncertainty at 2.5 in. w.c. after JCGM 100, 4.3.7."""
    parts, squares = [], []
    step = draw(st.floats(0.001, 0.1))
    for kind in draw(
        st.lists(st.sampled_from(["gain", "offset", "scale", "u", "k", "digits"]), min_size=1, max_size=5)
    ):
        size = draw(st.floats(0.001, 5))
        words, limit, divisor = {
            "gain": (f"{size!r} %", size / 100 * 2.5, ROOT3),
            "offset": (f"{size!r} inH2O", size, ROOT3),
            "scale": (f"{size!r} % FS of 10 inH2O", size / 10, ROOT3),
            "u": (f"u {size!r} inH2O", size, 1.0),
            "k": (f"{size!r} inH2O k=2", size, 2.0),
            "digits": (f"{size!r} digits", size * step, ROOT3),
        }[kind]
        parts.append(words)
        squares.append((limit / divisor) ** 2)
    separator = draw(st.sampled_from([" + ", " ± ", ", ", " and ", "+", ", ± "]))
    return separator.join([*parts, f"resolution {step!r} inH2O"]), math.sqrt(sum(squares) + (step / ROOT12) ** 2)


@settings(deadline=None)
@given(statement=statements())
def test_parts_add_up_as_independent_errors(statement: tuple[str, float]) -> None:
    text, expected = statement
    accuracy = Accuracy.parse(text, "pressure")
    assert_allclose(accuracy.u(2.5, "inH2O"), expected, rtol=1e-9)
    assert_allclose(accuracy.u(2.5 * INCH, "Pa"), expected * INCH, rtol=1e-6)
    assert Accuracy.parse(str(accuracy)) == accuracy


def test_budget_names_every_part_with_its_shape_and_sign() -> None:
    accuracy = Accuracy.parse("1 % + 0.01 inH2O + 2 % of 10 inH2O, resolution 0.01 inH2O, u 0.02 inH2O, 0.03 inH2O")
    quantity = accuracy.quantity(-2.0, "inH2O", meter="draft meter", reading="collector")
    assert [(error.name, error.shape) for error, _ in quantity.budget] == [
        ("draft meter: gain", "rectangular"),
        ("draft meter: offset", "rectangular"),
        ("draft meter: linearity, collector", "rectangular"),
        ("draft meter: resolution, collector", "rectangular"),
        ("draft meter: stated uncertainty, collector", "normal"),
        ("draft meter: offset 2", "rectangular"),
    ]
    shares = [share for _, share in quantity.budget]
    assert_allclose(shares, [-0.02 / ROOT3, 0.01 / ROOT3, 0.2 / ROOT3, 0.01 / ROOT12, 0.02, 0.03 / ROOT3], rtol=1e-9)
    assert_allclose(quantity.u, math.hypot(*shares), rtol=1e-12)
    assert quantity.quality == Quality.GOOD
    assert not any(error.statistical for error, _ in quantity.budget)


def test_a_reading_that_is_not_there_has_no_uncertainty() -> None:
    quantity = Accuracy.parse("1 degF").quantity(math.nan, "degF", meter="thermometer", reading="supply")
    assert (quantity.quality, quantity.budget) == (Quality.BAD, ())
    assert math.isnan(quantity.u)
    assert quantity.reason == "thermometer gives no value for supply"


def test_a_statement_for_something_else_is_refused() -> None:
    for text in ("0.01 inH2O", "0.5 % + 0.01 inH2O"):
        with pytest.raises(AccuracyError, match=r"is not one for a value in 'degC'"):
            Accuracy.parse(text).u(20.0, "degC")


def rise(meters: tuple[str, str], text: str) -> Quantity:
    accuracy = Accuracy.parse(text)
    returned = accuracy.quantity(20.0, "degC", meter=meters[0], reading="temp_return")
    supplied = accuracy.quantity(50.0, "degC", meter=meters[1], reading="temp_supply")
    return propagate(temperature_rise, {"temp_return": returned, "temp_supply": supplied}, unit="K").quantity


def test_rise_of_two_thermometers() -> None:
    # JCGM 100, 4.3.7 and 5.1.2: two sensors, each +-1.0 degF rectangular: u 0.8165 degF, U 1.63299 degF
    quantity = rise(("first", "second"), "1.0 degF")
    assert_allclose(quantity.u * 1.8, 0.816497, atol=1e-6)
    assert_allclose(2 * quantity.u * 1.8, 1.63299, atol=1e-5)


def test_a_difference_of_two_readings_of_one_meter_cancels_its_offset() -> None:
    # JCGM 100, 5.2.2 and F.1.2.3: what is common to both readings cancels; two resolutions of 0.1 degF stay
    assert rise(("same", "same"), "1.0 degF").u == 0
    quantity = rise(("same", "same"), "1.0 degF, resolution 0.1 degF")
    assert_allclose(quantity.u * 1.8, math.sqrt(2) * 0.1 / ROOT12, rtol=1e-6)
    # A common gain of 1 % (in degC) leaves 1 % of the difference of 30 K
    assert_allclose(rise(("same", "same"), "1 % + 1 degC").u, 0.3 / ROOT3, rtol=1e-6)
    # What a certificate states is not known to be common, and nothing of it cancels
    assert_allclose(rise(("same", "same"), "0.4 degC k=2").u, math.sqrt(2) * 0.2, rtol=1e-6)
    assert_allclose(rise(("same", "same"), "1 % of 100 degC").u, math.sqrt(2) / ROOT3, rtol=1e-6)


def test_readings_of_one_meter_are_correlated() -> None:
    accuracy = Accuracy.parse("1 % + 0.01 inH2O, resolution 0.01 inH2O")
    first = accuracy.quantity(1.0, "inH2O", meter="meter", reading="collector")
    second = accuracy.quantity(-1.0, "inH2O", meter="meter", reading="vent")
    other = accuracy.quantity(1.0, "inH2O", meter="another", reading="collector")
    # gains of opposite sign and equal size, one offset: (-g + o) / (g + o + r) with g = o = 0.0001 / 3
    assert_allclose(correlation(first, second), 0.0, atol=1e-12)
    assert_allclose(correlation(first, first), 1.0, rtol=1e-12)
    assert correlation(first, other) == 0


def test_prove_the_switch() -> None:
    # Set-point 0.60 +-0.05 in. w.c. (rectangular), reading 0.68, meter 0.5 % + 0.01: u = 0.0295, P = 0.997 (computed
    # with scipy: Phi(0.08 / 0.0295))
    reading = Accuracy.parse("0.5 % + 0.01 inH2O").quantity(0.68, "inH2O", meter="draft meter", reading="switch")
    point = Accuracy.parse("0.05 inH2O").quantity(0.60, "inH2O", meter="switch", reading="closing point")
    found = propagate(margin, {"pressure": reading, "closing": point}, unit="inH2O")
    assert_allclose(found.quantity.value, 0.08, rtol=1e-9)
    assert_allclose(found.quantity.u, 0.0295, atol=5e-5)
    judged = verdict(found.quantity, low=0.0)
    assert_allclose(judged.probability, 0.997, atol=5e-4)
    assert judged.verdict == "pass"


def test_resolution_of_a_hundredth() -> None:
    # 0.01 in. resolution: u = 0.00289 (JCGM 100, F.2.2.1)
    assert_allclose(Accuracy.parse("resolution 0.01 inH2O").u(0.5, "inH2O"), 0.00289, atol=5e-6)


def test_a_plateau_with_the_accuracy_of_its_meter() -> None:
    scatter, drift = Error("scatter", freedom=9, statistical=True), Error("drift", "rectangular")
    plateau = Quantity(1.0, "inH2O", 0.05, 9.0, ((scatter, 0.03), (drift, 0.04)))
    both = combine(plateau, Accuracy.parse("0.1 inH2O"), meter="draft meter", reading="collector")
    assert_allclose(both.u, math.sqrt(0.03**2 + 0.04**2 + 0.01 / 3), rtol=1e-9)
    assert [error.name for error, _ in both.budget] == ["scatter", "drift", "draft meter: offset"]
    # Welch-Satterthwaite: u^4 / (0.03^4 / 9)
    assert_allclose(both.freedom, both.u**4 / (0.03**4 / 9), rtol=1e-9)
    assert (both.value, both.unit) == (1.0, "inH2O")


def test_a_plateau_that_only_gives_its_scatter() -> None:
    plateau = Quantity(1.0, "inH2O", 0.03, 9.0, interval=(0.9, 1.1))
    both = combine(plateau, Accuracy.parse("0.04 inH2O k=1"), meter="meter", reading="collector")
    assert_allclose((both.u, both.freedom), (0.05, 0.05**4 / (0.03**4 / 9)), rtol=1e-9)
    assert both.budget[0][0].statistical
    assert both.interval is None


def test_a_plateau_without_a_known_accuracy_has_no_known_uncertainty() -> None:
    plateau = Quantity(1.0, "inH2O", 0.03, 9.0, quality=Quality.SUSPECT, reason="drifting")
    none = combine(plateau, None, meter="meter", reading="collector")
    assert math.isnan(none.u)
    assert (none.value, none.budget, none.quality, none.reason) == (1.0, (), Quality.SUSPECT, "drifting")
    unknown = combine(Quantity(1.0, "inH2O"), Accuracy.parse("1 Pa"), meter="meter", reading="collector")
    assert math.isnan(unknown.u)


def test_the_face_offers_what_it_names() -> None:
    assert all(hasattr(uncertainty, name) for name in uncertainty.__all__)
    assert {"Accuracy", "verdict", "effective_freedom", "propagate"} <= set(uncertainty.__all__)
