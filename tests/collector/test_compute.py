"""`lightoff compute` as a technician types it, and what it answers when the typing is wrong."""

import json
import math
import re
from typing import Any

import pytest
from click.testing import CliRunner, Result

from analysis.formulas import formulas
from collector.cli import main

RISE = ("temperature_rise", "temp_return=68degF+-1degF", "temp_supply=118degF")
HEAT = (
    *("sensible_heat", "flow=1200cfm+-60cfm", "temp_return=70degF+-1degF", "temp_supply=120degF+-1degF"),
    *("ratio=0.005", "altitude=0ft"),
)
HUMIDITY_RATIO = ("humidity_ratio", "temp=70degF", "humidity=35%", "altitude=5000ft")


ACCURACY = "1 degF, resolution 0.1 degF"


def compute(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["compute", *arguments], catch_exceptions=False)


def refused(*arguments: str) -> str:
    """The one sentence on standard error of wrong usage."""
    result = compute(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("lightoff compute: ")
    return lines[0].removeprefix("lightoff compute: ")


def answer(*arguments: str) -> dict[str, Any]:
    result = compute(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: list[dict[str, Any]] = json.loads(result.stdout)["results"]
    (only,) = found
    return only


def test_value_formula_source_and_conditions():
    result = compute(*HUMIDITY_RATIO)
    assert result.exit_code == 0
    # psychrolib 2.5.0, IP: 70 degF, 35 %, 5000 ft: 0.006535
    assert result.stdout.startswith("humidity_ratio: 45.75 gr/lb  (0.006535 kg/kg)\n")
    said = " ".join(result.stdout.split())
    for part in ("altitude 5000 ft", "pressure_at_altitude", "Holds: ", "Method: ", "Source: ASHRAE"):
        assert part in said


def test_nothing_is_said_of_uncertainty_where_no_accuracy_is_given():
    assert "±" not in compute(*HUMIDITY_RATIO).stdout
    assert answer(*HUMIDITY_RATIO)["u"] is None


def test_uncertainty_where_accuracies_are_given():
    # GUM 4.3.7 and 5.1.2: two sensors, each within 1.0 degF: u = sqrt(2) / sqrt(3) degF = 0.8165 degF, U = 1.633 degF
    typed = ("temperature_rise", "temp_return=68degF+-1degF", "temp_supply=118degF ± 1 degF")
    found = answer(*typed)
    assert math.isclose(found["trade"]["u"], math.sqrt(2 / 3), rel_tol=1e-6)
    assert found["trade"]["unit"] == "degF"
    assert math.isclose(found["value"], 50 / 1.8)
    assert "50.0 ± 1.6 degF" in compute(*typed).stdout


def test_one_meter_for_both_readings_cancels_its_offset():
    """What is left is the resolution of each reading: sqrt(2) 0.1 degF / sqrt(12)."""
    same = ("--same-meter", "temp_return,temp_supply")
    stated = [f"temp_return=68degF+-{ACCURACY}", f"temp_supply=118degF+-{ACCURACY}"]
    found = answer("temperature_rise", *stated, *same)
    assert found["trade"]["u"] == pytest.approx(math.sqrt(2) * 0.1 / math.sqrt(12))
    assert found["how"]["conditions"] == ["temp_return and temp_supply read with one meter"]


def test_an_uncertainty_that_cancels_to_nothing_is_not_known():
    stated = ("temp_return=68degF+-1degF", "temp_supply=118degF+-1degF", "--same-meter", "temp_return,temp_supply")
    found = answer("temperature_rise", *stated)
    assert found["u"] is None
    assert "the accuracies given cancel" in found["how"]["uncertainty"]
    assert "  Verdict: cannot tell: " in compute("temperature_rise", *stated, "--high", "60degF").stdout


@pytest.mark.parametrize(
    ("supply", "high", "verdict"),
    [
        # u = sqrt(2/3) degF, U = 1.63 degF: inside the limit by more than that, outside by more, and neither
        ("118degF+-1degF", "52degF", "pass"),
        ("118degF+-1degF", "48degF", "fail"),
        ("118degF+-1degF", "51degF", "cannot tell"),
        ("118degF", "52degF", "cannot tell"),
        ("118degF+-1degF", "29K", "pass"),  # of difference: 52.2 degF
    ],
)
def test_a_result_is_judged_with_its_uncertainty(supply, high, verdict):
    entering = "68degF+-1degF" if "+-" in supply else "68degF"
    given = (f"temp_return={entering}", f"temp_supply={supply}")
    typed = ("temperature_rise", *given, "--low", "35degF", "--high", high)
    assert f"  Verdict: {verdict}: " in compute(*typed).stdout
    found = json.loads(compute(*typed, "--json").stdout)["judged"]
    assert found["verdict"] == verdict.replace(" ", "_")


def test_humidity_stands_for_a_humidity_ratio():
    direct = answer("density", "temp=70degF", "ratio=0.006535", "altitude=5000ft")
    found = answer("density", "temp=70degF", "humidity=35%", "altitude=5000ft")
    assert found["value"] == pytest.approx(direct["value"], rel=1e-6)
    assert found["how"]["inputs"]["ratio"]["how"]["formula"] == "humidity_ratio"


@pytest.mark.parametrize("value", ["120%", "-1%", "nan"])
def test_impossible_values_give_no_value_and_a_reason(value):
    result = compute("dew_point", "temp=70degF", f"humidity={value}")
    if value == "nan":
        assert result.exit_code == 2
        return
    assert result.exit_code == 1
    assert result.stdout.startswith("dew_point: no value\n")
    said = f"No value: humidity = {value[:-1]} % cannot be; it has to be above 0 % and at most 100 %."
    assert said in " ".join(result.stdout.split())
    found = json.loads(compute("dew_point", "temp=70degF", f"humidity={value}", "--json").stdout)["results"][0]
    assert (found["value"], found["quality"]) == (None, "bad")


def test_the_end_of_a_range_typed_in_another_unit_belongs_to_it():
    """392 degF is 200 degC, the upper end, and not a hair more."""
    assert answer("saturation_pressure", "temp=392degF")["value"] == pytest.approx(1.555e6, rel=1e-3)


@pytest.mark.parametrize("typed", ["temp=-300degC", "temp=-500degF"])
def test_below_absolute_zero_there_is_no_value(typed):
    assert compute("saturation_pressure", typed).stdout.startswith("saturation_pressure: no value\n")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("humidity_ration", "temp=70degF"), "unknown quantity 'humidity_ration'; nearest known: humidity_ratio"),
        (("dew_point", "temp=70degG", "humidity=35%"), "unknown unit 'degG'; nearest known: degF"),
        (("dew_point", "temp=70", "humidity=35%"), "temp: '70' has no unit; write for example 70degF"),
        (("dew_point", "temp=70Pa", "humidity=35%"), "unit 'Pa' does not measure what 'degC' does"),
        (("dew_point", "temp=70degF"), "dew_point also needs humidity [%]"),
        (("dew_point", "temp=70degF", "humidty=35%"), "dew_point takes no 'humidty'; nearest known: humidity"),
        (("dew_point", "temp=70degF", "humidity=35%", "altitude=0ft"), "dew_point takes no 'altitude'"),
        (("dew_point", "temp=70degF", "temp=70degF"), "'temp' is given twice"),
        (("dew_point", "temp=70degF+-2%", "humidity=35%"), "temp: a percentage of a temperature depends on its scale"),
        (("dew_point", "temp=70degF", "humidity=35"), "humidity: '35' has no unit; write 35% or 3500%"),
        (("co_air_free", "co=50", "o2=7%"), "co: '50' has no unit; write 50ppm"),
        (("density", "temp=70degF", "ratio=38", "altitude=0ft"), "'38' is no mass of water for a mass of air"),
        (("density", "temp=70degF", "ratio=35%", "altitude=0ft"), "'35%' is no mass of water for a mass of air"),
        (("rise_at_flow_share", "rise=44", "share=0.8"), "rise: '44' has no unit; write for example 44degF"),
        (("resistances", "taps_colector=-1inH2O"), "nearest known: taps_collector"),
        (("zzzz",), "unknown quantity 'zzzz'; lightoff compute --list shows all"),
        (("x" * 5000,), f"unknown quantity '{'x' * 60}'; lightoff"),
        (("dew_point", "temp"), "'temp' is not name=value, such as temp=70degF"),
        (("dew_point", "temp=70degF", "humidity=35%", "over=watr"), "over cannot be 'watr'; nearest known: water"),
        (("humidity_ratio", "temp=70degF", "humidity=35%"), "pressure [inH2O] or altitude [ft]"),
        ((*HUMIDITY_RATIO, "pressure=1e5Pa"), "give either altitude or pressure, not both"),
        (("excess_air", "o2=8%", "fuel=natural gaz"), "'natural gaz'; nearest known: natural gas"),
        (("density", "temp=70degF", "humidity=35%", "pressure=1e5"), "'1e5' has no unit"),
        (("density", "temp=70degF", "humidity=35%"), "humidity stands for a humidity ratio together with"),
        (("temperature_rise", "temp_return=68degF+-1furlong", "temp_supply=118degF"), "furlong"),
        ((*RISE, "--same-meter", "x,temp_return"), "'x'"),
        ((*RISE, "--same-meter", "temp_return"), "names two or more inputs"),
        ((*RISE, "--same-meter", "temp_return,temp_supply"), "give both the same accuracy"),
        ((*RISE, "--same-meter", "temp_return,temp_supply", "--same-meter", "temp_return,x"), "same accuracy"),
        (
            (*HEAT, "--same-meter", "temp_return,temp_supply", "--same-meter", "temp_return,flow"),
            "names 'temp_return' twice",
        ),
        ((*HEAT, "--same-meter", "flow,temp_supply"), "they have different units"),
        ((*HUMIDITY_RATIO, "--low", "3 degF"), "unit 'degF' does not measure what 'gr/lb' does"),
        ((*HUMIDITY_RATIO, "--low", "30gr/lb", "--high", "20gr/lb"), "--low 30gr/lb is above --high 20gr/lb"),
        (
            ("lockouts", "compressor_lockout=4degF", "auxiliary_lockout=5degF", "--low", "3 degF"),
            "lockouts has no single result to judge",
        ),
        ((), "which quantity? lightoff compute --list shows all"),
    ],
)
def test_wrong_usage_is_one_sentence(arguments, says):
    assert says in refused(*arguments)


