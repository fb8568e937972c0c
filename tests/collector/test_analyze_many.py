"""`lightoff analyze` of many: which files are meant, lines, processes that die, runs that are killed and taken up."""

import json
import multiprocessing
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from collector import analysis_line, analysis_pool
from collector.analysis_files import recordings
from collector.analysis_line import error_line, line_of, same
from collector.analysis_pool import Done, in_processes
from collector.cli import main
from collector.result_lines import result_lines
from drivers.base import InputError
from tests.collector.many import cut, folder_of, lines_of, read, stuck, task_of

pytestmark = pytest.mark.timeout(180)  # processes start slowly on a busy machine


def loaded(task):
    """What the line of a recording says."""
    line = line_of(task)
    assert line is not None
    return json.loads(line)


def analyze(*given):
    return CliRunner().invoke(main, ["analyze", *map(str, given)], catch_exceptions=False)


@pytest.fixture(scope="module")
def calls(tmp_path_factory):
    """Files that are analysed; tests change copies only."""
    return folder_of(tmp_path_factory.mktemp("many") / "calls", 4)


@pytest.fixture(scope="module")
def expected(calls):
    return lines_of(calls)


@pytest.fixture
def tree(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    names = "b.lightoff a.csv notes.txt c.csv.gz .hidden.csv d.csv.part deep/e.csv deleted/f.lightoff .git/g.csv"
    for name in names.split():
        Path(name).parent.mkdir(exist_ok=True)
        Path(name).touch()
    return tmp_path


@pytest.mark.parametrize(
    ("given", "found"),
    [
        (["."], "a.csv b.lightoff c.csv.gz deep/e.csv"),
        (["b.lightoff", ".", "./a.csv"], "b.lightoff a.csv c.csv.gz deep/e.csv"),
        (["*.csv*"], "a.csv c.csv.gz"),
        (["**/*.csv"], "a.csv deep/e.csv deleted/f.csv"),
        (["notes.txt", "missing.csv"], "notes.txt missing.csv"),
        (["d*"], "deep/e.csv deleted/f.lightoff"),
    ],
)
def test_which_files_are_meant(tree, given, found):
    (tree / "deleted" / "f.csv").touch()
    wanted = found if given != ["d*"] else "deep/e.csv deleted/f.csv deleted/f.lightoff"
    assert [str(path) for path in recordings(given)] == wanted.split()


@pytest.mark.parametrize(
    ("given", "says"), [("x*.csv", r"no recording is named as x\*.csv"), ("empty", "there is no recording in empty")]
)
def test_a_folder_or_pattern_without_recordings_is_one_sentence(tree, given, says):
    (tree / "empty").mkdir()
    with pytest.raises(InputError, match=says):
        recordings([given])


def test_a_file_whose_name_looks_like_a_pattern_is_that_file(tree):
    Path("a[1].csv").touch()
    assert [str(path) for path in recordings(["a[1].csv"])] == ["a[1].csv"]


def test_a_line_has_what_the_command_says_of_the_file_alone(calls):
    line = loaded(task_of(calls[0]))
    alone = json.loads(analyze(calls[0], "--json").stdout)
    assert alone["recording"].pop("job_from") == str(calls[0].with_name("call 0.toml"))
    assert line["analysis"]["recording"].pop("job_from") == "call 0.toml"
    assert line["analysis"] == alone
    assert line["analysis"]["attempts"]
    assert (line["file"], line["units"], line["format"]) == (str(calls[0]), "trade", 1)


def test_what_a_line_rests_on(tmp_path, calls):
    """Another content, job, unit system, table of shares or program is another result; nothing else is."""
    path = Path(shutil.copy(calls[1], tmp_path / "a.csv"))
    before = same(loaded(task_of(path)))
    known = replace(task_of(path), known=before)
    path.touch()
    assert line_of(known) is None
    assert line_of(replace(known, units="metric")) is not None
    counted = replace(known, shares="[shares]\nno_call = 1\nother = 1\n")
    assert line_of(counted) is not None
    assert line_of(replace(counted, known=same(loaded(counted)))) is None
    assert line_of(replace(counted, known=same(loaded(counted)), shares=None)) is not None
    (tmp_path / "a.toml").write_text('[site]\nname = "invented"\n')
    assert loaded(known)["analysis"]["recording"]["job"] == "a.toml"
    (tmp_path / "a.toml").unlink()
    assert line_of(known) is None
    path.write_text(path.read_text() + "\n")
    assert line_of(known) is not None


def test_another_version_of_program_or_lines_is_another_result(monkeypatch, calls):
    known = replace(task_of(calls[1]), known=same(loaded(task_of(calls[1]))))
    assert line_of(known) is None
    with monkeypatch.context() as changed:
        changed.setattr(analysis_line, "program", lambda: "99")
        assert line_of(known) is not None
    monkeypatch.setattr(analysis_line, "FORMAT", 2)
    assert line_of(known) is not None


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("missing.csv", None, "there is no file missing.csv; check the name and the folder"),
        ("a.csv", "x\n", "a.csv: line 1: the first column must be headed 'time'"),
        ("a.lightoff", "SQLite", "a.lightoff: line 1: the first column must be headed 'time'"),
    ],
)
def test_what_cannot_be_read_is_a_line_that_says_why(tmp_path, name, content, says):
    if content is not None:
        (tmp_path / name).write_text(content)
    line = loaded(task_of(tmp_path / name))
    assert line["error"].startswith(says)
    assert "analysis" not in line


