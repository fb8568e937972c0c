"""What it means when a serial port cannot be opened, and what to try."""

import errno
from pathlib import Path

from drivers.base import BusyError, DriverError, NotFoundError, NotPermittedError, SettingsError

try:
    import termios
except ImportError:  # only POSIX has it, and there pyserial lets its error through
    FOREIGN: tuple[type[Exception], ...] = (OSError,)
else:
    FOREIGN = (OSError, termios.error)
"""Errors of the system, and pyserial's own."""
OPENING: tuple[type[Exception], ...] = (*FOREIGN, ValueError, OverflowError)
"""What opening raises; also for settings that do not work."""

_ABSENT = {errno.ENOENT, errno.ENXIO, errno.ENODEV, errno.ENOTDIR, errno.EIO}
_HELD = {errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK}
_FORBIDDEN = {errno.EACCES, errno.EPERM}
_NO_PORT = {errno.ENOTTY, errno.EISDIR, errno.ELOOP, errno.ENAMETOOLONG}
_ON_WINDOWS = {"FileNotFoundError": errno.ENOENT, "PermissionError": errno.EBUSY}
"""There the system's error is in the text of pyserial's; a port that is open elsewhere is denied."""


def opening_error(instrument: str, port: str, settings: str, error: Exception) -> DriverError:
    """The program's own error for one that opening raised; one that is not FOREIGN is about the settings."""
    number = _error_number(error) if isinstance(error, FOREIGN) else errno.EINVAL
    if number in _ABSENT:
        return NotFoundError(instrument, f"there is no {port}", "plug the instrument in or correct its port")
    if number in _HELD:
        return BusyError(instrument, f"another program holds {port}", "close that program")
    if number in _FORBIDDEN:
        return NotPermittedError(instrument, f"this user may not open {port}", _owner_hint(port))
    if number in _NO_PORT:
        return SettingsError(instrument, f"{port} is not a serial port", "correct the instrument's port")
    if number == errno.EINVAL:
        what = f"{port} does not work with {settings}: {error}"
        return SettingsError(instrument, what, "correct the instrument's settings")
    return NotFoundError(instrument, f"{port} could not be opened: {error}", "plug the instrument in anew")


def _error_number(error: BaseException | None) -> int | None:
    """The system's error number, also where pyserial hides it in a cause or a text."""
    while error is not None:
        number = getattr(error, "errno", None) or next(iter(error.args), None)
        if isinstance(number, int):
            return number
        named = [number for name, number in _ON_WINDOWS.items() if name in str(error)]
        if named:
            return named[0]
        error = error.__context__
    return None


def _owner_hint(port: str) -> str:
    """Who may open the port, and how to become one of them."""
    try:
        group, mode = Path(port).group(), Path(port).stat().st_mode
    except (OSError, KeyError, NotImplementedError):
        return "ask who looks after this computer for the right to open serial ports"
    if mode & 0o060 == 0o060:
        return f"join the group '{group}' that owns it, then log in again"
    return "only its owner may open it; have a device rule give it to a group of yours"
