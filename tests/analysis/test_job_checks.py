"""What was measured is judged by the job file's figures with its uncertainty, or it is said what that would need."""

import math
from dataclasses import replace

import pytest

from analysis.check_table import IN_HAND, OPENS_BELOW, ROWS, SET_POINT, Known
from analysis.checks import Check, checks
from analysis.lockouts import LockoutSettings
from analysis.measures.measured import Measured
from analysis.model import Baseline, Plate, Timing
from analysis.quantity import Quality, Quantity
from analysis.sequence.attempts import Attempt, PhaseSpan
from analysis.units import INCH_OF_WATER
from collector.job import parse
from collector.judged import judged
from tests.replay_data.recording import job as job_of
from tests.replay_data.series import attempts_of

INCH = INCH_OF_WATER
PLATE = Plate(
    fuel="natural gas",
    rise=(20.0, 36.0),
    static_max=125.0,
    supply_max=77.0,
    manifold=(3.5 * INCH, 1.7 * INCH),
    gas_inlet=(4.5 * INCH, 10.5 * INCH),
    switch_close=(0.95 * INCH, 0.5 * INCH),
    switch_open=(0.85 * INCH, 0.42 * INCH),
    flame_current_min=1e-6,
    switch_label="make",
)


def measured(
    name: str,
    value: float,
    u: float = 0.001,
    attempt: int | None = 1,
    *,
    quality: Quality = Quality.GOOD,
    reason: str = "",
) -> Measured:
    return Measured(name, Quantity(value, "x", u, quality=quality, reason=reason), 100.0, 110.0, attempt)


def of(check: str, *given: Measured, plate: Plate = PLATE, known: Known | None = None) -> list[Check]:
    return [one for one in checks(given, (), plate, known) if one.check == check]


def verdict_of(check: str, *given: Measured, plate: Plate = PLATE, known: Known | None = None) -> str:
    [one] = of(check, *given, plate=plate, known=known)
    return one.verdict


def test_a_value_is_judged_with_its_uncertainty_and_told_in_the_trades_units() -> None:
    [one] = of("furnace.rise", measured("temp_rise.settled.high", 30.0, 0.5))
    assert one.verdict == "pass"
    assert one.why == "temperature rise in high stage 54.0 ± 1.8 °F against 36.0 °F to 64.8 °F: inside, attempt 1"
    assert (one.low, one.high, one.attempt) == (20.0, 36.0, 1)
    assert verdict_of("furnace.rise", measured("temp_rise.settled.high", 40.0, 0.5)) == "fail"
    [near] = of("furnace.rise", measured("temp_rise.settled.high", 35.5, 0.5))
    assert near.verdict == "cannot_tell"
    assert "too near a limit to tell" in near.why


def test_what_is_not_measured_says_what_it_needs_and_what_the_file_does_not_say_is_named() -> None:
    [one] = of("furnace.rise")
    assert (one.verdict, one.why) == (
        "not_measured",
        "temperature rise not measured: needs temp_return and temp_supply",
    )
    [one] = of("furnace.rise", measured("temp_rise.settled.high", 30.0), plate=Plate())
    assert one.verdict == "cannot_tell"
    assert "no `furnace.rise` in the job file" in one.why
    [one] = of("furnace.rise", plate=Plate())
    assert one.verdict == "not_measured"
    [one] = of("furnace.rise", measured("temp_rise.settled.high", math.nan, quality=Quality.BAD, reason="no readings"))
    assert (one.verdict, one.why) == ("not_measured", "temperature rise not measured: no readings")


def test_every_key_of_the_file_that_a_measure_tells_has_a_line_even_where_nothing_is_known() -> None:
    found = {one.check for one in checks((), (), Plate())}
    assert found == {row.check for row in ROWS} | {"furnace.timing.trials"}
    assert {one.verdict for one in checks((), (), Plate())} == {"not_measured"}


def test_without_an_accuracy_nothing_can_be_told() -> None:
    [one] = of("furnace.static_max", measured("static_external.settled.high", 60.0, math.nan))
    assert one.verdict == "cannot_tell"
    assert "no accuracy is known" in one.why


