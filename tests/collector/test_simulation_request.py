"""What is to be simulated, as it is typed: understood, or refused in one sentence; and told to no recording."""

import pytest

from collector import job
from collector.simulation_request import Request, WrongUsageError, causes_of, request_of, without_causes
from drivers.base import InputError
from drivers.simulate.causes import Cause


def test_what_stands_in_the_same_place_belongs_together():
    names = ["drain_blocked", "airflow_low_restricted"]
    assert causes_of(names, [0.7, 0.4], ["growing", "constant"], [60.0, 0.0]) == (
        Cause("drain_blocked", 0.7, 60.0, "growing"),
        Cause("airflow_low_restricted", 0.4, 0.0, "constant"),
    )
    assert causes_of(names, [0.3]) == (Cause("drain_blocked", 0.3), Cause("airflow_low_restricted", 0.3)), "one for all"
    assert causes_of(names) == tuple(Cause(name) for name in names), "the usual severity"
    assert causes_of([]) == ()
    assert causes_of(["none"], [0.5]) == ()


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ((["drain_bloked"],), "unknown cause 'drain_bloked'; nearest known: drain_blocked"),
        ((["drain_blocked"], [1.2]), "severity 1.2 of drain_blocked is outside 0 to 1"),
        ((["drain_blocked"], [-0.1]), "severity -0.1 of drain_blocked is outside 0 to 1"),
        ((["drain_blocked"], [float("nan")]), "outside 0 to 1"),
        ((["drain_blocked"], [0.1, 0.2]), "there are 2 of --severity and 1 of --cause"),
        ((["drain_blocked", "no_call", "none"], [0.1, 0.2]), "there are 2 of --severity and 3 of --cause"),
        (([], [0.1]), "--severity without --cause"),
        (([], [], ["growing"]), "--course without --cause"),
        ((["drain_blocked"], [], ["slow"]), "unknown course 'slow' of drain_blocked"),
        ((["drain_blocked"], [], [], [-1.0]), "before the beginning"),
        ((["drain_blocked"], [], [], [float("inf")]), "--onset is not a number of seconds"),
        ((["drain_blocked", "drain_blocked"],), "drain_blocked is given twice"),
        ((["drain_blocked", "none"],), "none beside another cause"),
    ],
)
def test_options_that_make_no_sense_are_wrong_usage_in_one_sentence(given, says):
    with pytest.raises(WrongUsageError) as refused:
        causes_of(*given)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)
    assert refused.value.status == 2


def test_the_address_of_a_simulated_instrument():
    assert request_of("") == Request(seed=1, causes=(), instruments="full", speed=1.0)
    assert request_of("seed=7 speed=10 instruments=draft drain_blocked=0.7") == Request(
        7, (Cause("drain_blocked", 0.7),), "draft", 10.0
    )
    both = request_of("course=growing drain_blocked=0.7  onset=300 no_call=1")
    assert both.causes == (Cause("drain_blocked", 0.7, 300.0, "growing"), Cause("no_call", 1.0, 300.0, "growing"))
    assert request_of("none=1").causes == ()


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("drain_blocked", "'drain_blocked' is not a name with a value"),
        ("seed=", "'seed=' is not a name with a value"),
        ("sed=7", "unknown name 'sed'; nearest known: seed"),
        ("drain_bloked=0.7", "nearest known: drain_blocked"),
        ("seed=seven", "seed: 'seven' is not a whole number"),
        ("seed=-1", "seed: '-1' is not a whole number"),
        ("seed=1e3", "seed: '1e3' is not a whole number"),
        ("seed=7 seed=8", "'seed' stands twice"),
        ("drain_blocked=0.1 drain_blocked=0.2", "'drain_blocked' stands twice"),
        ("drain_blocked=7", "severity 7 of drain_blocked is outside 0 to 1"),
        ("drain_blocked=nan", "drain_blocked: 'nan' is not a number"),
        ("drain_blocked=1_0", "drain_blocked: '1_0' is not a number"),
        ("speed=0", "speed 0 is outside 0.1 to 100"),
        ("speed=inf", "speed: 'inf' is not a number"),
        ("instruments=drafts", "there is no set 'drafts'; nearest known: draft"),
        ("onset=5", "'onset' without a cause"),
        ("none=1 no_call=1", "none beside another cause"),
        ("course=slow no_call=1", "unknown course 'slow'"),
        ("x" * 500, "'" + "x" * 40 + "' is not a name"),
    ],
)
def test_an_address_that_cannot_be_read_is_one_sentence(address, says):
    with pytest.raises(InputError) as refused:
        request_of(address)
    assert says in str(refused.value)
    assert refused.value.hint, "a word on what to try"
    assert len(str(refused.value)) < 300


