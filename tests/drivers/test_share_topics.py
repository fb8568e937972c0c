"""Names in topics, and the URL of a call."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.base import InputError
from drivers.share_topics import CallTopics, checked_name, every_call, shared_call, topics_of


def test_the_tree():
    topics = CallTopics("cold company", "Ann", "2026-01-14")
    assert topics.status == "lightoff/1/cold company/Ann/2026-01-14/status"
    assert topics.answer("viewer7") == "lightoff/1/cold company/Ann/2026-01-14/answer/viewer7"
    assert topics_of(topics.answer("viewer7")) == (topics, "answer/viewer7")
    assert every_call("cold company") == "lightoff/1/cold company/+/+/status"
    assert every_call("cold company", technician="Ann", what="readings") == "lightoff/1/cold company/Ann/+/readings"


@pytest.mark.parametrize("name", ["", " ", "a/b", "+", "a+", "#", "$SYS", "a\n", "a\x00", "\x7f", "x" * 65, "\ud800"])
def test_names_that_cannot_be(name: str):
    with pytest.raises(InputError) as caught:
        checked_name("call", name)
    assert "\n" not in str(caught.value)
    for names in ((name, "b", "c"), ("a", name, "c"), ("a", "b", name)):
        with pytest.raises(InputError):
            CallTopics(*names)
    with pytest.raises(InputError):
        CallTopics("a", "b", "c").answer(name)


@given(st.text(max_size=70))
def test_any_name_gives_a_topic_of_its_own_or_none(name: str):
    try:
        topics = CallTopics("company", name, "call")
    except InputError:
        return
    assert topics_of(topics.readings) == (topics, "readings")
    assert topics.readings.count("/") == 5
    assert topics.readings.encode()


@pytest.mark.parametrize(
    "topic", ["", "lightoff/2/a/b/c/status", "lightoff/1/a/b/c", "x/1/a/b/c/status", "lightoff/1/a/b//status"]
)
def test_topics_of_others(topic: str):
    assert topics_of(topic) is None


def test_a_url_and_how_it_is_printed():
    call = shared_call("mqtts://ann@broker.example:8884/cold%20company/Ann/2026-01-14")
    assert call.broker.user == "ann"
    assert call.topics == CallTopics("cold company", "Ann", "2026-01-14")
    assert str(call) == "mqtts://broker.example:8884/cold%20company/Ann/2026-01-14"
    assert shared_call(str(call)).topics == call.topics


@pytest.mark.parametrize(
    "url",
    ["", "http://a/b/c/d", "mqtts://a", "mqtts://a/b/c", "mqtts://a/b/c/d/e", "mqtts://u:secret@a/b/c/d", "mqtts://a/b/c/d?x=1",
     "mqtts://a/b/c/%2B", "mqtts://a:0/b/c/d", "mqtts://[a/b/c/d"],
)  # fmt: skip
def test_urls_that_name_no_call(url: str):
    with pytest.raises(InputError) as caught:
        shared_call(url)
    assert "secret" not in str(caught.value)
