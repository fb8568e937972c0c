"""Where a recording that is being made now can be asked: a file that only this user can read, gone when it ends."""

import contextlib
import json
import logging
import os
import secrets
import stat
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from drivers.base import InputError

ENDING = ".json"
LARGEST = 8192
"""A larger file is none of ours. [bytes]"""
MOST = 100
"""Files that are looked at. [1]"""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class AtWork:
    """A recording that is being made, and how its recorder is asked."""

    recording: str
    """Path of its file."""
    host: str
    port: int
    token: str
    process: int
    """Number of the recorder's process."""


def folder_of_running() -> Path:
    """Folder of these files: the user's own for the time of the session, else one in the temporary folder."""
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or tempfile.gettempdir()) / "lightoff" / "running"
    given = os.environ.get("XDG_RUNTIME_DIR")
    if given and Path(given).is_dir() and os.access(given, os.W_OK):
        return Path(given) / "lightoff"
    return Path(tempfile.gettempdir()) / f"lightoff-{os.getuid()}"


def is_over(running: AtWork) -> bool:
    """Whether its process is gone for sure: then whoever has its port now is another program, and is told nothing."""
    if sys.platform == "win32":
        return False  # a signal of 0 is no question there
    try:
        os.kill(running.process, 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


@contextlib.contextmanager
def announced(running: AtWork) -> Iterator[None]:
    """Let other programs of this user find the recording while the block runs; where that cannot be, it is said."""
    path: Path | None = None
    try:
        try:
            path = _write(folder_of_running(), running)
        except (OSError, InputError) as error:
            log.warning("numbers cannot be entered from the command line: %s", error)
        yield
    finally:
        if path is not None:
            with contextlib.suppress(OSError):
                path.unlink()


def found() -> dict[Path, AtWork]:
    """Every recording that says it is being made, by its file; some may be over. InputError: another's folder."""
    folder = folder_of_running()
    if not folder.exists():
        return {}
    _check_folder(folder)
    names = sorted(path for path in folder.iterdir() if path.name.endswith(ENDING))[:MOST]
    return {path: running for path in names if (running := _read(path)) is not None}


def _write(folder: Path, running: AtWork) -> Path:
    with contextlib.suppress(FileExistsError):
        folder.mkdir(mode=0o700, parents=True)
    _check_folder(folder)
    path = folder / f"{running.process}-{secrets.token_hex(4)}{ENDING}"
    part = path.with_suffix(".part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump(asdict(running), file)
        part.rename(path)  # whoever looks finds all of it or nothing
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return path


def _check_folder(folder: Path) -> None:
    """InputError unless the folder is this user's, and only his: whoever could write there could listen in."""
    state = folder.lstat()
    if not stat.S_ISDIR(state.st_mode) or not _private(state):
        raise InputError(f"the folder {folder} is open to other users, or theirs", "have it removed, then try again")


def _read(path: Path) -> AtWork | None:
    """What a file says; None, and a word of warning, where it is not this user's alone."""
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
    except OSError:
        return None  # it ended just now, or is a link
    with os.fdopen(descriptor, "rb") as file:
        state = os.fstat(file.fileno())
        if not stat.S_ISREG(state.st_mode) or not _private(state):
            log.warning("%s is open to other users and is not believed", path)
            return None
        text = file.read(LARGEST)
    try:
        match json.loads(text):
            case {
                "recording": str(recording),
                "host": "127.0.0.1",
                "port": int(port),
                "token": str(token),
                "process": int(process),
            } if 0 < port < 65536:
                return AtWork(recording, "127.0.0.1", port, token, process)
    except (ValueError, RecursionError):
        pass
    return None


def _private(state: os.stat_result) -> bool:
    if sys.platform == "win32":
        return True  # the folder's own list of rights, which is the user's, holds for what is in it
    return state.st_uid == os.getuid() and not state.st_mode & 0o077
