"""An analysis for people: what comes first, the words, the width."""

import re
from dataclasses import replace

import pytest

from analysis.checks import Check
from analysis.data import DataProblem
from analysis.measures import Measured
from analysis.quantity import Quantity
from analysis.sequence.attempts import Recognition
from collector.analysis_layout import WIDTH, moment, tally, timed, wrapped
from collector.analysis_run import Analysis
from collector.analysis_text import KEEP_CHECKING, lines
from collector.job import parse
from collector.past_alarms import PastAlarm
from tests.collector.analyses import T0, opened, series, true_attempts, whole

RECORDINGS = ("drain_backs_up", "night_dual_fuel", "igniter_aged", "flame_rod_dirty", "healthy_natural_gas")


def text(analysis):
    return "\n".join(lines(analysis))


def of(*alarms, **given):
    return Analysis(opened(**given), Recognition(), alarms=alarms)


def section(analysis, title):
    return text(analysis).partition(f"\n{title}\n")[2].partition("\n\n")[0]


@pytest.mark.parametrize("name", RECORDINGS)
def test_no_line_is_wider_than_a_page(name):
    found = lines(replace(whole(), recognition=Recognition(true_attempts(name))))
    assert max(map(len, found)) <= WIDTH
    assert not re.search("[\u00a0\x1b\t]", "\n".join(found))


def test_the_order_is_safety_attempts_numbers_verdicts_causes_alarms_data_and_to_go_on():
    titles = [line for line in lines(whole()) if re.match("[A-Z]{3}", line)]
    judged = ["CHECKS against the job file", "CAUSES", "NEXT TESTS"]
    assert titles == ["SAFETY", "ATTEMPTS", "MEASURES", *judged, "ALARMS", "DATA PROBLEMS"]
    assert lines(whole())[-1] == KEEP_CHECKING


def test_invented_data_and_the_job_are_said_before_anything_else():
    head = text(whole()).partition("SAFETY")[0]
    assert "Simulated: the unit, the house and every reading of it are invented." in head
    assert "Job: call.toml, beside the file (invented demo house)" in head
    assert "2026-01-14 06:31:20.000 UTC, 30:00.0 long" in head
    assert "Job: none" in text(of())


def test_room_co_that_is_not_measured_is_said_and_never_fine():
    assert "CO NOT MEASURED" in section(of(), "SAFETY")
    silent = of(series=(series("room_co", (0, 1), (float("nan"), float("nan"))),))
    assert "CO NOT MEASURED" in section(silent, "SAFETY")
    read = section(of(series=(series("room_co", (0, 1), (2e-6, 11e-6)),)), "SAFETY")
    assert "Room CO: 11 ppm at most" in read
    assert "CO NOT MEASURED" not in read


def test_the_cautions_stand_in_every_analysis():
    for words in ("carbon monoxide", "mains voltage", "Local codes", "maker's"):
        assert words in section(of(), "SAFETY")


def test_a_safety_alarm_stands_first_with_what_to_do_and_no_second_try():
    found = section(whole(), "SAFETY").splitlines()
    assert found[0].startswith("  STOP: Carbon monoxide in the room: shut down (at 8:20.0).")
    assert "Shut the appliances down" in " ".join(found[:2])
    assert "nothing is fired again to see" in section(whole(), "SAFETY")
    assert "fired again" not in section(of(), "SAFETY")


def test_gas_above_the_inlet_window_stops_too_and_an_advice_does_not():
    job = parse('[furnace]\ngas_inlet = ["4.5 inH2O", "10.5 inH2O"]\n')
    high = PastAlarm("gas_inlet_high", T0, T0 + 9, "high", "Gas inlet pressure is above the window")
    again = replace(high, start=T0 + 60)
    advise = PastAlarm("room_co_advise", T0 + 5, T0 + 9, "high", "Carbon monoxide in the room")
    found = section(of(high, again, advise, job=job), "SAFETY")
    assert "STOP: Gas inlet pressure is above the window (2 times, first at 0:00.0)." in found
    assert "CAUTION: Carbon monoxide in the room (at 0:05.0)." in found


