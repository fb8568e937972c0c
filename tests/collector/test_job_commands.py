"""The job of a call by the page's commands: read, checked, saved, undone, and in force at once."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from analysis.model import EventKind
from collector.clock import Clock
from collector.collector import Collector
from collector.commands import Commands
from collector.files import job_at
from collector.job import parse
from collector.job_check import examined
from collector.job_commands import JobDesk, Place
from collector.job_lines import MAX_BYTES
from collector.recording import Recording
from collector.session import Plan, place_of_job, rules
from collector.store import Store
from drivers.base import InputError
from tests.collector.job_texts import unit

JOB = """\
# kept
[furnace]
rise = ["35 degF", "65 degF"]  # plate
"""
RISE = {"path": ["furnace", "rise"], "value": ["40 degF", "70 degF"]}
SERIAL = {"name": "m", "driver": "serial", "address": "/dev/x", "line": r"(?P<a>\d+)"}


@contextmanager
def desk(tmp_path: Path, text: str | None = JOB, *, why: str = "") -> Iterator[tuple[JobDesk, Collector]]:
    file = tmp_path / "job.toml"
    if text is not None:
        file.write_text(text)
    job = job_at(file if text is not None else None)
    with Store(tmp_path / "call.lightoff") as store:
        collector = Collector(store, plate=job.plate, rules=rules(job), clock=Clock())
        yield JobDesk(collector, job, Place(None if why else file, why), rules=rules), collector
        store.append([*collector.remembered])


def jobs(tmp_path: Path) -> list[object]:
    with Recording(tmp_path / "call.lightoff") as recording:
        return [event.data["text"] for event in recording.events({EventKind.JOB})]


def rise(one: JobDesk) -> Any:
    """The rise window that pages are told. [K]"""
    about: Any = one.about()
    return about["plate"]["rise"]


def ask(one: JobDesk, name: str, **given: object) -> Any:
    return one.commands[name](given)


def test_it_is_read_checked_saved_and_undone(tmp_path: Path):
    with desk(tmp_path) as (one, collector):
        read = ask(one, "job_read").data
        assert (read["name"], read["writable"], read["in_force"], read["undo"]) == ("job.toml", True, True, False)
        assert read["values"]["furnace"] == {"rise": ["35 degF", "65 degF"]}
        assert str(tmp_path) not in repr(read), "a name, never a path"

        checked = ask(one, "job_check", text=read["text"], changes=[RISE])
        assert checked.text == "nothing to correct"
        expected = JOB.replace('"35 degF", "65 degF"', '"40 degF", "70 degF"')
        assert checked.data["text"] == expected
        assert (tmp_path / "job.toml").read_text() == JOB

        saved = ask(one, "job_save", text=read["text"], changes=[RISE], version=read["version"])
        assert saved.text == "saved to job.toml, in force now"
        assert (tmp_path / "job.toml").read_text() == expected
        assert rise(one) == pytest.approx((40 / 1.8, 70 / 1.8))
        told: Any = one.about()
        limits = {rule["name"]: rule for rule in told["limits"]}
        assert limits["rise_high"]["above"] == pytest.approx(70 / 1.8)
        assert {status.name: status.limit for status in collector.alarms.snapshot()}["rise_high"] == pytest.approx(
            70 / 1.8
        )
        assert ask(one, "job_read").data["undo"] is True

        undone = ask(one, "job_undo")
        assert undone.text == "undone: job.toml has again what it had before"
        assert (tmp_path / "job.toml").read_text() == JOB
        assert rise(one) == pytest.approx((35 / 1.8, 65 / 1.8))
        with pytest.raises(InputError, match="nothing to undo"):
            ask(one, "job_undo")
    assert jobs(tmp_path) == [expected, JOB]


def test_without_a_job_file_one_is_made_and_undo_takes_it_away(tmp_path: Path):
    with desk(tmp_path, None) as (one, _):
        read = ask(one, "job_read").data
        assert (read["text"], read["there"], read["version"], read["writable"]) == ("", False, "", True)
        saved = ask(one, "job_save", text="", changes=[RISE], version="").data
        assert saved["saved"] is True
        assert (tmp_path / "job.toml").read_text() == '[furnace]\nrise = ["40 degF", "70 degF"]\n'
        assert one.job.name == "job.toml"
        assert ask(one, "job_undo").text == "undone: job.toml is removed again, as before"
        assert not (tmp_path / "job.toml").exists()
        assert rise(one) is None


def test_nothing_is_saved_while_there_is_a_mistake(tmp_path: Path):
    with desk(tmp_path) as (one, _):
        version = ask(one, "job_read").data["version"]
        wrong = {"path": ["furnace", "rise"], "value": ["65 degF", "35"]}
        answer = ask(one, "job_save", text=JOB, changes=[wrong], version=version)
        assert answer.data["saved"] is False
        (mistake,) = answer.data["mistakes"]
        assert (mistake["line"], mistake["key"]) == (3, "furnace.rise")
        assert "'35' has no unit" in mistake["text"]
        assert answer.data["text"].startswith('# kept\n[furnace]\nrise = ["65 degF", "35"]  # plate')
        assert (tmp_path / "job.toml").read_text() == JOB
        assert rise(one) == pytest.approx((35 / 1.8, 65 / 1.8))
    assert jobs(tmp_path) == []


@pytest.mark.parametrize(
    ("instrument", "key", "words"),
    [
        ({"name": "m"}, "instrument[1].driver", "has no driver"),
        ({"name": "m", "driver": "share"}, "instrument[1].driver", "a recording of its own"),
        ({**SERIAL}, "instrument[1].channels", "has no channels"),
        ({**SERIAL, "channels": {"a": "draft_switch"}}, "instrument[1].units", "does not say the unit"),
        ({"name": "m", "driver": "simulate"}, "instrument[1].driver", "with an editor"),
        (
            {"name": "m", "driver": "serial", "channels": {"a": "draft_switch"}, "units": {"a": "Pa"}},
            "instrument[1].address",
            "has no 'address'",
        ),
    ],
)
def test_what_an_instrument_lacks_is_a_mistake_beside_its_field(tmp_path: Path, instrument, key, words):
    with desk(tmp_path) as (one, _):
        data = ask(one, "job_check", text=JOB, changes=[{"path": ["instrument", 0], "value": instrument}]).data
        (mistake,) = data["mistakes"]
        assert mistake["key"] == key
        assert words in mistake["text"]
        assert mistake["line"] >= 4


def test_two_at_one_port_and_two_alarms_of_one_name_are_mistakes(tmp_path: Path):
    whole = {**SERIAL, "channels": {"a": "flame_current"}, "units": {"a": "uA"}}
    changes = [
        {"path": ["instrument", 0], "value": whole},
        {"path": ["instrument", 1], "value": {**whole, "name": "n"}},
        {"path": ["limit", 0], "value": {"name": "rise_high", "point": "temp_rise", "above": "60 degF"}},
    ]
    with desk(tmp_path) as (one, _):
        data = ask(one, "job_check", text=JOB, changes=changes).data
        assert [mistake["key"] for mistake in data["mistakes"]] == ["instrument[2].address", "limit[1].name"]
        assert [caution["key"] for caution in data["cautions"]] == ["instrument[1].isolated", "instrument[2].isolated"]


def test_a_file_named_by_a_browser_is_not_opened(tmp_path: Path):
    replay = {"name": "r", "driver": "replay", "address": str(tmp_path / "not there.csv")}
    with desk(tmp_path) as (one, _):
        data = ask(one, "job_check", text=JOB, changes=[{"path": ["instrument", 0], "value": replay}]).data
        assert data["mistakes"] == []
        assert "begins and ends with a call" in data["cautions"][0]["text"]


def test_nothing_is_said_of_a_profile_that_is_in_use_and_what_can_hurt_comes_first():
    meter = '[[instrument]]\nname = "{0}"\ndriver = "serial"\nprofile = "{1}.toml"\naddress = "/dev/{0}"\n'
    used = meter.format("draft", "draft") + 'channels = { a = "draft_switch" }\n'
    text = used + meter.format("rod", "new") + 'channels = { a = "flame_current" }\n'
    found = examined(text, "job.toml", lambda _: (), running=parse(used).instruments)
    assert [one.key for one in found.cautions] == ["instrument[2].isolated", "instrument[2].profile"]
    assert [one.key for one in examined(text, "job.toml", lambda _: ()).cautions] == [
        "instrument[2].isolated",
        "instrument[1].profile",
        "instrument[2].profile",
    ]


def test_a_call_whose_instruments_stay_refuses_another_one_before_anything_is_saved(tmp_path: Path):
    whole = {**SERIAL, "channels": {"a": "draft_switch"}, "units": {"a": "Pa"}}
    with desk(tmp_path) as (one, _):
        version = ask(one, "job_read").data["version"]
        change = {"path": ["instrument", 0], "value": whole}
        saved = ask(one, "job_save", text=JOB, changes=[change], version=version)
        assert saved.data["saved"] is False
        assert "stay as they are" in saved.data["mistakes"][0]["text"]
        assert (tmp_path / "job.toml").read_text() == JOB


def test_a_replay_begins_with_the_next_call_and_that_is_said(tmp_path: Path):
    replay = {"name": "r", "driver": "replay", "address": str(tmp_path / "not there.csv")}
    with desk(tmp_path) as (one, _):
        version = ask(one, "job_read").data["version"]
        change = {"path": ["instrument", 0], "value": replay}
        saved = ask(one, "job_save", text=JOB, changes=[change], version=version)
        assert saved.text == "saved to job.toml, in force now; r: a replay begins and ends with a call, not within one"


def test_a_file_that_changed_meanwhile_is_not_written_over(tmp_path: Path):
    with desk(tmp_path) as (one, _):
        version = ask(one, "job_read").data["version"]
        (tmp_path / "job.toml").write_text("# by somebody else\n")
        answer = ask(one, "job_save", text=JOB, changes=[RISE], version=version)
        assert answer.text == "job.toml was changed meanwhile, nothing was saved; read it again"
        assert answer.data["conflict"] is True
        assert (tmp_path / "job.toml").read_text() == "# by somebody else\n"
        again = ask(one, "job_read").data
        assert (again["text"], again["in_force"]) == ("# by somebody else\n", False)
        saved = ask(one, "job_save", text=again["text"], version=again["version"])
        assert saved.data["saved"] is True
        (tmp_path / "job.toml").write_text("# and again\n")
        assert ask(one, "job_undo").data["conflict"] is True
        assert (tmp_path / "job.toml").read_text() == "# and again\n"
        assert ask(one, "job_read").data["undo"] is False


def test_what_cannot_be_written_is_said_and_changes_nothing(tmp_path: Path, monkeypatch):
    with desk(tmp_path) as (one, _):
        version = ask(one, "job_read").data["version"]

        def full(*_: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(Path, "replace", full)
        with pytest.raises(InputError, match=r"job\.toml cannot be written: No space left"):
            ask(one, "job_save", text=JOB, changes=[RISE], version=version)
        assert rise(one) == pytest.approx((35 / 1.8, 65 / 1.8))
        assert ask(one, "job_read").data["undo"] is False


def test_where_it_cannot_be_saved_it_is_shown_and_nothing_else(tmp_path: Path):
    with desk(tmp_path, why="A replay plays what was recorded.") as (one, _):
        read = ask(one, "job_read").data
        assert (read["text"], read["writable"], read["why"]) == (JOB, False, "A replay plays what was recorded.")
        for name in ("job_save", "job_undo"):
            with pytest.raises(InputError, match="cannot be changed here"):
                ask(one, name, text=JOB, version="")


def test_what_is_wrong_with_a_simulated_unit_never_shows(tmp_path: Path):
    """Neither from the file beside a recording, nor by what a page sends into the recording."""
    with desk(tmp_path, None) as (one, _):
        (tmp_path / "job.toml").write_text(unit("seed=7 drain_blocked=0.7"))
        read = ask(one, "job_read")
        assert read.data["writable"] is False
        assert "seed=7" in read.data["text"]
        assert "drain_blocked" not in repr(read)
        (tmp_path / "job.toml").write_text(unit("seed=7 drain_blocked=0.7") + "nonsense")
        assert "drain_blocked" not in repr(ask(one, "job_read"))
        text = unit("drain_blocked=0.7")
        answer = ask(one, "job_save", text=text, version="")
        assert answer.data["saved"] is False
    assert jobs(tmp_path) == []


@pytest.mark.parametrize("given", [{}, {"text": 3}, {"text": "x", "changes": "y"}, {"text": "x" * (MAX_BYTES + 1)}])
def test_what_no_page_sends_is_refused_in_a_sentence(tmp_path: Path, given):
    with desk(tmp_path) as (one, collector):
        with pytest.raises(InputError):
            Commands(collector, more=one.commands).execute("job_check", given)


@pytest.mark.parametrize("text", ["no toml", "x = 1\ny", "[furnace]\nrise = 3\n", "\udcff"])
def test_any_text_can_be_checked(tmp_path: Path, text):
    with desk(tmp_path) as (one, _):
        assert ask(one, "job_check", text=text).data["mistakes"]


class Practised:
    """A simulated unit."""

    words: Mapping[str, str] = {}
    set_now = ()

    def inject(self, cause: str, severity: float) -> None: ...

    def repair(self, cause: str) -> None: ...


PRACTISED = Practised()


def test_a_job_that_is_only_shown_never_shows_it_either(tmp_path: Path):
    with desk(tmp_path, unit("seed=7 drain_blocked=0.7"), why="A replay plays what was recorded.") as (one, _):
        read = ask(one, "job_read")
        assert "seed=7" in read.data["text"]
        assert "drain_blocked" not in repr(read)


def test_a_word_in_a_comment_makes_no_simulated_unit(tmp_path: Path):
    with desk(tmp_path, f"# nothing to simulate here\n{JOB}") as (one, _):
        assert ask(one, "job_read").data["writable"] is True


def test_where_the_job_goes():
    plan = Plan(recording=Path("a/tuesday.lightoff"), job=job_at(None), page=())
    assert place_of_job(plan, None) == Place(Path("a/tuesday.toml"))
    given = Plan(recording=Path("a/tuesday.lightoff"), job=job_at(None), page=(), job_file=Path("b/job.toml"))
    assert place_of_job(given, None) == Place(Path("b/job.toml"))
    assert place_of_job(plan, PRACTISED).file is None
    assert place_of_job(Plan(recording=Path("x"), job=job_at(None), page=(), kept=False), None).file is None
