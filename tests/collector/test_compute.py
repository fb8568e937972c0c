"""`lightoff compute` as a technician types it, and what it answers when the typing is wrong."""

import json
import math
import re
from typing import Any

import pytest
from click.testing import CliRunner, Result

from analysis.formulas import formulas
from collector.cli import main

HUMIDITY_RATIO = ("humidity_ratio", "temp=70degF", "humidity=35%", "altitude=5000ft")


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
    typed = ("temperature_rise", "temp_return=68degF+-1degF", "temp_supply=118degF+-1degF")
    found = answer(*typed, "--same-meter", "temp_return,temp_supply")
    assert found["u"] == pytest.approx(0, abs=1e-9)
    assert found["how"]["conditions"] == ["temp_return and temp_supply read with one meter"]


@pytest.mark.parametrize(
    ("supply", "high", "verdict"),
    [
        # u = sqrt(2/3) degF, U = 1.63 degF: inside the limit by more than that, outside by more, and neither
        ("118degF+-1degF", "52degF", "pass"),
        ("118degF+-1degF", "48degF", "fail"),
        ("118degF+-1degF", "51degF", "cannot tell"),
        ("118degF", "52degF", "cannot tell"),
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
    assert (
        f"No value: humidity = {float(value[:-1]) / 100:g} cannot be: relative humidity, 0 < value <= 1"
        in result.stdout
    )
    found = json.loads(compute("dew_point", "temp=70degF", f"humidity={value}", "--json").stdout)["results"][0]
    assert (found["value"], found["quality"]) == (None, "bad")


@pytest.mark.parametrize("typed", ["temp=-300degC", "temp=-500degF"])
def test_below_absolute_zero_there_is_no_value(typed):
    assert compute("saturation_pressure", typed).stdout.startswith("saturation_pressure: no value\n")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("humidity_ration", "temp=70degF"), "unknown quantity 'humidity_ration'; nearest known: humidity_ratio"),
        (("dew_point", "temp=70degG", "humidity=35%"), "unknown unit 'degG'; nearest known: degF"),
        (("dew_point", "temp=70", "humidity=35%"), "'70' has no unit; write for example '70 degC'"),
        (("dew_point", "temp=70Pa", "humidity=35%"), "unit 'Pa' does not measure what 'degC' does"),
        (("dew_point", "temp=70degF"), "dew_point also needs humidity [1]"),
        (("dew_point", "temp=70degF", "humidty=35%"), "dew_point takes no 'humidty'; nearest known: humidity"),
        (("dew_point", "temp=70degF", "humidity=35%", "altitude=0ft"), "dew_point takes no 'altitude'"),
        (("dew_point", "temp=70degF", "temp=70degF"), "'temp' is given twice"),
        (("dew_point", "temp"), "'temp' is not name=value, such as temp=70degF"),
        (("dew_point", "temp=70degF", "humidity=35%", "over=watr"), "over cannot be 'watr'; nearest known: water"),
        (("humidity_ratio", "temp=70degF", "humidity=35%"), "pressure [Pa] or altitude [m]"),
        ((*HUMIDITY_RATIO, "pressure=1e5Pa"), "give either altitude or pressure, not both"),
        (("excess_air", "o2=8%", "fuel=natural gaz"), "'natural gaz'; nearest known: natural gas"),
        (("density", "temp=70degF", "humidity=35%", "pressure=1e5"), "'1e5' has no unit"),
        (("density", "temp=70degF", "humidity=35%"), "humidity stands for a humidity ratio together with"),
        (("temperature_rise", "temp_return=68degF+-1furlong", "temp_supply=118degF"), "furlong"),
        (("temperature_rise", "temp_return=68degF", "temp_supply=118degF", "--same-meter", "x,temp_return"), "'x'"),
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
    assert "resistances.secondary: 2.0 ± " in result.stdout


def test_findings_are_sentences():
    result = compute("lockouts", "compressor_lockout=40degF", "auxiliary_lockout=30degF")
    assert result.exit_code == 0
    assert result.stdout.startswith("fault: ")
    found = json.loads(compute("lockouts", "compressor_lockout=40degF", "auxiliary_lockout=30degF", "--json").stdout)
    assert found["findings"][0]["severity"] == "fault"
