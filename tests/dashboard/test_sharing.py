"""The link and the viewers: who is let in, who is not, and how they are cut off."""

from contextlib import ExitStack
from dataclasses import replace

import pytest

from collector.building import Share
from dashboard import knocks, sharing
from dashboard.knocks import Knocks
from dashboard.sharing import Refused, Sharing, device_of

TOKEN = "t" * 32
SHARE = Share(("192.168.7.5",), TOKEN, until=1000.0, port=8350)
PHONE = "10.0.0.9"


class Clock:
    """Stands still until it is moved."""

    def __init__(self) -> None:
        self.time = 0.0

    def __call__(self) -> float:
        return self.time


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def shared(clock: Clock) -> Sharing:
    made = Sharing(now=clock, knocks=Knocks(clock))
    made.begin(SHARE)
    return made


def refused(shared: Sharing, token: str, address: str = PHONE) -> Refused:
    with pytest.raises(Refused) as found:
        shared.admit(token, address, "telephone")
    return found.value


def test_who_has_the_link_is_let_in_and_known_by_what_their_browser_keeps(shared: Sharing) -> None:
    kept = shared.admit(TOKEN, PHONE, "telephone")
    viewer = shared.viewer(kept)
    assert viewer is not None
    assert (viewer.device, viewer.since) == ("telephone", 0.0)
    assert kept != TOKEN
    assert shared.viewer(kept[:-1]) is None
    assert shared.viewer(TOKEN) is None, "the link itself is no pass"
    assert shared.viewer(None) is None


@pytest.mark.parametrize("token", ["", "x", "t" * 31, "t" * 33, "T" * 32, "\ufffd" * 32])
def test_any_other_link_is_refused_in_one_sentence(shared: Sharing, token: str) -> None:
    assert str(refused(shared, token)) == sharing.GONE
    assert TOKEN not in sharing.GONE


def test_the_link_of_another_call_is_refused(clock: Clock, shared: Sharing) -> None:
    other = Sharing(now=clock, knocks=Knocks(clock))
    other.begin(replace(SHARE, token="o" * 32))
    assert str(refused(other, TOKEN)) == sharing.GONE


def test_when_its_time_is_over_nobody_is_let_in_and_whoever_looks_on_is_cut_off(clock: Clock, shared: Sharing) -> None:
    kept = shared.admit(TOKEN, PHONE, "telephone")
    viewer = shared.viewer(kept)
    assert viewer is not None
    clock.time = 999.9
    shared.tick()
    assert not viewer.ended.is_set()
    clock.time = 1000.0
    assert shared.viewer(kept) is None, "also before the clock is looked at"
    assert str(refused(shared, TOKEN)) == sharing.GONE
    shared.tick()
    assert viewer.ended.is_set()
    assert "is over" in viewer.why
    assert shared.share is None


def test_ended_is_ended_for_everybody_and_the_link(shared: Sharing) -> None:
    kept = [shared.admit(TOKEN, PHONE, "telephone") for _ in range(3)]
    viewers = [shared.viewer(one) for one in kept]
    shared.end()
    assert all(one is not None and one.ended.is_set() for one in viewers)
    assert [shared.viewer(one) for one in kept] == [None] * 3
    assert str(refused(shared, TOKEN)) == sharing.GONE


def test_who_is_cut_off_cannot_come_back_by_the_old_link_and_the_others_stay(shared: Sharing) -> None:
    one, other = (shared.viewer(shared.admit(TOKEN, PHONE, "telephone")) for _ in range(2))
    assert one is not None
    assert other is not None
    assert shared.cut(one.number)
    assert one.ended.is_set()
    assert not other.ended.is_set()
    assert str(refused(shared, TOKEN)) == sharing.GONE
    assert shared.share is not None
    assert shared.viewer(shared.admit(shared.share.token, PHONE, "telephone")) is not None
    assert not shared.cut(one.number), "cut off already"


