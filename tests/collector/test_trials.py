"""A trial beside the call, at real ports: live, bounded, in no recording, over by itself; nothing of it is left."""

from pathlib import Path
from typing import Any

import pytest

from analysis.model import Channel, Quality, Reading
from analysis.points import MEASURES
from collector.recording import Recording
from collector.trials import KEPT, MOST, MOVED, Trial, Trials
from drivers.base import InputError
from tests.collector.calls import DRAFT, Told
from tests.collector.test_running import ONE, desk, ports, save
from tests.drivers.ptys import PtyPort
from tests.drivers.session import nothing_left
from tests.support import until

ENTRY = {
    "name": "new",
    "driver": "serial",
    "profile": "line-pressure",
    "channels": {"pressure": "draft_collector"},
}


def ask(trials: Trials, name: str, **given: object) -> Any:
    return trials.commands[name](given)


async def told(trials: Trials, port: PtyPort, number: int, value: float) -> dict[str, Any]:
    """The value on trial once it shows what the meter says."""
    found: dict[str, Any] = {}

    def shows() -> bool:
        port.offer(f"\nP={value:.2f} inH2O\r\n".encode(), within=0.01)
        found.update(ask(trials, "trial_state", number=number).data)
        return bool(found["values"]) and any(one["native"] == value for one in found["values"])

    await until(shows, what=f"it shows {value}")
    return dict(next(one for one in found["values"] if one["native"] == value))


async def test_a_value_is_shown_live_and_whether_it_moved_and_nothing_is_recorded(tmp_path):
    with ports(tmp_path, "a") as (port,):
        with nothing_left():
            async with desk(tmp_path) as (_, _, trials):
                begun = ask(trials, "trial_start", instrument={**ENTRY, "address": str(port.path)}).data
                assert begun["started"] is True
                still = await told(trials, port, begun["number"], -1.0)
                assert (still["moved"], still["unit"], still["point"]) == (False, "inH2O", "draft_collector")
                moved = await told(trials, port, begun["number"], -60.0)
                assert moved["moved"] is True
                assert moved["by"] == pytest.approx(59.0 * 249.089, rel=1e-4)
                assert moved["recent"][-1] == -60.0
        with Recording(tmp_path / "call.lightoff") as recording:
            assert recording.channels == ()
            assert (tmp_path / "job.toml").read_text() == ""


async def test_lines_that_do_not_fit_are_counted_and_another_baud_is_taken(tmp_path):
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path) as (one, _, trials):
            entry = {**ENTRY, "address": str(port.path), "baud": "38400"}
            found = one.with_instrument(entry).job
            assert found is not None
            assert found.instruments[-1].baud == 38400
            begun = ask(trials, "trial_start", instrument=entry).data

            def misfits() -> bool:
                port.offer(b"\nT=20.0 C\r\n", within=0.01)
                told = ask(trials, "trial_state", number=begun["number"]).data
                return bool(told["unreadable"] > 0 and not any(one["count"] for one in told["values"]))

            await until(misfits, what="it is counted")


async def test_a_trial_is_bounded_whatever_a_meter_says():
    trial = Trial(Told("m", DRAFT), now=lambda: 0, monotonic=lambda: 1.0)
    for number in range(5000):
        trial._take(Reading(DRAFT.key, number, float(number % 7)))
    for number in range(200):
        trial._take(Channel("draft_collector", f"m ({number})", "Pa"))
        trial._take(Reading(f"draft_collector@m ({number})", number, 1.0))
    shown: Any = trial.told()["values"]
    assert len(shown) == MOST
    assert len(shown[0]["recent"]) == KEPT
    assert shown[0]["count"] == 5000
    assert trial.uncounted == 200 - (MOST - 1)
    trial._take(Reading(DRAFT.key, 6000, float("nan"), Quality.BAD))
    last: Any = trial.told()["values"]
    assert last[0]["native"] is None
    assert last[0]["by"] == pytest.approx(6 * 249.089, rel=1e-4), "what it moved by stays"


