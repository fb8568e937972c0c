"""A job file is there whole whatever happens, and never written over by who has not read it."""

import os
from pathlib import Path

import pytest

from collector.job_file import NOT_THERE, ConflictError, kept, remove, write
from drivers.base import InputError


def test_a_file_is_written_and_keeps_its_permissions(tmp_path: Path):
    path = tmp_path / "job.toml"
    path.write_text("# old\n")
    path.chmod(0o640)
    now = write(path, "# new µ\n", expected=kept(path).version)
    assert path.read_text(encoding="utf-8") == "# new µ\n"
    assert path.stat().st_mode & 0o777 == 0o640
    assert now == kept(path)
    assert [entry.name for entry in tmp_path.iterdir()] == ["job.toml"]


def test_a_new_file_gets_the_permissions_of_the_user(tmp_path: Path):
    path = tmp_path / "job.toml"
    assert kept(path) == NOT_THERE
    before = os.umask(0o027)
    try:
        write(path, "# new\n", expected="")
    finally:
        os.umask(before)
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_link_stays_one(tmp_path: Path):
    (tmp_path / "elsewhere").mkdir()
    real, link = tmp_path / "elsewhere" / "real.toml", tmp_path / "job.toml"
    real.write_text("# old\n")
    link.symlink_to(real)
    write(link, "# new\n", expected=kept(link).version)
    assert link.is_symlink()
    assert real.read_text() == "# new\n"


def test_line_ends_stay_as_they_are_in_the_file(tmp_path: Path):
    path = tmp_path / "job.toml"
    path.write_bytes(b"# old\r\n[site]\r\n")
    assert kept(path).text == "# old\n[site]\n"
    write(path, "# new\n[site]\n", expected=kept(path).version)
    assert path.read_bytes() == b"# new\r\n[site]\r\n"


@pytest.mark.parametrize("then", ["changed", "removed", "made"])
def test_whoever_has_not_read_it_does_not_write_over_it(tmp_path: Path, then: str):
    path = tmp_path / "job.toml"
    if then != "made":
        path.write_text("# old\n")
    version = kept(path).version
    path.unlink() if then == "removed" else path.write_text("# by somebody else\n")
    with pytest.raises(
        ConflictError, match=r"job\.toml was (changed|removed) meanwhile, nothing was saved; read it again"
    ):
        write(path, "# new\n", expected=version)
    assert path.exists() == (then != "removed")
    assert then == "removed" or path.read_text() == "# by somebody else\n"


@pytest.mark.parametrize("broken", ["replace", "fsync", "write-protected"])
def test_what_cannot_be_written_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch, broken: str):
    path = tmp_path / "job.toml"
    path.write_text("# old\n")
    version = kept(path).version

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    if broken == "replace":
        monkeypatch.setattr(Path, "replace", full)
    elif broken == "fsync":
        monkeypatch.setattr(os, "fsync", full)
    else:
        monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(InputError, match=r"^job\.toml cannot be written: .+; what was typed is still here$"):
        write(path, "# new\n", expected=version)
    assert path.read_text() == "# old\n"
    assert [entry.name for entry in tmp_path.iterdir()] == ["job.toml"]


def test_it_is_synced_before_it_takes_the_place(tmp_path: Path, monkeypatch):
    done: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def synced(number: int) -> None:
        done.append("sync")
        fsync(number)

    def replaced(one: Path, two: Path) -> Path:
        done.append("replace")
        return replace(one, two)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(Path, "replace", replaced)
    write(tmp_path / "job.toml", "# new\n", expected="")
    assert done == ["sync", "replace", "sync"]


def test_a_file_that_was_not_there_is_removed_only_as_it_was_written(tmp_path: Path):
    path = tmp_path / "job.toml"
    now = write(path, "# new\n", expected="")
    path.write_text("# by somebody else\n")
    with pytest.raises(ConflictError):
        remove(path, expected=now.version)
    remove(path, expected=kept(path).version)
    assert not path.exists()