JOB = """[site]
name = "invented house"   # drain_blocked=0.7 in a comment is the author's own word
[[instrument]]
name = "practice unit"
driver = "simulate"
address = {address}
[[instrument]]
name = "my note"
driver = "manual"
address = "drain_blocked=0.7"
"""


@pytest.mark.parametrize(
    ("address", "kept"),
    [
        ("'seed=7 drain_blocked=0.3 speed=2'", "seed=7 speed=2"),
        ('"seed=7 drain_blocked=0.3 onset=100 course=growing"', "seed=7"),
        ("'drain_blocked=0.3'", ""),
        ("'seed=7'", "seed=7"),
    ],
)
def test_the_job_that_a_recording_keeps_does_not_say_what_is_wrong(address, kept):
    given = job.parse(JOB.format(address=address))
    text = without_causes(given)
    simulated, manual = job.parse(text).instruments
    assert (simulated.address or "") == kept
    assert manual.address == "drain_blocked=0.7", "what is not simulated is left alone"
    assert text.splitlines()[:4] == given.text.splitlines()[:4]
    assert "0.3" not in text


@pytest.mark.parametrize(
    ("address", "used", "kept"),
    [
        ("'seed=7'", Request(8), "'seed=8'"),
        ("'seed=7 speed=2'", Request(7, speed=2.0), "'seed=7 speed=2'"),
        ("'speed=2'", Request(8, instruments="draft"), "'speed=1 seed=8 instruments=draft'"),
        ("'seed=7 no_call=0.3'", Request(8), "'seed=8'"),
        ("'no_call=0.3'", Request(8), "'seed=8'"),
        ("''", Request(8), "'seed=8'"),
    ],
)
def test_the_job_that_a_recording_keeps_says_what_was_simulated(address, used, kept):
    given = job.parse(JOB.format(address=address) + "# seed=77 was another\n")
    assert without_causes(given, used) == given.text.replace(f"address = {address}", f"address = {kept}")
    assert request_of(kept.strip("'")) == used


@pytest.mark.parametrize("end", ["", "  # a comment"])
def test_a_simulated_unit_without_an_address_is_kept_with_the_seed_used(end):
    given = job.parse(f'[[instrument]]\n  driver = "simulate"{end}\n  name = "unit"\n')
    assert without_causes(given, Request()) is given.text
    kept = job.parse(without_causes(given, Request(8)))
    assert [(one.name, one.address) for one in kept.instruments] == [("unit", "seed=8")]
    assert without_causes(given, Request(8)).replace('  address = "seed=8"\n', "") == given.text


def test_a_unit_of_which_the_seed_used_cannot_be_said_is_refused():
    given = job.parse('instrument = [{ name = "unit", driver = "simulate" }]\n')
    with pytest.raises(InputError, match=r"instrument 'unit': its address cannot be kept .* as it was simulated"):
        without_causes(given, Request(8))


def test_a_job_without_a_simulated_unit_is_kept_to_the_letter():
    given = job.parse('[[instrument]]\nname = "a"\ndriver = "manual"\naddress = "drain_blocked=0.7"\n')
    assert without_causes(given) is given.text
    assert without_causes(given, Request(8)) is given.text


def test_an_address_from_which_nothing_can_be_taken_is_refused_rather_than_told():
    given = job.parse(JOB.format(address='"seed=7 drain\\u005fblocked=0.3"'))
    assert given.instruments[0].address == "seed=7 drain_blocked=0.3"
    with pytest.raises(InputError, match="cannot be kept without what is wrong"):
        without_causes(given)
