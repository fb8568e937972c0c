"""A system bus of our own for Bluetooth: a private `dbus-daemon`, and BlueZ's place on it held by a service of ours."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

VARIABLE = "DBUS_SYSTEM_BUS_ADDRESS"

needs_bus = pytest.mark.skipif(
    shutil.which("dbus-daemon") is None, reason="the program dbus-daemon is not there: install the package dbus-daemon"
)

_CONFIGURATION = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>custom</type>
  <listen>unix:path={folder}/bus</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
    {more}
  </policy>
</busconfig>
"""
_FORBIDDEN = '<deny send_destination="org.bluez"/>'


class BluetoothBus:
    """A bus that is the system's for this process until it is closed; `forbidden` keeps everybody from BlueZ."""

    def __init__(self, *, forbidden: bool = False) -> None:
        self._folder = tempfile.mkdtemp(prefix="bus-")  # short: a socket's path has a limit
        configuration = Path(self._folder) / "bus.conf"
        configuration.write_text(_CONFIGURATION.format(folder=self._folder, more=_FORBIDDEN if forbidden else ""))
        self._process = subprocess.Popen(
            ["dbus-daemon", f"--config-file={configuration}", "--nofork", "--nopidfile", "--print-address=1"],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self._process.stdout
        self.address = self._process.stdout.readline().strip()
        assert self.address, "dbus-daemon did not start"
        self._before = os.environ.get(VARIABLE)
        os.environ[VARIABLE] = self.address

    def kill(self) -> None:
        """The bus goes, with all lines to it."""
        self._process.kill()
        self._process.wait()

    def close(self) -> None:
        """The bus goes, and the process has the system's own again."""
        self.kill()
        assert self._process.stdout
        self._process.stdout.close()
        if self._before is None:
            os.environ.pop(VARIABLE, None)
        else:
            os.environ[VARIABLE] = self._before
        shutil.rmtree(self._folder, ignore_errors=True)