def test_a_defect_is_a_line_too(monkeypatch, calls):
    monkeypatch.setattr(analysis_line, "analyzed", lambda *_, **__: 1 / 0)
    assert loaded(task_of(calls[1]))["error"].startswith("a defect of the program: ZeroDivisionError")


def test_a_process_that_is_killed_costs_one_line(tmp_path, calls, expected):
    """It waits for a pipe that nobody writes to while the other one analyses the rest."""
    with stuck(tmp_path / "stuck.csv") as wait_for_reader:
        results = in_processes([task_of(one) for one in (tmp_path / "stuck.csv", *calls[:3])], 2)
        first = [next(results).line for _ in range(2)]
        wait_for_reader()
        min(multiprocessing.active_children(), key=lambda process: process.pid or 0).kill()
        rest = [one.line for one in results]
    lines = [json.loads(line or "") for line in (*first, *rest)]
    (lost,) = [line for line in lines if "error" in line]
    assert lost["file"] == str(tmp_path / "stuck.csv")
    assert lost["error"].startswith("the process that analysed it was killed (SIGKILL)")
    assert {*first, *rest} - {json.dumps(lost)} <= {*expected}
    assert len(lines) == 4
    assert multiprocessing.active_children() == []


def error(name: str, why: str = "x") -> str:
    return error_line(task_of(Path(name)), why)


def test_the_last_line_of_a_file_counts_and_one_with_an_error_is_tried_again(tmp_path, calls):
    out, good = tmp_path / "out.jsonl", json.dumps(loaded(task_of(calls[1])))
    with result_lines(out, force=False) as lines:
        lines.add(error(str(calls[1])))
        lines.add(error("b"))
        lines.add(good)
    assert out.read_text() == f"{error('b')}\n{good}\n"
    with result_lines(out, force=False) as lines:
        assert {*lines.known} == {str(calls[1])}
        lines.add(error("b", "y"))
    assert out.read_text() == f"{good}\n{error('b', 'y')}\n"
    with result_lines(out, force=True) as lines:
        assert lines.known == {}
    assert out.read_text() == ""


@pytest.mark.parametrize("torn", ['{"file": "b", "co', "{", '{"file": "b"}', f'{{"file": "{"b" * 999}'])
def test_a_line_that_was_cut_off_is_healed(tmp_path, torn):
    out = tmp_path / "out.jsonl"
    out.write_text(f"{error('a')}\n{torn}")
    with result_lines(out, force=False) as lines:
        assert lines.healed == len(torn)
        lines.add(error("c"))
    assert out.read_text() == f"{error('a')}\n{error('c')}\n"


def test_a_file_of_something_else_is_left_alone(tmp_path):
    out = tmp_path / "out.jsonl"
    for content in (
        "a note",
        '{"other": 1',
        "igniter_aged: CSV file\nmore\n",
        '{"file": "a"}\n[]\n',
        "time,draft_switch [inH2O]\n0,1",
    ):
        out.write_text(content)
        with pytest.raises(InputError, match=r"line \d of .* is no line of results; choose another name"):
            with result_lines(out, force=False):
                pass
        assert out.read_text() == content


def test_two_runs_do_not_write_to_one_file(tmp_path):
    out = tmp_path / "out.jsonl"
    with result_lines(out, force=False) as lines:
        lines.add(error("a"))
        with pytest.raises(InputError, match="is being written by another run"), result_lines(out, force=True):
            pass
    assert out.read_text() == f"{error('a')}\n"


def here(tasks, jobs):
    """The lines without a process for them."""
    for task in tasks:
        yield Done(task, line_of(task))


def test_the_command_writes_lines_says_how_many_and_ends_with_1_where_one_failed(
    tmp_path, monkeypatch, calls, expected
):
    out = tmp_path / "out.jsonl"
    done = analyze(calls[0].parent, "-o", out)
    assert (done.exit_code, done.stdout) == (1, "")
    assert done.stderr == "lightoff: 5 recordings: 4 analysed, 1 could not be analysed; their lines say why\n"
    assert sorted(out.read_text().splitlines()) == expected
    assert multiprocessing.active_children() == []
    before = out.read_text()
    monkeypatch.setattr(analysis_pool, "in_processes", here)
    again = analyze(*calls[:4], "-o", out)
    assert (again.exit_code, again.stderr) == (0, "lightoff: 4 recordings: 0 analysed, 4 there already\n")
    assert out.read_text() == before