async def test_it_is_over_by_itself_and_with_the_page(tmp_path):
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path) as (one, collector, trials):
            with nothing_left():
                short = Trials(one.with_instrument, trials._running, now=collector.now, unasked=0.2)
                async with short.work:
                    begun = ask(short, "trial_start", instrument={**ENTRY, "address": str(port.path)}).data
                    await told(short, port, begun["number"], -1.0)
                    await until(lambda: not short.work.running, within=3, what="its end")
                    state = ask(short, "trial_state", number=begun["number"]).data
                    assert state["running"] is False
                    assert state["why"] == "ended, since nobody looked on any more"


async def test_a_port_that_the_call_reads_is_refused_in_words_also_by_another_path(tmp_path):
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path, ONE.format(port.path)) as (_, collector, trials):
            answer = ask(trials, "trial_start", instrument={**ENTRY, "address": str(port.path)}).data
            assert answer["started"] is False
            assert "are both at" in answer["mistakes"][0]["text"]
            with pytest.raises(InputError, match="is read as 'switch manometer' in this call already"):
                ask(trials, "trial_start", instrument={**ENTRY, "address": port.device})
            assert len(collector.supervisors) == 1


async def test_a_port_that_another_program_holds_is_told_and_tried_again(tmp_path):
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path) as (_, _, trials):
            with port.held():
                begun = ask(trials, "trial_start", instrument={**ENTRY, "address": str(port.path)}).data
                state = lambda: ask(trials, "trial_state", number=begun["number"]).data  # noqa: E731
                await until(lambda: state()["state"] == "trying again", what="it is told")
                assert "another program" in state()["text"]
            await told(trials, port, begun["number"], -1.0)


async def test_taking_a_meter_into_the_call_ends_its_trial_before_and_needs_no_second_try(tmp_path):
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path) as (one, collector, trials):
            begun = ask(trials, "trial_start", instrument={**ENTRY, "address": str(port.path)}).data
            await told(trials, port, begun["number"], -1.0)
            save(one, ONE.format(port.path))

            def reads() -> bool:
                port.offer(b"\nP=100.00 inH2O\r\n", within=0.01)
                return "draft_switch@switch manometer" in collector.latest

            await until(reads, what="it reads")
            (supervisor,) = collector.supervisors
            assert (supervisor.status.sessions, supervisor.status.errors) == (1, 0)
            assert trials.work.running is False


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({"name": "new"}, "has no driver"),
        ({**ENTRY, "address": "/dev/x", "channels": {"flow": "draft_switch"}}, "no value 'flow'"),
        ({**ENTRY, "address": "/dev/x", "name": "switch manometer"}, "is already the name"),
        ({**ENTRY, "address": "/dev/x", "profile": "line-pressur"}, "line-pressur"),
    ],
)
async def test_what_it_lacks_is_said_before_anything_is_opened(tmp_path, entry, words):
    async with desk(tmp_path, ONE.format("/dev/none")) as (_, _, trials):
        try:
            answer = ask(trials, "trial_start", instrument=entry).data
            text = " ".join(one["text"] for one in answer["mistakes"])
        except InputError as error:
            text = str(error)
        assert words in text
        assert trials.work.running is False


@pytest.mark.parametrize(
    "given", [{}, {"instrument": 3}, {"instrument": {"nonsense": "x"}}, {"instrument": {"name": 3}}]
)
async def test_what_no_page_sends_is_a_sentence(tmp_path: Path, given: dict[str, object]):
    async with desk(tmp_path) as (_, _, trials):
        with pytest.raises(InputError):
            ask(trials, "trial_start", **given)
        with pytest.raises(InputError, match="nothing is on trial"):
            ask(trials, "trial_state", number=1)


async def test_another_page_that_begins_a_trial_is_told_to_the_first(tmp_path):
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path) as (_, _, trials):
            entry = {**ENTRY, "address": str(port.path)}
            first = ask(trials, "trial_start", instrument=entry).data["number"]
            second = ask(trials, "trial_start", instrument=entry).data["number"]
            with pytest.raises(InputError, match="on another page"):
                ask(trials, "trial_state", number=first)
            await told(trials, port, second, -2.0)
            assert ask(trials, "trial_stop").text == "the trial is over"


def test_every_measure_of_a_point_has_a_distance_that_counts_as_moved():
    assert set(MOVED) == set(MEASURES) - {"temperature_difference"}