def test_tries_are_limited_for_each_address_and_for_all_together(clock: Clock, shared: Sharing) -> None:
    for _ in range(knocks.OF_ONE):
        assert refused(shared, "wrong").status == 403
    assert refused(shared, TOKEN).status == 429, "the right one is not looked at either"
    assert shared.viewer(shared.admit(TOKEN, "10.0.0.10", "computer")) is not None, "another address is not hindered"
    clock.time += knocks.MINUTE
    assert shared.viewer(shared.admit(TOKEN, PHONE, "telephone")) is not None
    for number in range(knocks.OF_ALL):
        refused(shared, "wrong", f"10.1.{number // 250}.{number % 250}")
    assert refused(shared, TOKEN, "10.2.0.1").status == 429


def test_addresses_that_tried_are_bounded(clock: Clock) -> None:
    tried = Knocks(clock)
    for number in range(5 * knocks.ADDRESSES):
        tried.wrong(str(number))
    assert len(tried) == knocks.ADDRESSES


def test_viewers_are_bounded_and_who_is_away_makes_room(shared: Sharing) -> None:
    viewers = [shared.viewer(shared.admit(TOKEN, PHONE, "telephone")) for _ in range(sharing.MOST_VIEWERS)]
    known = [viewer for viewer in viewers if viewer is not None]
    with shared.watching(known[0]):
        shared.admit(TOKEN, PHONE, "tablet")
        assert known[1].ended.is_set(), "away the longest"
        assert not known[0].ended.is_set()
    assert len(shared.told()["viewers"]) == sharing.MOST_VIEWERS


def test_when_all_look_on_nobody_else_is_let_in(shared: Sharing) -> None:
    with ExitStack() as looking:
        for _ in range(sharing.MOST_VIEWERS):
            viewer = shared.viewer(shared.admit(TOKEN, PHONE, "telephone"))
            assert viewer is not None
            looking.enter_context(shared.watching(viewer))
        assert str(refused(shared, TOKEN)) == sharing.FULL


def test_one_viewer_has_only_so_many_windows(shared: Sharing) -> None:
    viewer = shared.viewer(shared.admit(TOKEN, PHONE, "telephone"))
    assert viewer is not None
    with ExitStack() as windows:
        for _ in range(sharing.MOST_CONNECTIONS):
            windows.enter_context(shared.watching(viewer))
        with pytest.raises(Refused, match="close one of them"):
            windows.enter_context(shared.watching(viewer))
    with shared.watching(viewer):
        assert viewer.connections == 1


def test_who_looks_on_is_told_with_each_change_and_nothing_else_is_known_of_them(shared: Sharing) -> None:
    told: list[object] = []
    shared.changed = lambda: told.append(shared.told()["viewers"])
    viewer = shared.viewer(shared.admit(TOKEN, PHONE, "telephone"))
    assert viewer is not None
    with shared.watching(viewer):
        pass
    row = {"number": viewer.number, "since": 0.0, "device": "telephone"}
    assert told == [[row | {"watching": False}], [row | {"watching": True}], [row | {"watching": False}]]


def test_the_link_has_the_token_where_a_browser_sends_nothing_of_it(shared: Sharing) -> None:
    (one,) = shared.told()["links"]
    assert one["link"] == f"http://192.168.7.5:8350/join#{TOKEN}"
    assert one["code"].startswith("data:image/svg+xml")


@pytest.mark.parametrize(
    ("agent", "device"),
    [
        ("Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 Chrome/126.0 Mobile Safari/537.36", "telephone"),
        ("Mozilla/5.0 (Linux; Android 14; K) AppleWebKit/537.36 Chrome/126.0 Safari/537.36", "tablet"),
        ("Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 Chrome/126.0 Safari/537.36", "computer"),
        ("something else", "device"),
        ("", "device"),
    ],
)
def test_of_a_browser_only_the_kind_of_device_is_kept(agent: str, device: str) -> None:
    assert device_of(agent) == device
