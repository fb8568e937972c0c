"""The model of the disk loses what a disk may lose, and nothing that was synced."""

import random
from collections.abc import Mapping

from tests.collector.durability.disk import losses
from tests.collector.durability.trace import Cut, Names, Operation, Run, Said, Sync, SyncFailed, SyncFolder, Write

OLD, NEW = b"o" * 8192, b"n" * 8192
MADE = Names((("a", 0),))


def left(*operations: Operation, before: Mapping[str, bytes] | None = None, seed: int = 1) -> list[dict[str, bytes]]:
    """Files after power losses at the very end of a run."""
    run = Run(before or {}, list(operations), certain=len(operations))
    return [dict(state.files) for state in losses(run, 300, random.Random(seed))]


def contents(states: list[dict[str, bytes]]) -> set[bytes]:
    return {state["a"] for state in states}


def test_what_was_synced_is_there():
    assert all(state == {"a": NEW} for state in left(MADE, Write(0, 0, NEW), Sync(0), SyncFolder()))


def test_a_write_that_was_not_synced_is_there_or_not_or_torn_in_any_place():
    found = contents(left(Write(0, 0, NEW), before={"a": OLD}))
    assert {OLD, NEW} <= found
    assert all(len(content) == 8192 for content in found)
    sectors = [[content[start] == NEW[0] for start in range(0, 8192, 512)] for content in found]
    assert [False] * 8 + [True] * 8 in sectors, "4096 bytes are written as one"
    assert any(one[0] < one[1] for one in sectors), "the second 512 bytes without the first"
    assert any(one[0] > one[1] for one in sectors)


def test_of_two_writes_either_may_be_there_alone():
    found = contents(left(Write(0, 0, b"n" * 4096), Write(0, 4096, b"n" * 4096), before={"a": OLD}))
    assert {NEW, OLD, NEW[:4096] + OLD[4096:], OLD[:4096] + NEW[4096:]} <= found


def test_what_a_refused_sync_left_out_no_later_sync_brings_back():
    operations = (Write(0, 0, b"n" * 4096), SyncFailed(0), Write(0, 4096, b"n" * 4096), Sync(0))
    found = {contents(left(*operations, before={"a": OLD}, seed=seed)).pop() for seed in range(20)}
    assert {NEW, OLD[:4096] + NEW[4096:]} <= found
    assert all(content[4096:] == NEW[4096:] for content in found)


def test_bytes_beside_a_write_stay():
    found = contents(left(Write(0, 100, b"n" * 10), before={"a": OLD}))
    assert found == {OLD, OLD[:100] + b"n" * 10 + OLD[110:]}


def test_a_file_may_have_grown_before_its_bytes_are_there():
    found = contents(left(Write(0, 4096, b"n" * 4096), before={"a": OLD[:4096]}))
    assert {OLD[:4096], OLD[:4096] + b"n" * 4096, OLD[:4096] + bytes(4096)} <= found
    assert any(content[4096:] not in (b"", b"n" * 4096, bytes(4096)) for content in found), "anything may be there"
    assert all(content[:4096] == OLD[:4096] for content in found)


def test_a_cut_may_be_lost():
    assert {OLD, b"", OLD[:4096]} <= contents(left(Cut(0, 4096), Cut(0, 0), before={"a": OLD}))


def test_names_that_were_not_synced_are_there_or_not():
    assert {tuple(state) for state in left(MADE)} == {(), ("a",)}
    assert {tuple(state) for state in left(Names((("a", None),)), before={"a": OLD})} == {(), ("a",)}
    after = left(Names((("a", None), ("b", 0))), before={"a": OLD, "b": NEW})
    assert {tuple(sorted(state.items())) for state in after} == {(("a", OLD), ("b", NEW)), (("b", OLD),)}


def test_an_earlier_name_may_be_lost_and_a_later_one_kept():
    both = {tuple(sorted(state)) for state in left(MADE, Names((("b", 1),)))}
    assert both == {(), ("a",), ("b",), ("a", "b")}


def test_what_was_said_is_what_was_said_before_the_instant():
    operations: list[Operation] = [Said("0"), Write(0, 0, NEW), Said("\n1")]
    states = list(losses(Run({"a": OLD}, operations), 200, random.Random(1)))
    assert {state.said for state in states} == {"", "0", "0\n1"}
    assert all(state.files["a"] == OLD for state in states if state.after < 2)
