"""A saved job is followed at once: what differs stops and starts, what does not goes on; real ports."""

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from analysis.model import EventKind
from collector.collector import Collector
from collector.instruments import build
from collector.job import parse
from collector.job_commands import JobDesk, Place
from collector.recording import Recording
from collector.running import Running
from collector.session import watching
from collector.trials import Trials
from drivers.setup import Shared
from tests.collector.calls import call
from tests.drivers.ptys import PtyPort
from tests.support import until

ONE = """\
[[instrument]]  # the first
name = "switch manometer"
driver = "serial"
profile = "line-pressure"
address = "{}"
channels = {{ pressure = "draft_switch" }}
"""


@contextmanager
def ports(folder: Path, *names: str) -> Iterator[list[PtyPort]]:
    made = []
    for name in names:
        (folder / name).mkdir()
        made.append(PtyPort(folder / name))
    try:
        yield made
    finally:
        for port in made:
            port.close()


@asynccontextmanager
async def desk(folder: Path, text: str = "") -> AsyncIterator[tuple[JobDesk, Collector, Trials]]:
    (folder / "job.toml").write_text(text)
    job = parse(text)
    async with call(folder / "call.lightoff") as collector:
        make = partial(build, now=collector.now, shared=Shared())
        drivers = make(job.instruments)
        for driver in drivers:
            collector.add(driver)
        await until(lambda: collector.running, what="it runs")
        running = Running(collector, job.instruments, make)
        one = JobDesk(collector, job, Place(folder / "job.toml"), rules=watching(job, drivers), running=running)
        trials = Trials(one.with_instrument, running, now=collector.now)
        async with trials.work:
            yield one, collector, trials


def save(one: JobDesk, text: str, **more: object) -> Any:
    version = one.commands["job_read"]({}).data["version"]  # type: ignore[union-attr]
    return one.commands["job_save"]({"text": text, "version": version, **more})


def states(folder: Path) -> list[tuple[str | None, object]]:
    with Recording(folder / "call.lightoff") as recording:
        return [(event.subject, event.data["state"]) for event in recording.events({EventKind.INSTRUMENT})]


async def heard(collector: Collector, port: PtyPort, key: str, number: float) -> None:
    """Say a number until it is the latest: what comes before a port is open is lost."""

    def said() -> bool:
        port.offer(f"\nP={number:.2f} inH2O\r\n".encode(), within=0.01)
        return key in collector._native and collector._native[key] == number

    await until(said, what=f"{key} shows {number}")


async def test_an_added_one_reads_an_undone_one_is_gone_and_the_other_never_noticed(tmp_path):
    with ports(tmp_path, "a", "b") as (first, second):
        text = ONE.format(first.path)
        async with desk(tmp_path, text) as (one, collector, _):
            await heard(collector, first, "draft_switch@switch manometer", 100.0)
            more = ONE.format(second.path).replace("switch manometer", "box").replace("draft_switch", "draft_collector")
            assert save(one, text + more).text == "saved to job.toml, in force now"
            await heard(collector, second, "draft_collector@box", -50.0)
            (before, _) = collector.supervisors
            assert before.status.sessions == 1
            one.commands["job_undo"]({})
            await until(lambda: collector.supervisors == [before], what="it is gone")
            assert "draft_collector@box" not in collector.latest
            await heard(collector, first, "draft_switch@switch manometer", 101.0)
        assert states(tmp_path) == [
            ("switch manometer", "reading"),
            ("box", "added"),
            ("box", "reading"),
            ("box", "removed"),
        ]


async def test_a_changed_point_follows_at_the_same_port_without_a_word_of_a_busy_one(tmp_path):
    with ports(tmp_path, "a") as (port,):
        text = ONE.format(port.path)
        async with desk(tmp_path, text) as (one, collector, _):
            await heard(collector, port, "draft_switch@switch manometer", 100.0)
            save(one, text.replace("draft_switch", "draft_collector"))
            await heard(collector, port, "draft_collector@switch manometer", -50.0)
            assert [channel.point for channel in collector.channels] == ["draft_collector"]
            assert "draft_switch@switch manometer" not in collector.latest
            assert one.job.instruments[0].channels == {"pressure": "draft_collector"}
        assert [state for _, state in states(tmp_path)] == ["reading", "changed", "reading"]
        with Recording(tmp_path / "call.lightoff") as recording:
            changed = next(one for one in recording.events({EventKind.INSTRUMENT}) if one.data["state"] == "changed")
            assert recording.read("draft_switch@switch manometer").time[-1] <= changed.time
            assert recording.read("draft_collector@switch manometer").time[0] >= changed.time