def test_lines_go_to_standard_output_and_rows_that_could_not_be_read_give_1(tmp_path, monkeypatch):
    monkeypatch.setattr(analysis_pool, "in_processes", here)
    path = cut("igniter_aged", tmp_path / "a.csv", 60)
    path.write_text(path.read_text() + "rubbish\n")
    done = analyze(path, "--lines")
    assert done.exit_code == 1
    assert json.loads(done.stdout)["analysis"]["recording"]["rows_not_read"] == 1
    assert done.stderr == (
        "lightoff: 1 recording: 1 analysed; rows of 1 could not be read, and their results say which\n"
    )


@pytest.mark.parametrize(
    ("options", "status", "says"),
    [
        (["--all"], 2, "--all is for the text of one file"),
        (["--jobs", "2", "--scheduler", "tcp://127.0.0.1:1"], 2, "say one of them"),
        (["--jobs", "0"], 2, "--jobs"),
        (["--job", "none.toml"], 1, "none.toml is not there"),
        (["-o", "nowhere/out.jsonl"], 1, "cannot write nowhere/out.jsonl (No such file or directory)"),
    ],
)
def test_what_cannot_be_wished_for_is_said(calls, options, status, says):
    done = analyze(*calls[:2], *options)
    assert (done.exit_code, done.stdout) == (status, "")
    assert says in done.stderr


def test_a_recording_is_never_taken_for_the_output(tmp_path, calls):
    path = Path(shutil.copy(calls[1], tmp_path / "a.csv"))
    before = path.read_text()
    for force in ([], ["--force"]):
        done = analyze(tmp_path, "-o", path, *force)
        assert (done.exit_code, path.read_text()) == (1, before)
        assert "is what is to be read" in done.stderr


def children(process: int) -> list[int]:
    return [int(one) for one in Path(f"/proc/{process}/task/{process}/children").read_text().split()]


def wait(condition, what: str, within: float = 90.0) -> None:
    deadline = time.monotonic() + within
    while not condition():
        assert time.monotonic() < deadline, f"not within {within} s: {what}"
        time.sleep(0.01)  # looks at other processes and their files


def test_a_run_that_is_killed_is_taken_up_where_it_was(tmp_path, calls, expected):
    """Kill -9 after the first lines; its processes go too, and the next run makes what an undisturbed one makes."""
    out = tmp_path / "out.jsonl"
    command = [sys.executable, "-m", "collector", "analyze", str(calls[0].parent), "--jobs", "2", "-o", str(out)]
    with subprocess.Popen(command, stderr=subprocess.DEVNULL) as run:
        wait(lambda: out.exists() and out.read_bytes().count(b"\n") >= 2, "two lines")
        workers = children(run.pid)
        run.send_signal(signal.SIGKILL)
    assert len(workers) >= 2
    wait(lambda: not any(Path(f"/proc/{one}").exists() for one in workers), "the processes of the run end")
    kept = out.read_text().splitlines()
    assert len(kept) < len(expected)
    with out.open("a") as file:
        file.write(expected[-1][:100])
    command[command.index("2")] = "1"
    again = subprocess.run(command, capture_output=True, text=True, check=False, timeout=90)
    assert again.returncode == 1
    assert again.stderr.startswith(f"lightoff: the last line of {out} was cut off in writing")
    there = sum('"analysis"' in line for line in kept)
    assert f"{len(calls) - 1 - there} analysed, {there} there already, 1 could not be analysed" in again.stderr
    assert sorted(out.read_text().splitlines()) == expected
    assert {*read(out)} == {str(path) for path in calls}


@pytest.mark.parametrize(
    ("how", "status", "words"), [(signal.SIGINT, 130, "lightoff analyze: interrupted\n"), (signal.SIGKILL, -9, "")]
)
def test_a_stop_leaves_whole_lines_and_no_process(tmp_path, calls, how, status, words):
    """Also where one of the processes is in the middle of a recording that takes for ever."""
    out = tmp_path / "out.jsonl"
    command = [sys.executable, "-m", "collector", "analyze", str(calls[4]), str(tmp_path), "--jobs", "1"]
    with stuck(tmp_path / "stuck.csv") as wait_for_reader:
        with subprocess.Popen([*command, "-o", str(out)], stderr=subprocess.PIPE, text=True) as run:
            wait(lambda: out.exists() and out.read_bytes().count(b"\n") >= 1, "a line")
            wait_for_reader()
            workers = children(run.pid)
            run.send_signal(how)
            _, said = run.communicate(timeout=60)
    assert (run.returncode, said) == (status, words)
    wait(lambda: not any(Path(f"/proc/{one}").exists() for one in workers), "the processes of the run end")
    assert {*read(out)} == {str(calls[4])}