def test_a_fuel_may_be_typed_without_a_blank():
    spaced = answer("excess_air", "o2=8%", "fuel=natural gas")
    assert answer("excess_air", "o2=8%", "fuel=natural_gas")["value"] == spaced["value"]


def test_the_list_has_every_quantity_and_what_it_is():
    result = compute("--list")
    assert result.exit_code == 0
    listed = dict(re.findall(r"^  (\w+) +(.+)$", result.stdout, re.MULTILINE))
    assert listed == {name: known.text for name, known in formulas().items()}
    assert [found["quantity"] for found in json.loads(compute("--list", "--json").stdout)] == list(formulas())


def test_one_quantity_says_what_it_needs():
    lines = compute("dew_point", "--list").stdout.splitlines()
    assert lines[0].startswith("dew_point: ")
    assert lines[1].startswith("  temp [degC]: ")
    assert any(line.startswith("Source: ASHRAE") for line in lines)


TAPS = (
    *("taps", "intake=449911/m**4", "primary=323408/m**4", "secondary=1761686/m**4", "vent=929641/m**4"),
    *("shutoff=560.6J/kg", "slope=2124895/m**4", "temp_intake=20degC", "temp_primary=650degC"),
    *("temp_secondary=90degC", "temp_inducer=48degC", "altitude=0ft"),
)


