"""Putting an analysis together."""

from collector.analysis_run import with_papers
from collector.job import parse
from tests.collector.analyses import series

JOB = parse(
    '[[instrument]]\nname = "clamp"\naccuracy = "2 %"\nresponse_time = "0.5 s"\nchannels = { a = "amps_inducer" }\n'
)


def test_what_the_job_file_states_of_a_meter_goes_with_its_readings():
    for instrument in ("clamp", "simulated: clamp", "replay: clamp"):
        found = with_papers(series("amps_inducer", (0,), (1,), instrument), JOB).channel
        assert (found.accuracy, found.response_time) == ("2 %", 0.5)


def test_another_meter_or_point_of_that_name_gets_nothing():
    for point, instrument in (("amps_inducer", "clamp 2"), ("amps_blower", "clamp")):
        assert with_papers(series(point, (0,), (1,), instrument), JOB).channel.accuracy is None
