"""The text of a job file: the line of every key, and files that cannot be read."""

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector import job_lines
from collector.job import JobError, load

VALUES = ["1", "'x'", "1979-05-27T07:32:00Z", r'"a # b\" ]"', '"""\n] = [[ \\""" \n"""""', "'''\n# '\n'''"]
VALUES += ["[\n1, # ]\n[2, ']'],\n]", "{ KEY = 1, 'bKEY' = {} }", '[{ KEY = [1] },\n{ KEY = """\n""" }]']
SHAPES = ["KEY=VALUE", "KEY . 'KEY'.KEY=VALUE", "[KEY]", "[[KEY]]", "[KEY.KEY]", "# [", "", r'"\u006bLINE"=VALUE #"']
SHAPE = st.tuples(st.sampled_from(SHAPES), st.sampled_from(VALUES))


@settings(deadline=None)
@given(st.lists(SHAPE, max_size=20), st.sampled_from(["\n", "\r\n"]))
def test_line_of_every_key(shapes: list[tuple[str, str]], newline: str) -> None:
    lines = "\n".join(shape.replace("VALUE", value).replace("KEY", "kLINE") for shape, value in shapes).split("\n")
    text = newline.join(line.replace("LINE", str(number)) for number, line in enumerate(lines, start=1))
    read = job_lines.read_tables(text)
    assert isinstance(read, tuple), read
    assert set(read[1]) == paths_of(tomllib.loads(text))
    for path, line in read[1].items():
        assert isinstance(path[-1], int) or line == int(path[-1].strip("bk")), path


def paths_of(value: object, path: job_lines.Path = ()) -> set[job_lines.Path]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return ({path} if path else set()).union(*(paths_of(element, (*path, part)) for part, element in inner))


def test_file_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    utf_16, large = tmp_path / "utf16.toml", tmp_path / "large.toml"
    utf_16.write_bytes(b"[site]\nname = '\xff\xfe'\n")
    large.write_bytes(b"# much\n" * 1_500_000)
    for path, words in (
        (tmp_path / "missing.toml", "missing.toml is not there; check the file's name and folder"),
        (tmp_path, "is a folder; name the job file in it"),
        (utf_16, "utf16.toml is not UTF-8 text in line 2; save it as UTF-8 in the editor"),
        (large, "large.toml is larger than 200 kB; a job file is not, choose another file"),
        (tmp_path / "nul\0.toml", "cannot be read: embedded null byte"),
        (tmp_path / ("long" * 200), "cannot be read: File name too long"),
    ):
        with pytest.raises(JobError, match=re.escape(words)) as caught:
            load(path)
        assert caught.value.mistakes == ()

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)  # permissions do not bind every user that runs the tests
    with pytest.raises(JobError, match="may not be read by this user; change the file's permissions"):
        load(utf_16)
