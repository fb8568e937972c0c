"""Where this computer can be reached in the building, and the link to it."""

import time

import pytest

from collector import building
from collector.building import Share, begun, chosen, private_addresses, share_of, told, wished
from collector.qr import BLACK_AND_WHITE, as_picture, on_terminal
from drivers.base import InputError

SHARE = Share(("192.168.7.5", "10.0.0.7"), "t" * 32, until=1000.0, port=8350)


@pytest.fixture
def addresses(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What the machine says that it has."""
    found: list[str] = []
    monkeypatch.setattr(building, "_found", lambda: iter(found))
    return found


def test_only_addresses_of_local_networks_are_shared_each_once(addresses: list[str]) -> None:
    addresses += ["192.168.7.5", "127.0.0.1", "203.0.113.9", "8.8.8.8", "10.0.0.7", "192.168.7.5", "172.32.0.1"]
    assert private_addresses() == ("192.168.7.5", "10.0.0.7")
    assert chosen("all") == ("192.168.7.5", "10.0.0.7")
    addresses += [f"10.1.0.{number}" for number in range(50)]
    assert len(private_addresses()) == building.MOST_ADDRESSES


def test_the_addresses_of_this_machine_can_be_listened_on() -> None:
    for address in private_addresses():
        assert chosen(address) == (address,)


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("all", "no address in a local network"),
        ("call.lightoff", "'call.lightoff' is no IPv4 address of this computer"),
        ("127.0.0.1", "is where your own page is"),
        ("0.0.0.0", "broker with TLS"),
        ("8.8.8.8", "broker with TLS"),
        ("10.255.255.254", "is no address of this computer"),
        ("", "is no IPv4 address"),
        ("::1", "is no IPv4 address"),
    ],
)
def test_an_address_that_is_none_is_refused_in_a_sentence(addresses: list[str], address: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        chosen(address)


def test_each_share_has_a_link_of_its_own_that_nobody_guesses() -> None:
    tokens = {begun("127.0.0.2", 8.0, 0.0).token for _ in range(50)}
    assert len(tokens) == 50
    assert all(len(token) * 6 >= 128 for token in tokens), "six random bits a character"
    assert begun("127.0.0.2", 0.5, 100.0).until == 1900.0


@pytest.mark.parametrize("hours", [0.0, -1.0, 72.1, float("nan")])
def test_a_link_holds_for_some_hours(hours: float) -> None:
    with pytest.raises(InputError, match="cannot hold"):
        begun("127.0.0.2", hours, 0.0)


def test_nothing_is_shared_unless_it_is_asked_for() -> None:
    assert wished(None, None, 0.0) is None
    with pytest.raises(InputError, match="say --share-here too"):
        wished(None, 3.0, 0.0)
    now = time.time()
    share = wished("127.0.0.2", None, now)
    assert share is not None
    assert (share.addresses, share.until) == (("127.0.0.2",), now + 8 * 3600)


def test_a_share_goes_to_the_page_and_back() -> None:
    assert share_of({"share": SHARE.facts() | {"addresses": list(SHARE.addresses)}}) == SHARE
    assert share_of({"share": None}) is None
    assert share_of({}) is None
    wrongs: list[object] = [{}, [], {**SHARE.facts(), "addresses": []}, {**SHARE.facts(), "token": "short"}]
    for wrong in wrongs:
        with pytest.raises(ValueError, match="not usable"):
            share_of({"share": wrong})


def test_the_link_is_shown_on_a_terminal_and_in_no_log() -> None:
    assert SHARE.token not in "\n".join(told(SHARE, terminal=False))
    shown = list(told(SHARE, terminal=True))
    assert f"shared:    http://192.168.7.5:8350/join#{SHARE.token}" in shown
    assert f"shared:    http://10.0.0.7:8350/join#{SHARE.token}" in shown
    assert any("not encrypted" in line for line in shown)


def test_a_code_is_dark_on_light_whatever_the_terminal_is() -> None:
    lines = on_terminal("http://192.168.7.5").splitlines()
    assert len(lines) > 10
    assert all(line.startswith(BLACK_AND_WHITE) for line in lines)
    assert as_picture("http://192.168.7.5").startswith("data:image/svg+xml")
