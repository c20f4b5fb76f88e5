"""Recorders as processes of their own: started from the page, and going on when the page or its server ends.

Nothing is remembered that matters: which recorders run is seen from the folder, so a restarted server finds them.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import IO

from meterlog.capture.armed_check import check_channel
from meterlog.capture.meters import meter_setups
from meterlog.condition import Condition
from meterlog.errors import LinkError, UsageError
from meterlog.session.lock import is_recording, recorder_says
from meterlog.session.names import new_name
from meterlog_dashboard.record.process import APART, END_SIGNAL, cause_of_end, output_file, tail
from meterlog_dashboard.session_files.folder import SessionFolder

_OPENING_S = 8.0
"""A start waits so long for the meters to open, s; one that takes longer is shown on the live page. A guess."""


@dataclass(frozen=True, slots=True)
class RecorderOptions:
    """The options of a recording.

    Attributes:
        meters: addresses.
        details: about the case, `vehicle`, `complaint`, ...
        armed: the condition to wait for; empty: keep everything.
        before_s, after_s: armed: what to keep before and after it, s.
        captures: armed: end after so many; 0: go on.
    """

    meters: Sequence[str]
    details: Mapping[str, str] = field(default_factory=dict)
    armed: str = ""
    before_s: float = 5.0
    after_s: float = 10.0
    captures: int = 0

    def check(self) -> None:
        """Find what is wrong before a process is started.

        Raises:
            MeterlogError: with one plain sentence.
        """
        if not self.meters:
            raise UsageError("no meter is chosen: pick one that was found, or type its address")
        setups = meter_setups(self.meters)
        if self.armed:
            check_channel(Condition.parse(self.armed), setups)
        if min(self.before_s, self.after_s) < 0 or self.captures < 0:
            raise UsageError("the seconds to keep and the number of captures cannot be negative")

    def words(self) -> list[str]:
        """The options of `meterlog record`."""
        words = [f"--meter={address}" for address in self.meters]
        words += [f"--set={key}={value}" for key, value in self.details.items() if value]
        if self.armed:
            words += [f"--armed={self.armed}", f"--before={self.before_s:g}", f"--after={self.after_s:g}"]
            words += [f"--events={self.captures}"] if self.captures else []
        return words


class Recorders:
    """The recorders of one folder of sessions. Usable from any thread."""

    def __init__(self, folder: SessionFolder) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._started: dict[str, tuple[subprocess.Popen[bytes], IO[bytes]]] = {}

    def start(self, options: RecorderOptions) -> str:
        """Start a recorder and wait until its meters are open.

        Returns:
            The session's name.

        Raises:
            MeterlogError: an option is wrong, or a meter cannot be opened: nothing is left behind then.
        """
        options.check()
        with self._lock:
            self.forget_ended()
            name = new_name(self._folder.path, self._started)
            path = self._folder.path / name
            output = output_file()
            command = [sys.executable, "-m", "meterlog", "record", "--plain", f"--out={path}", *options.words()]
            process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=output, stderr=subprocess.STDOUT, **APART
            )
            self._started[name] = (process, output)
        give_up_s = time.monotonic() + _OPENING_S
        while time.monotonic() < give_up_s:
            if process.poll() is not None:
                if process.returncode:
                    raise LinkError(self.cause(name), ", ".join(options.meters))
                return name
            if b"recording to " in tail(output):
                return name
            time.sleep(0.03)
        return name

    def stop(self, name: str) -> None:
        """Ask a recorder to end and keep its data, whoever started it.

        Raises:
            NotASession: there is no session of that name.
            UsageError: nobody records it.
        """
        path = self._folder.file(name)
        pid = recorder_says(path).get("pid") if is_recording(path) else None
        if not isinstance(pid, int):
            raise UsageError(f"'{name}' is not being recorded any more")
        try:
            os.kill(pid, END_SIGNAL)
        except ProcessLookupError:
            pass  # it has just ended

    def running(self) -> list[str]:
        """The sessions that are being recorded, newest first."""
        return [name for name in self._folder.names() if is_recording(self._folder.path / name)]

    def cause(self, name: str, patience_s: float = 0.0) -> str:
        """Say why a recorder that this server started ended; '' where it runs, ended as it should, or is not known.

        Args:
            name: the session.
            patience_s: wait so long for one that closes just now, s.
        """
        started = self._started.get(name)
        if started is None:
            return ""
        process, output = started
        with suppress(subprocess.TimeoutExpired):
            process.wait(patience_s)
        return cause_of_end(process, output, "the recorder")

    def forget_ended(self) -> None:
        """Let go of what the recorders wrote that have ended."""
        for name in [name for name, (process, _) in self._started.items() if process.poll() is not None]:
            self._started.pop(name)[1].close()
