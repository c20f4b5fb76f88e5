"""A message bus of one's own: a `dbus-daemon` that no other program on the computer sees."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from types import TracebackType

from meterlog.errors import LinkAbsent

_SETTINGS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <listen>unix:path={socket}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_destination="*"/>
    <allow receive_sender="*"/>
  </policy>
</busconfig>
"""

VARIABLE = "DBUS_SYSTEM_BUS_ADDRESS"
"""The environment variable that says where the system's bus is (D-Bus specification, 'Well-known Message Bus
Instances'); a program started with it set to `PrivateBus.address` uses the private one."""


class PrivateBus:
    """A running `dbus-daemon` with everything allowed, and its socket in a folder of the caller's.

    Attributes:
        address: what to set `DBUS_SYSTEM_BUS_ADDRESS` to.
    """

    def __init__(self, folder: Path) -> None:
        """Start it.

        Raises:
            LinkAbsent: there is no `dbus-daemon` on this computer, or it does not start.
        """
        program = shutil.which("dbus-daemon")
        if program is None:
            raise LinkAbsent("there is no dbus-daemon here (on Debian and Ubuntu: apt install dbus)", "dbus-daemon")
        settings = folder / "bus.conf"
        settings.write_text(_SETTINGS.format(socket=folder / "bus"))
        log = folder / "bus.log"
        with log.open("w") as complaints:
            self._process = subprocess.Popen(
                [program, f"--config-file={settings}", "--nofork", "--nopidfile", "--nosyslog", "--print-address=1"],
                stdout=subprocess.PIPE,
                stderr=complaints,
                text=True,
                start_new_session=True,  # Ctrl-C in the terminal is for its user, who then closes it
            )
        assert self._process.stdout is not None
        self.address = self._process.stdout.readline().strip()
        if not self.address:
            self.close()
            raise LinkAbsent(f"dbus-daemon did not start: {log.read_text().strip()}", "dbus-daemon")

    def close(self) -> None:
        """Stop it. Safe to call twice."""
        self._process.terminate()
        self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def __enter__(self) -> PrivateBus:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()