def test_several_numbers_at_once():
    lines = compute(*TAPS).stdout.splitlines()
    names = [line.partition(":")[0] for line in lines if line.startswith("taps.")]
    assert names == ["taps.burner_box", "taps.transition", "taps.collector", "taps.vent", "taps.flow", "taps.vent_flow"]


def test_half_a_correction_is_refused():
    said = refused("meter_input", "volume=2ft3", "seconds=72s", "heating_value=1025Btu/ft3", "temp=45degF")
    assert said.startswith("meter_input: ")


def test_what_changed_in_the_draft_circuit_is_said_in_a_sentence():
    """Secondary twice: the four taps of an independent model of the same equations, and the accuracy of a manometer."""
    now = {"burner_box": -0.1143, "transition": -0.381, "collector": -1.5238, "vent": 0.2667}
    before = {"burner_box": -0.15, "transition": -0.5, "collector": -1.25, "vent": 0.35}
    typed = [
        f"{when}_{tap}={value}inH2O+-0.01inH2O"
        for when, taps in (("taps", now), ("baseline", before))
        for tap, value in taps.items()
    ]
    result = compute("resistances", *typed)
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("Secondary ")
    assert re.search(r"^resistances.secondary: (1\.[89]|2)\S* \(95 %: 1", result.stdout, re.MULTILINE)


