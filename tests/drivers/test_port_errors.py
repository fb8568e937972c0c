"""Serial ports that cannot be opened: each reason is told from the others, and no foreign error escapes."""

import errno
import fcntl
import grp
import inspect
import os
import stat
import termios
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from serial import serialutil

from drivers.base import (
    BusyError,
    ConnectionLostError,
    DriverError,
    NotFoundError,
    NotPermittedError,
    SettingsError,
    SilentError,
)
from drivers.profile import Value
from tests.drivers.ptys import NAME, PtyPort, ScriptedPort, make
from tests.drivers.session import Session, nothing_left

NOBODY = 65534


@contextmanager
def _unprivileged(device: str, mode: int) -> Iterator[None]:
    """The device has this mode and the system's rules bind even a test that runs as root."""
    before = stat.S_IMODE(os.stat(device).st_mode)  # noqa: PTH116
    os.chmod(device, mode)  # noqa: PTH101
    root, groups, group = os.geteuid() == 0, os.getgroups(), os.getegid()
    if root:
        os.setgroups([])
        os.setegid(NOBODY)
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)
            os.setegid(group)
            os.setgroups(groups)
        os.chmod(device, before)  # noqa: PTH101


async def test_a_port_of_another_user_is_not_tried_again_and_names_the_group_to_join(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port:
        group = grp.getgrgid(os.stat(port.device).st_gid).gr_name  # noqa: PTH116
        for mode, hint in ((0o060, f"join the group '{group}'"), (0o000, "only its owner")):
            with _unprivileged(port.device, mode), nothing_left():
                error = await Session(make(port.device)).failure()
            assert isinstance(error, NotPermittedError)
            assert hint in error.hint
            assert not error.retry


async def test_a_port_that_another_program_claimed_for_itself_is_busy(tmp_path: Path) -> None:
    with closing(PtyPort(tmp_path)) as port:
        other = os.open(port.device, os.O_RDWR | os.O_NOCTTY)
        try:
            fcntl.ioctl(other, termios.TIOCEXCL)
            with _unprivileged(port.device, 0o666), nothing_left():
                error = await Session(make(port.device)).failure()
            fcntl.ioctl(other, termios.TIOCNXCL)
        finally:
            os.close(other)
    assert isinstance(error, BusyError)
    assert "another program holds" in str(error)


@pytest.mark.parametrize(
    ("port", "settings", "expected"),
    [
        ("{folder}/absent", {}, NotFoundError),
        ("{folder}/file/port", {}, NotFoundError),
        ("{folder}", {}, SettingsError),
        ("{folder}/file", {}, SettingsError),
        ("/dev/null", {}, SettingsError),
        ("{folder}/" + "x" * 300, {}, SettingsError),
        ("{folder}/\0", {}, SettingsError),
        ("{device}", {"baud": 2**40}, SettingsError),
        ("{device}", {"data_bits": 9}, SettingsError),
        ("{device}", {"stop_bits": 3}, SettingsError),
    ],
)
async def test_ports_and_settings_that_the_system_refuses(
    tmp_path: Path, port: str, settings: dict[str, Any], expected: type[DriverError]
) -> None:
    (tmp_path / "file").touch()
    with closing(PtyPort(tmp_path)) as pty, nothing_left():
        error = await Session(make(port.format(folder=tmp_path, device=pty.device), **settings)).failure()
    assert isinstance(error, expected), repr(error)
    assert str(error).startswith(f"{NAME}: ")


TWO = (Value(name="a", unit="Pa"), Value(name="b", unit="Pa"))


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        ({"pattern": "P=(?P<pressure>"}, "regular expression"),
        ({"pattern": r"P=(\d+)"}, "pressure"),
        ({"silence": 0.0}, "silence"),
        ({"silence": float("nan")}, "silence"),
        ({"parity": "odd-ish"}, "parity"),
        ({"baud": 0}, "baud"),
        ({"channels": {}}, "no channels"),
        ({"channels": {"presure": "draft_collector"}}, "no value 'presure'"),
        ({"channels": dict.fromkeys(("a", "b"), "draft_vent"), "pattern": "(?P<a>.)(?P<b>.)", "values": TWO}, "same"),
    ],
)
def test_settings_that_cannot_work_are_refused_at_once(settings: dict[str, Any], word: str) -> None:
    with pytest.raises(SettingsError, match=word) as raised:
        make("/dev/null", **settings)
    assert str(raised.value).startswith(f"{NAME}: ")


def _foreign() -> list[Exception]:
    """One of each error that pyserial defines, and one for each number that the system knows."""
    kinds = [kind for kind in vars(serialutil).values() if inspect.isclass(kind) and issubclass(kind, Exception)]
    assert serialutil.SerialException in kinds
    own = [kind() for kind in kinds]
    numbered = [OSError(number, os.strerror(number)) for number in errno.errorcode]
    return [*own, *numbered, termios.error(errno.EIO, "input/output error"), termios.error("odd")]


async def test_no_foreign_error_of_opening_escapes() -> None:
    for foreign in (*_foreign(), ValueError("not a valid baudrate"), OverflowError("too large")):

        def refuse(foreign: Exception = foreign, **settings: object) -> ScriptedPort:
            raise foreign

        error = await Session(make("/dev/scripted", opener=refuse)).failure()
        assert isinstance(error, DriverError), f"{foreign!r} became {error!r}"
        assert error.__cause__ is foreign


@pytest.mark.parametrize("place", ["read", "waiting", "closing"])
async def test_no_foreign_error_of_an_open_port_escapes(place: str) -> None:
    for foreign in _foreign():
        port = {
            "read": ScriptedPort(None, foreign),
            "waiting": ScriptedPort(b"P", waiting=foreign),
            "closing": ScriptedPort(OSError("gone"), closing=foreign),
        }[place]
        error = await Session(make("/dev/scripted", opener=port)).failure()
        expected = SilentError if isinstance(foreign, serialutil.SerialTimeoutException) else ConnectionLostError
        assert isinstance(error, expected), f"{foreign!r} became {error!r}"
        assert port.closed.is_set()


@pytest.mark.parametrize(
    ("foreign", "expected"),
    [
        (serialutil.SerialException(errno.ENOENT, "could not open port"), NotFoundError),
        (serialutil.SerialException(errno.EAGAIN, "could not exclusively lock port"), BusyError),
        (serialutil.SerialException(errno.ENOTTY, "could not configure port"), SettingsError),
        (serialutil.SerialException(errno.EINVAL, "could not configure port"), SettingsError),
        (serialutil.SerialException(errno.EMFILE, "could not open port"), NotFoundError),
        (serialutil.SerialException("could not open port 'COM7': FileNotFoundError(2, '...', None, 2)"), NotFoundError),
        (serialutil.SerialException("could not open port 'COM7': PermissionError(13, '...', None, 5)"), BusyError),
    ],
    ids=str,
)
async def test_what_the_system_says_of_opening_is_translated(foreign: Exception, expected: type[DriverError]) -> None:
    def refuse(**settings: object) -> ScriptedPort:
        raise foreign

    assert type(await Session(make("/dev/scripted", opener=refuse)).failure()) is expected