CASES = [
    ("furnace.static_max", "static_external.settled.low", 130.0, "fail"),
    ("furnace.supply_max", "temp_supply.highest", 70.0, "pass"),
    ("furnace.supply_max", "temp_supply.highest", 80.0, "fail"),
    ("furnace.manifold", "gas_manifold.flowing.high", 3.6 * INCH, "pass"),
    ("furnace.manifold", "gas_manifold.flowing.high", 1.7 * INCH, "fail"),
    ("furnace.manifold", "gas_manifold.flowing.low", 1.7 * INCH, "pass"),
    ("furnace.gas_inlet", "gas_inlet.flowing.high", 4.0 * INCH, "fail"),
    ("furnace.gas_inlet", "gas_inlet.static", 4.0 * INCH, "pass"),
    ("furnace.gas_inlet", "gas_inlet.static", 11.0 * INCH, "fail"),
    ("furnace.flame_current_min", "flame_current.settled.high", 0.8e-6, "fail"),
]


@pytest.mark.parametrize(("check", "name", "value", "verdict"), CASES)
def test_each_figure_of_the_plate_has_its_side(check: str, name: str, value: float, verdict: str) -> None:
    assert verdict_of(check, measured(name, value, abs(value) * 1e-3)) == verdict


def test_a_manifold_that_counts_against_the_burner_box_needs_that_too() -> None:
    plate = replace(PLATE, manifold_reference="burner_box")
    given = measured("gas_manifold.flowing.high", 3.1 * INCH, 1.0)
    assert verdict_of("furnace.manifold", given) == "fail"
    assert verdict_of("furnace.manifold", given, plate=plate) == "cannot_tell"
    box = measured("draft_burner_box.hot.high", -0.3 * INCH, 1.0)
    [one] = of("furnace.manifold", given, box, plate=plate)
    assert one.verdict == "pass"
    assert one.quantity is not None
    assert one.quantity.value == pytest.approx(3.4 * INCH)


def test_a_rise_that_had_not_settled_tells_only_that_it_is_too_high() -> None:
    doubt, why = Quality.SUSPECT, "not settled after 2 min"
    assert (
        verdict_of("furnace.rise", measured("temp_rise.settled.high", 30.0, quality=doubt, reason=why)) == "cannot_tell"
    )
    assert (
        verdict_of("furnace.rise", measured("temp_rise.settled.high", 10.0, quality=doubt, reason=why)) == "cannot_tell"
    )
    [one] = of("furnace.rise", measured("temp_rise.settled.high", 45.0, quality=doubt, reason=why))
    assert one.verdict == "fail"
    assert "not settled after 2 min" in one.why


def test_several_attempts_are_one_line_for_each_verdict_with_the_one_nearest_to_another() -> None:
    given = [
        measured("flame_current.settled.high", value * 1e-6, 1e-8, attempt)
        for attempt, value in enumerate((3.0, 2.0, 1.5, 0.9, 0.7, 4.0), start=1)
    ]
    fail, passed = of("furnace.flame_current_min", *given)
    assert (fail.verdict, fail.attempt) == ("fail", 4)
    assert "attempts 4 and 5" in fail.why
    assert (passed.verdict, passed.attempt) == ("pass", 3)
    assert "attempts 1 to 3 and 6" in passed.why


def switch(label: str, *, opening: bool) -> Plate:
    return replace(PLATE, switch_label=label, switch_open=PLATE.switch_open if opening else ())


def test_the_figure_on_a_switch_counts_by_whether_it_is_the_make_or_the_break() -> None:
    """Trade practice section 2: often the break on fall; not known, the uncertainty is widened."""

    def opens(label: str, *, opening: bool) -> Check:
        [one] = of(
            "furnace.switch_open",
            measured("draft_margin.smallest", 0.2 * INCH, 0.001 * INCH),
            plate=switch(label, opening=opening),
        )
        return one

    tolerance = SET_POINT / math.sqrt(3)  # 10 % of 0.5 in. w.c. is the same
    known = opens("make", opening=True)
    assert known.quantity is not None
    assert known.quantity.value == pytest.approx(0.2 * INCH)
    assert known.quantity.u == pytest.approx(math.hypot(tolerance, 0.001 * INCH))
    low, high = OPENS_BELOW
    # taken over the make; it opens 0.03 to 0.15 below that, so there is more in hand
    make = opens("make", opening=False)
    assert make.quantity is not None
    assert make.quantity.value == pytest.approx(0.2 * INCH + (low + high) / 2)
    assert make.quantity.u == pytest.approx(math.sqrt(tolerance**2 + (0.001 * INCH) ** 2 + (high - low) ** 2 / 12))
    # the figure is the break itself
    broken = opens("break", opening=False)
    assert broken.quantity is not None
    assert broken.quantity.value == pytest.approx(0.2 * INCH)
    # not known which: both ends count
    unknown = opens("unknown", opening=False)
    assert unknown.quantity is not None
    assert unknown.quantity.value == pytest.approx(0.2 * INCH + high / 2)
    assert unknown.quantity.u > make.quantity.u > broken.quantity.u
    assert "switch_label" in unknown.why