async def test_a_renamed_one_takes_its_port_over(tmp_path):
    with ports(tmp_path, "a") as (port,):
        text = ONE.format(port.path)
        async with desk(tmp_path, text) as (one, collector, _):
            await heard(collector, port, "draft_switch@switch manometer", 100.0)
            save(one, text.replace("switch manometer", "dial"))
            await heard(collector, port, "draft_switch@dial", 90.0)
        found = states(tmp_path)
        assert ("dial", "trying again") not in found
        assert {("switch manometer", "removed"), ("dial", "added"), ("dial", "reading")} <= set(found)


async def test_what_no_driver_works_with_leaves_the_session_alone(tmp_path):
    with ports(tmp_path, "a") as (port,):
        text = ONE.format(port.path)
        async with desk(tmp_path, text) as (one, collector, _):
            await heard(collector, port, "draft_switch@switch manometer", 100.0)
            save(one, text + "isolated = true\n")
            (supervisor,) = collector.supervisors
            assert supervisor.status.sessions == 1
            assert one.job.instruments[0].isolated is True
        assert states(tmp_path)[-1] == ("switch manometer", "changed")


async def test_a_meter_on_a_live_circuit_waits_until_its_caution_was_shown_and_the_recording_keeps_it(tmp_path):
    with ports(tmp_path, "a") as (port,):
        profile = tmp_path / "flame.toml"
        profile.write_text(
            'driver = "serial"\n[serial]\npattern = \'I=(?P<current>\\S+)\'\n[[value]]\nname = "current"\nunit = "uA"\n'
        )
        text = ONE.format(port.path).replace("line-pressure", str(profile))
        text = text.replace("pressure", "current").replace("draft_switch", "flame_current")
        async with desk(tmp_path) as (one, collector, _):
            first = save(one, text)
            assert (first.data["saved"], first.data["mind"]) == (False, True)
            assert "mains voltage" in first.data["cautions"][0]["text"]
            assert collector.supervisors == []
            assert save(one, text, minded=True).data["saved"] is True
            assert collector.channels[0].point == "flame_current"
        with Recording(tmp_path / "call.lightoff") as recording:
            (caution,) = recording.events({EventKind.PROBLEM})
        assert "puts this computer at mains voltage" in caution.text


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ('profile = "nowhere/at-all.toml"', "at-all.toml"),
        ('profile = "line-pressur"', "nearest known: line-pressure"),
    ],
)
async def test_one_that_cannot_be_made_is_a_mistake_before_anything_is_saved(tmp_path, wrong, words):
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path, "# kept\n") as (one, collector, _):
            answer = save(one, ONE.format(port.path).replace('profile = "line-pressure"', wrong))
            assert answer.data["saved"] is False
            (mistake,) = answer.data["mistakes"]
            assert words in mistake["text"]
            assert collector.supervisors == []
            assert (tmp_path / "job.toml").read_text() == "# kept\n"
        assert states(tmp_path) == []


async def test_a_unit_that_the_recording_has_otherwise_is_a_mistake_before_anything_is_saved(tmp_path):
    with ports(tmp_path, "a") as (port,):
        lines = 'line = "P=(?P<pressure>\\\\S+) inH2O"\nunits = {{ pressure = "{}" }}\n'
        text = ONE.format(port.path).replace('profile = "line-pressure"\n', "")
        async with desk(tmp_path, text + lines.format("inH2O")) as (one, collector, _):
            answer = save(one, text + lines.format("Pa"))
            assert "name the instrument otherwise" in answer.data["mistakes"][0]["text"]
            assert answer.data["mistakes"][0]["key"] == "instrument[1]"
            assert (tmp_path / "job.toml").read_text() == text + lines.format("inH2O")
            assert len(collector.supervisors) == 1


async def test_a_contact_that_is_added_is_watched_by_the_alarms_that_need_it(tmp_path):
    """Without the contact the margin's alarm would be raised at rest, so it is left out; with it, it comes."""
    plate = '[furnace]\nswitch_close = ["0.50 inH2O"]\nswitch_open = ["0.42 inH2O"]\n'
    contact = (
        '[[instrument]]\nname = "contact"\ndriver = "serial"\naddress = "{}"\nline = "S=(?P<s>[01])"\n'
        'channels = {{ s = "switch_closed" }}\nunits = {{ s = "1" }}\n'
    )
    with ports(tmp_path, "a") as (port,):
        async with desk(tmp_path, plate) as (one, collector, _):
            names = lambda: {status.name for status in collector.alarms.snapshot()}  # noqa: E731
            assert "draft_margin" not in names()
            save(one, plate + contact.format(port.path))
            assert "draft_margin" in names()
            one.commands["job_undo"]({})
            assert "draft_margin" not in names()
