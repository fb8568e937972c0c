"""Looking for the units of a Modbus line that somebody named."""

import socket
from contextlib import closing
from pathlib import Path

import pytest

from drivers.base import NotFoundError, SilentError
from drivers.found import Found
from drivers.modbus_probe import FOR_ANY, SHEET, probe, probe_for
from tests.drivers.modbus_bench import WAYS, mute, peer_of
from tests.drivers.modbus_peers import Unit


@WAYS
async def test_units_that_answer_are_found_with_what_they_say_of_themselves(way: str, tmp_path: Path) -> None:
    refusing = Unit(9, [1])
    refusing.refuses = 2
    with closing(peer_of(way, tmp_path, Unit(7, [1] * 9), refusing, Unit(3, [1]))) as peer:
        mute(peer, way, 3)
        found: list[Found] = []
        asked: list[int] = []
        await probe(peer.address, found.append, units=(3, 7, 9), within=0.15, before=asked.append)
        functions = {asked[0] for unit in peer.units for asked in unit.asked}
    assert asked == [3, 7, 9]
    assert [(one.driver, one.address, one.device) for one in found] == [
        ("modbus", peer.address, 7),
        ("modbus", peer.address, 9),
    ]
    assert functions == {3}, "something else than a read reached a unit"
    if way == "tcp":
        assert found[0].name == "Example P1"


@pytest.mark.parametrize("refuses", [None, 2])
async def test_a_server_that_answers_for_any_number_is_one_instrument(tmp_path: Path, refuses: int | None) -> None:
    everyone = Unit(0, [1])  # the server's own number for all that it does not name
    everyone.refuses = refuses
    with closing(peer_of("tcp", tmp_path, everyone)) as peer:
        found: list[Found] = []
        await probe(peer.address, found.append, units=range(1, 5), within=0.15)
    assert [(one.device, one.note) for one in found] == [(1, FOR_ANY)]


async def test_a_server_that_refuses_for_all_but_one_has_that_one(tmp_path: Path) -> None:
    everyone = Unit(0, [1])
    everyone.refuses = 4
    with closing(peer_of("tcp", tmp_path, everyone, Unit(3, [1]))) as peer:
        found: list[Found] = []
        await probe(peer.address, found.append, units=range(1, 5), within=0.15)
    assert [(one.device, one.note) for one in found] == [(3, SHEET)]


async def test_probing_a_line_that_is_not_there_says_so() -> None:
    with pytest.raises(NotFoundError, match="line /dev/none: there is no /dev/none"):
        await probe("/dev/none", lambda found: None)


async def test_a_search_that_is_too_short_for_all_units_says_how_far_it_came() -> None:
    with socket.create_server(("127.0.0.1", 0)) as mute_server:  # takes the connection and never answers
        address = f"tcp://127.0.0.1:{mute_server.getsockname()[1]}"
        with pytest.raises(SilentError, match=r"units 1 to \d+ were asked in 0.5 s; look for longer: all of them take"):
            await probe_for(address, 0.5, lambda found: None, within=0.1)
