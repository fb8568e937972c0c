"""The command `lightoff analyze`: its forms, its files, its exit status."""

import json
import sys
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from collector import analysis_json as analysis_json  # noqa: PLC0414 - there before what it imports is replaced
from collector import analysis_run
from collector import analysis_text as analysis_text  # noqa: PLC0414
from collector.cli import main
from drivers.base import InputError
from tests.collector.analyses import whole


def analyze(*given):
    return CliRunner().invoke(main, ["analyze", *map(str, given)])


@pytest.fixture
def asked(monkeypatch, tmp_path):
    """The analysis made by hand in place of the work; what was asked for."""
    made = SimpleNamespace(analysis=whole(), given=[], file=tmp_path / "call.csv")
    made.file.write_text("time,draft_switch [inH2O]\n0,0.5\n")

    def open_data(path, job, progress):
        made.given.append((path, job))
        if not path.exists():
            raise InputError(f"there is no file {path}", "check the name and the folder")
        progress(1.0)
        return made.analysis.opened

    def analyzed(opened, progress, *, units, priors):
        progress(1.0)
        made.priors = priors
        return made.analysis.__class__(
            **{name: getattr(made.analysis, name) for name in made.analysis.__slots__} | {"units": units}
        )

    monkeypatch.setitem(sys.modules, "collector.opened", SimpleNamespace(open_data=open_data))
    monkeypatch.setattr(analysis_run, "analyzed", analyzed)
    return made


def without_bad_rows(made):
    opened = made.analysis.opened
    object.__setattr__(opened, "problem_count", 0)
    object.__setattr__(opened, "problems", ())


def test_the_text_is_printed_and_done_is_0(asked):
    without_bad_rows(asked)
    done = analyze(asked.file)
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout.startswith("call: CSV file")
    assert done.stdout.endswith("one fault found is not the only one.\n")


def test_json_is_one_object_on_standard_output(asked):
    without_bad_rows(asked)
    done = analyze(asked.file, "--json", "--units", "metric")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["units"] == "metric"


def test_rows_that_could_not_be_read_give_1_and_the_whole_result(asked):
    done = analyze(asked.file, "--json")
    assert done.exit_code == 1
    assert json.loads(done.stdout)["recording"]["rows_not_read"] == 3
    assert "3 rows or cells of call.csv could not be read" in done.stderr


def test_the_job_file_is_passed_on(asked, tmp_path):
    analyze(asked.file, "--job", tmp_path / "job.toml")
    assert asked.given == [(asked.file, tmp_path / "job.toml")]


def test_the_company_s_shares_are_passed_on(asked, tmp_path):
    (tmp_path / "shares.toml").write_text("[shares]\nigniter_faulty = 3\nno_call = 1\n")
    analyze(asked.file, "--shares", tmp_path / "shares.toml")
    assert asked.priors.shares["igniter_faulty"] == pytest.approx(3 * asked.priors.shares["no_call"])
    analyze(asked.file)
    assert asked.priors is None


def test_a_table_of_shares_that_cannot_be_is_one_sentence_and_1(asked, tmp_path):
    (tmp_path / "shares.toml").write_text("[shares]\nigniter_faulty = 3\nno_cal = 1\n")
    for more in ((), ("--lines",)):
        done = analyze(asked.file, "--shares", tmp_path / "shares.toml", *more)
        assert (done.exit_code, done.stdout) == (1, "")
        assert done.stderr.startswith(
            "lightoff analyze: shares.toml, line 3: unknown cause 'no_cal'; nearest known: no_call"
        )
        assert done.stderr.count("\n") == 1


def test_a_file_that_is_not_there_is_one_sentence_and_1(asked, tmp_path):
    done = analyze(tmp_path / "none.csv")
    assert done.exit_code == 1
    assert done.stdout == ""
    assert done.stderr == f"lightoff analyze: there is no file {tmp_path}/none.csv; check the name and the folder\n"


@pytest.mark.parametrize("given", [(), ("a.csv", "--units", "furlong"), ("a.csv", "--jsn")])
def test_wrong_usage_is_2(given):
    assert analyze(*given).exit_code == 2


def test_help_has_an_example():
    done = analyze("--help")
    assert done.exit_code == 0
    assert "Example:\n  lightoff analyze tuesday.lightoff --job job.toml --json" in done.stdout


def test_a_file_is_written_whole(asked, tmp_path):
    without_bad_rows(asked)
    done = analyze(asked.file, "--json", "-o", tmp_path / "found.json")
    assert (done.exit_code, done.stdout) == (0, "")
    assert json.loads((tmp_path / "found.json").read_text())["units"] == "trade"
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("found")] == ["found.json"]


def test_a_file_that_is_there_is_replaced_only_when_that_is_said(asked, tmp_path):
    place = tmp_path / "found.txt"
    place.write_text("before")
    refused = analyze(asked.file, "-o", place)
    assert (refused.exit_code, place.read_text()) == (1, "before")
    assert "say --force" in refused.stderr
    analyze(asked.file, "-o", place, "--force")
    assert place.read_text().startswith("call: CSV file")


def test_the_recording_itself_is_never_written_over(asked):
    before = asked.file.read_text()
    refused = analyze(asked.file, "-o", asked.file, "--force")
    assert refused.exit_code == 1
    assert "choose another name" in refused.stderr
    assert asked.file.read_text() == before


def test_a_place_that_takes_no_file_is_one_sentence_and_nothing_is_left(asked, tmp_path):
    refused = analyze(asked.file, "-o", tmp_path / "none" / "found.txt")
    assert refused.exit_code == 1
    assert refused.stderr.startswith(f"lightoff analyze: cannot write {tmp_path}/none/found.txt (No such file")


def test_what_cannot_be_written_whole_leaves_what_was_there(asked, tmp_path):
    place = tmp_path / "found.txt"
    place.write_text("before")
    (tmp_path / "found.txt.part").mkdir()
    refused = analyze(asked.file, "-o", place, "--force")
    assert refused.exit_code == 1
    assert "cannot write" in refused.stderr
    assert place.read_text() == "before"