def test_an_attempt_has_its_outcome_in_the_words_of_the_trade_and_its_phases():
    found = section(whole(), "ATTEMPTS")
    whole_section = text(whole()).partition("ATTEMPTS")[2].partition("MEASURES")[0]
    assert found.startswith("  9 attempts: 7 draft lost, 1 draft not proved, 1 cut off; 2 calls for heat")
    assert re.search(r"4 +1 +9:23\.1 +10:44\.6  pressure switch did not close +10:23\.1 ± 0\.2 +98 %", whole_section)
    assert "inducer start 1:00.0 · purge between 21.5 s" in whole_section
    assert re.search(r"9 .*the recording ends before it was decided +- +98 %", whole_section)


def test_a_recording_without_an_attempt_says_so():
    assert section(of(), "ATTEMPTS") == "  No ignition attempt was found in what was recorded."


def many(count, *, name="draft_margin.smallest", reason=""):
    return Analysis(
        opened(),
        Recognition(),
        measures=tuple(
            Measured(name, Quantity(24.908891 * place, "Pa", 1.5, reason=reason), T0 + place, T0 + place, place)
            for place in range(1, count + 1)
        ),
    )


def test_a_measure_stands_once_in_words_with_a_line_for_each_attempt():
    found = [" ".join(line.split()) for line in section(many(3), "MEASURES").splitlines()]
    assert found == [
        "Draft",
        "margin at the pressure switch: smallest 0.100 ± 0.012 in. w.c. no. 1, 0:01.0",
        "0.200 ± 0.012 in. w.c. no. 2, 0:02.0",
        "0.300 ± 0.012 in. w.c. no. 3, 0:03.0",
    ]


def test_of_many_attempts_the_smallest_and_the_largest_are_told():
    found = [" ".join(line.split()) for line in section(many(9), "MEASURES").splitlines()]
    assert found[1:] == [
        "margin at the pressure switch: smallest 0.100 ± 0.012 in. w.c. no. 1, smallest of 9",
        "0.900 ± 0.012 in. w.c. no. 9, largest of 9",
    ]
    assert len(lines(many(9), every=True)) == len(lines(many(9))) + 7


def test_why_a_value_is_doubtful_is_a_note_that_stands_once():
    found = section(many(3, reason="not yet hot"), "MEASURES")
    assert found.count("[1]") == 4
    assert found.splitlines()[-1] == "  [1] not yet hot"


def test_how_long_a_phase_was_stands_with_the_attempts_and_not_twice():
    assert section(many(1, name="phase.duration.prepurge"), "MEASURES") == ""
    assert any(
        "phase: duration, prepurge" in line for line in lines(many(1, name="phase.duration.prepurge"), every=True)
    )


def test_a_long_name_has_a_line_of_its_own():
    found = section(many(1, name="draft_margin_high.to_close.hot.low"), "MEASURES").splitlines()
    assert found[1] == "    margin at the high-stage pressure switch: to close, hot, low"
    assert found[2].split()[0] == "0.100"


def test_a_measure_of_an_unknown_kind_is_not_lost():
    odd = Measured("something.count", Quantity(3.0, "1"), T0, T0 + 5, None)
    found = section(Analysis(opened(), Recognition(), measures=(odd,)), "MEASURES")
    assert re.search("Other\n +something: count +3 ", found)


def test_an_alarm_that_came_often_is_told_once_with_how_often():
    alarms = [PastAlarm("supply_max", T0 + place, T0 + place + 0.5, "high", "Supply air is hot") for place in range(16)]
    assert section(of(*alarms), "ALARMS") == (
        "  high    Supply air is hot (16 times, first at 0:00.0, 8.0 s altogether)"
    )
    assert section(of(), "ALARMS") == "  none"