def test_the_closing_point_is_judged_in_prepurge_and_where_it_never_closed_by_the_most_it_had() -> None:
    known = replace(PLATE, switch_open=())
    make = of("furnace.switch_close", measured("draft_margin.to_close.cold", 0.2 * INCH), plate=known)
    assert [one.verdict for one in make] == ["pass"]
    never = of("furnace.switch_close", measured("draft_margin.largest_at_start", -0.3 * INCH), plate=known)
    assert [one.verdict for one in never] == ["fail"]
    both = of(
        "furnace.switch_close",
        measured("draft_margin.to_close.cold", 0.2 * INCH),
        measured("draft_margin.largest_at_start", 0.0),
        measured("draft_margin.largest_at_start", -0.3 * INCH, attempt=2),
        plate=known,
    )
    assert sorted((one.verdict, one.attempt) for one in both) == [("fail", 2), ("pass", 1)]
    unsure = replace(known, switch_label="break")
    [one] = of("furnace.switch_close", measured("draft_margin.to_close.cold", 0.05 * INCH), plate=unsure)
    assert one.quantity is not None
    assert one.quantity.value == pytest.approx(0.05 * INCH - sum(OPENS_BELOW) / 2), "it makes above its break"


def test_a_switch_that_has_little_in_hand_fails_before_it_opens() -> None:
    assert verdict_of("furnace.switch_open", measured("draft_margin.smallest", IN_HAND - 0.08 * INCH)) == "fail"
    assert verdict_of("furnace.switch_open", measured("draft_margin_high.smallest", IN_HAND + 0.08 * INCH)) == "pass"


def test_a_tap_is_judged_by_what_it_was_when_the_unit_was_known_good() -> None:
    known = Known(baseline=Baseline(draft_collector=-1.25 * INCH))
    check = "furnace.baseline.draft_collector"
    assert verdict_of(check, measured("draft_collector.hot.high", -1.3 * INCH, 1.0), known=known) == "pass"
    assert verdict_of(check, measured("draft_collector.hot.high", -1.52 * INCH, 1.0), known=known) == "fail"
    [one] = of("furnace.baseline.draft_vent", known=known)
    assert one.why == "no `furnace.baseline.draft_vent` in the job file, and vent side is not measured"


def attempt(number: int, outcome: str, *phases: tuple[str, float, float], call: int = 1) -> Attempt:
    spans = tuple(PhaseSpan(phase, start, end, 0.1, 0.1) for phase, start, end in phases)
    return Attempt(number, call, phases[0][1], phases[-1][2], 0.1, 0.1, "low", outcome, 1.0, phases[-1][2], 0.1, spans)


TIMED = Known(timing=Timing(prepurge=15.0, trials=3), stated=frozenset({"prepurge", "trials"}))


def prepurge(length: float, following: str) -> list[Check]:
    one = attempt(1, "heat", ("prepurge", 100.0, 100.0 + length), (following, 100.0 + length, 200.0))
    given = [Measured("phase.duration.prepurge", Quantity(length, "s", 0.1), 100.0, 100.0 + length, 1)]
    return [found for found in checks(given, [one], PLATE, TIMED) if found.check == "furnace.timing.prepurge"]


def test_a_time_of_the_control_is_judged_where_the_phase_ran_its_course_and_the_file_states_it() -> None:
    assert [one.verdict for one in prepurge(15.5, "igniter_warmup")] == ["pass"]
    assert [one.verdict for one in prepurge(5.0, "igniter_warmup")] == ["fail"]
    assert [one.verdict for one in prepurge(5.0, "interpurge")] == ["not_measured"], "it was cut short"
    last = attempt(1, "draft_lost", ("prepurge", 100.0, 105.0))
    given = [Measured("phase.duration.prepurge", Quantity(5.0, "s", 0.1), 100.0, 105.0, 1)]
    [one] = [one for one in checks(given, [last], PLATE, TIMED) if one.check == "furnace.timing.prepurge"]
    assert one.verdict == "not_measured", "nothing came after it"
    [one] = [one for one in checks((), (), PLATE, TIMED) if one.check == "furnace.timing.post_purge"]
    assert "no `furnace.timing.post_purge` in the job file" in one.why