@pytest.mark.parametrize("typed", [(), ("taps_collector=-1inH2O",), ("baseline_collector=-1inH2O",)])
def test_taps_that_were_not_read_cannot_tell(typed):
    result = compute("resistances", *typed)
    assert result.exit_code == 0
    assert "cannot" in result.stdout.splitlines()[0]


def test_humidity_is_that_of_the_return_air():
    """35 % at the return of 68 degF, not at the supply: 38.97 gr/lb by psychrolib 2.5.0 at 2600 ft."""
    typed = ("heat=57kBtu/hr", "temp_return=68degF", "temp_supply=118degF", "humidity=35%", "altitude=2600ft")
    ratio = answer("flow_from_rise", *typed)["how"]["inputs"]["ratio"]
    assert ratio["trade"]["value"] == pytest.approx(38.97, abs=0.05)


def test_an_accuracy_in_percent_of_a_humidity_is_points_of_it():
    humidity = answer("dew_point", "temp=70degF", "humidity=35%+-3%")["how"]["inputs"]["humidity"]
    assert humidity["u"] == pytest.approx(0.03 / math.sqrt(3))


def test_what_counts_as_exact_and_what_was_not_given_is_said():
    said = " ".join(compute("flue_dew_point", "excess_air=40%+-2%", "fuel=natural_gas", "ratio=0.005").stdout.split())
    assert "taken as exact: ratio" in said
    assert "not given, so taken: pressure 14.7 psi" in said


def test_much_carbon_monoxide_begins_with_a_stop():
    assert compute("co_air_free", "co=2000ppm", "o2=5%").stdout.startswith("Stop firing: ")
    assert compute("co_air_free", "co=20ppm", "o2=5%").stdout.startswith("co_air_free: 26.29 ppm")


def test_a_meter_that_shows_nothing_means_nothing_or_more():
    """CO 0 within 10 ppm: the true value is not negative, so that half of what the meter allows is at nothing."""
    found = answer("co_air_free", "co=0ppm+-10ppm", "o2=7%+-0.2%")
    low, high = found["interval"]
    assert low == 0
    # upper end: 97.5 % of a rectangle of 10 ppm is 9.5 ppm, times 20.9 / 13.9
    assert high == pytest.approx(9.5e-6 * 20.9 / 13.9, rel=0.01)
    assert found["quality"] == "good"


def test_findings_are_sentences():
    result = compute("lockouts", "compressor_lockout=40degF", "auxiliary_lockout=30degF")
    assert result.exit_code == 0
    assert result.stdout.startswith("fault: ")
    found = json.loads(compute("lockouts", "compressor_lockout=40degF", "auxiliary_lockout=30degF", "--json").stdout)
    assert found["findings"][0]["severity"] == "fault"