def test_what_fails_stands_before_what_passes_with_its_limits():
    found = text(whole()).partition("CHECKS")[2].partition("ALARMS")[0]
    verdicts = re.findall(r"^  (FAIL|cannot tell|pass|not measured)", found, re.MULTILINE)
    assert verdicts == ["FAIL", "pass", "not measured"]
    assert "pass          furnace.rise: inside by its uncertainty" in found
    assert "furnace.supply_max: it would need temp_supply" in found


def test_without_a_job_nothing_is_judged_and_what_is_neither_measured_nor_stated_is_one_line():
    neither = tuple(Check(name, None, None, None, "not_measured", f"no `{name}` in the job file") for name in "ab")
    found = of(job_from="job.toml")
    assert section(replace(found, checks=neither), "CHECKS against the job file") == (
        "  Neither measured nor in the job file: a, b"
    )
    assert "no job file to judge by" in section(replace(of(), checks=neither), "CHECKS against the job file")


def test_in_metric_units_the_figures_stand_in_them_too():
    found = text(replace(whole(), units="metric"))
    assert "furnace.rise: 30.00 ± 0.50 K (wanted 19.4444 to 36.1111 K): inside" in found
    assert "(wanted at least 1 uA)" in found


def test_what_is_missing_has_no_span():
    missing = DataProblem("missing", ("room_co",), "room CO: not measured", "Measure it.", T0, T0 + 900)
    found = section(Analysis(opened(), Recognition(), data_problems=(missing,)), "DATA PROBLEMS")
    assert found == "  room CO: not measured\n    To do: Measure it."


def test_what_was_put_right_in_the_file_is_said():
    found = section(of(conflicts=2, disordered=7), "DATA PROBLEMS")
    assert found.splitlines() == [
        "  2 second values for one channel and instant: the first of them counts",
        "  7 rows that came late: they were put in their place",
    ]


def test_what_is_the_same_in_every_attempt_is_told_once():
    same = many(9)
    same = replace(same, measures=[replace(one, quantity=same.measures[0].quantity) for one in same.measures])
    found = [" ".join(line.split()) for line in section(same, "MEASURES").splitlines()]
    assert found[1:] == ["margin at the pressure switch: smallest 0.100 ± 0.012 in. w.c. in all 9"]


def test_bad_data_come_with_what_to_do():
    found = section(whole(), "DATA PROBLEMS")
    assert "The value never moved. (0:00.0 to 15:00.0)\n    To do: Look at the meter." in found
    assert "line 7: 'abc'" in found
    assert "and 2 more" in found


def test_words_that_the_page_does_not_use_are_not_used_here():
    assert not re.search(r"misset|shelve|\bbits?\b|jumper|bypass", text(whole()), re.IGNORECASE)


@pytest.mark.parametrize(
    ("time", "told"),
    [
        (0.0, "0:00.0"),
        (59.96, "1:00.0"),
        (383.6, "6:23.6"),
        (3599.97, "1:00:00.0"),
        (3733.4, "1:02:13.4"),
        (-1.5, "-0:01.5"),
    ],
)
def test_a_moment_counts_minutes_and_seconds(time, told):
    assert moment(time) == told


def test_an_uncertainty_below_a_tenth_is_not_shown_as_nothing():
    assert timed(10.0, 0.001) == "0:10.0 ± 0.1"
    assert timed(float("nan"), 0.1) == "-"


def test_the_tally_has_the_most_first():
    assert tally(true_attempts("drain_backs_up")) == "9 attempts: 7 draft lost, 1 draft not proved, 1 cut off"
    assert tally(true_attempts("healthy_natural_gas")) == "1 attempt: 1 heated"
    assert tally(()) == "no attempt"


def test_what_belongs_together_is_not_broken():
    assert wrapped("x" * 94 + " blower\u00a0on 3", 2, first=2) == ["  " + "x" * 94, "  blower on 3"]
