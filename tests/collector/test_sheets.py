"""What the job says of an instrument is known of its channels, wherever the file does not say it itself."""

import pytest

from analysis.model import Channel
from collector.job import parse
from collector.sheets import documented

JOB = parse(
    """
[[instrument]]
name = "manometer"
accuracy = "0.5 % + 0.01 inH2O"
response_time = "0.5 s"
channels = { pressure = "draft_collector" }
[[instrument]]
name = "probe"
accuracy = "0.5 degC"
channels = { temp = "temp_supply" }
"""
)


@pytest.mark.parametrize(
    ("point", "instrument", "accuracy", "response_time"),
    [
        ("draft_collector", "manometer", "0.5 % + 0.01 inH2O", 0.5),
        ("draft_vent", "replay: simulated: manometer", "0.5 % + 0.01 inH2O", 0.5),
        ("temp_room", "manometer", None, 0.5),
        ("temp_supply", "call", "0.5 degC", None),
        ("temp_room", "call", None, None),
        ("temp_supply", "another", None, None),
    ],
)
def test_accuracy_and_response_time_are_those_of_the_instrument(point, instrument, accuracy, response_time):
    found = documented(Channel(point, instrument, "Pa"), JOB, "call")
    assert (found.accuracy, found.response_time) == (accuracy, response_time)


def test_what_a_recording_says_itself_stays():
    channel = Channel("draft_collector", "manometer", "inH2O", accuracy="2 %", response_time=0.0)
    assert documented(channel, JOB) == channel


def test_of_two_instruments_at_a_point_none_is_meant_where_the_file_names_none():
    two = parse(
        JOB.text + '[[instrument]]\nname = "other"\naccuracy = "2 %"\nchannels = { pressure = "draft_collector" }\n'
    )
    assert documented(Channel("draft_collector", "call", "Pa"), two, "call").accuracy is None