def test_a_blower_off_delay_that_the_next_start_cut_short_is_not_judged() -> None:
    known = Known(timing=Timing(blower_off_delay=90.0), stated=frozenset({"blower_off_delay"}))

    def found(*attempts: Attempt) -> list[str]:
        given = [
            Measured("phase.duration.blower_off_delay", Quantity(20.0, "s", 0.1), 200.0, 220.0, 1),
        ]
        told = checks(given, attempts, PLATE, known)
        return [one.verdict for one in told if one.check == "furnace.timing.blower_off_delay"]

    one = attempt(1, "heat", ("post_purge", 185.0, 200.0), ("blower_off_delay", 200.0, 220.0))
    assert found(one) == ["fail"]
    assert found(one, attempt(2, "heat", ("inducer_start", 220.0, 230.0))) == ["not_measured"]
    assert found(one, attempt(2, "heat", ("inducer_start", 400.0, 410.0))) == ["fail"]
    assert found(replace(one, outcome="cut_off")) == ["not_measured"]


def test_trials_are_counted_until_a_flame_has_burned() -> None:
    trial, burned = ("ignition_trial", 0.0, 4.0), ("run_low", 4.0, 9.0)
    failed = [attempt(number, "no_ignition", trial) for number in (1, 2, 3)]

    def found(*attempts: Attempt) -> tuple[str, float]:
        [one] = [one for one in checks((), attempts, PLATE, TIMED) if one.check == "furnace.timing.trials"]
        assert one.quantity is not None
        return one.verdict, one.quantity.value

    assert found(*failed) == ("pass", 3.0)
    assert found(*failed, attempt(4, "no_ignition", trial)) == ("fail", 4.0)
    assert found(*failed[:2], attempt(3, "flame_lost", trial, burned), *failed) == ("pass", 3.0)
    assert found(*failed, attempt(4, "no_ignition", trial, call=2)) == ("pass", 3.0)


def test_humidity_and_wet_surfaces_are_judged_by_the_setting() -> None:
    known = Known(humidity=0.38)
    one, two = of(
        "humidifier.setting",
        measured("humidity_room.mean", 0.5, 0.01, None),
        measured("dew_point_margin.smallest", 3.0, 0.5, None),
        known=known,
    )
    assert (one.verdict, two.verdict) == ("fail", "pass")
    assert verdict_of("humidifier.setting", measured("humidity_return.mean", 0.35, 0.01, None), known=known) == "pass"


def test_lockouts_that_leave_a_band_without_heat_fail() -> None:
    def found(compressor: float, furnace: float) -> dict[str, str]:
        known = Known(lockouts=LockoutSettings(compressor, furnace))
        told = [one for one in checks((), (), PLATE, known) if one.check == "heat_pump.compressor_lockout"]
        return {one.verdict: one.why for one in told}

    assert set(found(-5.0, 7.0)) == {"pass", "cannot_tell"}
    bad = found(7.0, -5.0)
    assert "nothing may heat" in bad["fail"]
    assert "from 23 °F, up to 45 °F" in bad["fail"]


def test_a_job_file_hands_on_what_it_states_and_nothing_that_it_does_not() -> None:
    job = parse('[furnace]\nrise = ["36 degF", "64.8 degF"]\n[furnace.timing]\nprepurge = 20\n')
    given = [
        measured("temp_rise.settled.high", 30.0, 0.5),
        Measured("phase.duration.prepurge", Quantity(15.0, "s", 0.1), 100.0, 115.0, 1),
        Measured("phase.duration.igniter_warmup", Quantity(60.0, "s", 0.1), 115.0, 175.0, 1),
    ]
    spans = (("prepurge", 100.0, 115.0), ("igniter_warmup", 115.0, 175.0), ("ignition_trial", 175.0, 178.0))
    found = {one.check: one.verdict for one in judged(given, [attempt(1, "heat", *spans)], job)}
    assert found["furnace.rise"] == "pass"
    assert found["furnace.timing.prepurge"] == "fail"
    assert found["furnace.timing.igniter_warmup"] == "cannot_tell"
    assert not any(check.startswith("heat_pump") for check in found)


def test_true_durations_of_a_healthy_unit_pass() -> None:
    [one] = attempts_of("healthy_propane")
    given = [
        Measured(f"phase.duration.{span.phase}", Quantity(span.end - span.start, "s", 0.1), span.start, span.end, 1)
        for span in one.phases
    ]
    found = [one for one in judged(given, [one], job_of("healthy_propane")) if one.check.startswith("furnace.timing")]
    assert {one.verdict for one in found} == {"pass"}
    assert len(found) == 7
