"""Units: each alias by its dimension, conversions against published figures, differences without an offset."""

import math
import subprocess
import sys
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import units
from analysis.points import DERIVED, MEASURES, POINTS, measure_of
from analysis.units import ALIASES, INCH_OF_WATER, UnitError, conversion, parse, to_inside

SAME_AS = {
    "inwc": "Pa", "in. w.c.": "Pa", "in.w.c.": "Pa", "in w.c.": "Pa", "in wc": "Pa", "inH2O": "Pa",
    "iwc": "Pa", '"wc': "Pa", '"w.c.': "Pa", '" w.c.': "Pa",
    "F": "degC", "°F": "degC", "C": "degC", "°C": "degC", "%RH": "1", "%": "1", "1": "1", "": "1",
    "cfm": "m**3/s", "Btu/h": "W", "Btu/hr": "W", "kBtu/h": "W", "kBtu/hr": "W", "µA": "A", "μA": "A",
    "Vac": "V", "Vdc": "V", "fpm": "m/s", "cu ft": "m**3", "℉": "degC", "℃": "degC",
}  # fmt: skip


@pytest.mark.parametrize("alias", sorted(ALIASES))
def test_every_alias_has_the_dimension_the_trade_means(alias):
    scale, offset = conversion(alias, SAME_AS[alias])
    assert math.isfinite(scale)
    assert math.isfinite(offset)


@pytest.mark.parametrize(
    ("text", "inside", "expected", "source"),
    [
        (
            "1 inH2O",
            "Pa",
            249.08891,
            "NIST SP 811 (2008) appendix B.8, from memory: conventional inch of water 249.0889 Pa",
        ),
        ("1 psi", "Pa", 6894.757, "NIST SP 811 appendix B.8, from memory"),
        ("70 degF", "degC", 190 / 9, "(70 - 32) / 1.8"),
        ("600 degR", "degC", (600 - 491.67) / 1.8, "0 degC is 491.67 degR"),
        ("-40 F", "degC", -40.0, "where the two scales meet"),
        ("1 kBtu/hr", "W", 293.0711, "NIST SP 811 appendix B.8, from memory: 0.2930711 W for one Btu(IT)/h"),
        ("100 cfm", "m**3/s", 0.04719474, "NIST SP 811 appendix B.8, from memory: 4.719474e-4 m3/s for one ft3/min"),
        ("2600 ft", "m", 792.48, "0.3048 m exactly"),
        ("2.5 uA", "A", 2.5e-6, "prefix"),
        ("35 %", "1", 0.35, "per cent"),
        ("9 ppm", "1", 9e-6, "parts per million"),
    ],
)
def test_conversions_against_published_figures(text, inside, expected, source):
    assert parse(text, inside) == pytest.approx(expected, rel=2e-7), source


def test_inches_of_water_in_a_pound_per_square_inch():
    """1 psi = 27.680 in. w.c. (water at 4 degC), agreement 1e-5; also 1 oz/in2 = 1.7300 in. w.c."""
    psi = parse("1 psi", "Pa") / INCH_OF_WATER
    assert psi == pytest.approx(27.680, abs=5e-4)
    assert psi / 16 == pytest.approx(1.7300, abs=5e-5)


def test_a_difference_has_no_offset():
    assert parse("36 degF", "K", difference=True) == pytest.approx(20.0)
    assert conversion("degF", "K", difference=True).offset == 0.0
    assert to_inside("degF", MEASURES["temperature_difference"]) == pytest.approx((5 / 9, 0.0))


@pytest.mark.parametrize(
    ("unit", "to", "says"),
    [
        ("inH20", "Pa", "nearest known: inH2O"),
        ("degFF", "degC", "degF"),
        ("uA", "Pa", "does not measure"),
        ("farad", "degC", "does not measure"),
        ("dB", "1", "not even"),
        ("(", "Pa", "unknown unit"),
        ("K/", "Pa", "unknown unit"),
        ("9**9**9**9", "1", "unknown unit"),
        ("m^2", "Pa", "unknown unit"),
        ("delta_degF", "degC", "unknown unit of temperature"),
        ("mK", "degC", "unknown unit of temperature"),
        ("x" * 1000, "Pa", "unknown unit"),
    ],
)
def test_a_wrong_unit_is_said_in_one_sentence(unit, to, says):
    with pytest.raises(UnitError, match=r"unit") as caught:
        conversion(unit, to)
    assert says in str(caught.value)


@pytest.mark.parametrize("text", ["", "abc", "0.5", "1e999 Pa", "0.5 inH2O 3", "nan Pa"])
def test_a_wrong_number_is_said_in_one_sentence(text):
    with pytest.raises(UnitError):
        parse(text, "Pa")


@given(st.text(max_size=30))
def test_any_text_is_a_number_or_a_unit_error(text):
    with suppress(UnitError):
        assert math.isfinite(parse(text, "Pa"))


def test_screen_units_fit_their_measures():
    for name in (*POINTS, *DERIVED):
        measure = measure_of(name)
        assert to_inside(measure.trade, measure).scale > 0
        assert to_inside(measure.metric, measure).scale > 0


def test_inch_of_water_is_the_one_at_four_degrees():
    assert pytest.approx(0.0254 * 1000 * 9.80665, rel=1e-7) == INCH_OF_WATER


@pytest.mark.parametrize(
    ("unit", "to", "scale"),
    [
        # by definition: 1 ft = 0.3048 m, 1 lb = 0.45359237 kg, 1 gr = 1/7000 lb, 1 Btu = 1055.056 J (ISO 31-4)
        ("m3/s", "ft3/min", 60 / 0.3048**3),
        ("lb/ft3", "kg/m3", 0.45359237 / 0.3048**3),
        ("gr/lb", "kg/kg", 1 / 7000),
        ("/hr", "1/s", 1 / 3600),
        ("Btu/hr/cfm/degF", "J/m3/K", 1055.056 / 3600 * 1.8 / (0.3048**3 / 60)),
        ("in2", "m2", 0.0254**2),
        ("cfm", "m3/s", 0.3048**3 / 60),
    ],
)
def test_units_of_the_trade_put_together(unit, to, scale):
    found = conversion(unit, to)
    assert found.scale == pytest.approx(scale, rel=1e-9)
    assert found.offset == 0.0


USUAL = [*units._USUAL, *units._USUAL_DEGREES]


@pytest.mark.parametrize("difference", [False, True])
@pytest.mark.parametrize("unit", USUAL)
def test_what_is_read_without_the_library_is_as_the_library_has_it(unit, difference):
    """Against pint, which every other unit comes from; to the last digits of a float."""
    found = {to: units._usual(unit, to, difference=difference) for to in USUAL}
    own = {to: one for to, one in found.items() if one is not None}
    assert unit in own
    for to, one in own.items():
        assert one == pytest.approx(units._converted(unit, to, difference=difference), rel=4e-16, abs=1e-13)


def test_what_nearly_every_call_converts_does_not_wait_for_the_library():
    """Pint takes half a second to start, and a call is several programs."""
    code = (
        "import sys, collector.cli, collector.running, dashboard.app\n"
        "from analysis.points import MEASURES\n"
        "from analysis.units import conversion, parse\n"
        "for one in MEASURES.values():\n"
        "    for unit in (one.inside, one.trade, one.metric):\n"
        "        conversion(unit, one.inside, difference=one.difference)\n"
        "        conversion(one.inside, unit, difference=one.difference)\n"
        "parse('0.5 inH2O', 'Pa')\n"
        "sys.exit('pint' in sys.modules)\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
