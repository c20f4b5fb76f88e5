"""Measurements from the meter: `meterlog job measure` as a process of its own, and what it shows meanwhile.

It is the terminal's own command, so what it waits for, says and enters is the same; it goes on when the page or its
server ends, and a measurement that was begun in a terminal is shown here too.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from dataclasses import dataclass, field
from typing import IO, Any

from meterlog.errors import MeterlogError, UsageError
from meterlog.text.ids import plain
from meterlog_dashboard.job.folder import JobFolders
from meterlog_dashboard.live.feed import LiveFeeds
from meterlog_dashboard.record.process import APART, END_SIGNAL, cause_of_end, output_file, tail
from meterlog_dashboard.record.recorder_process import Recorders
from meterlog_dashboard.session_files.folder import SessionFolder

_OF_A_READING = "  "
"""Lines that begin so are readings: the page shows those large, from the session."""
_CAUGHT, _BELL = "Caught: ", "\a"


@dataclass
class _Taking:
    """A measurement that this server began, and its words."""

    process: subprocess.Popen[bytes]
    output: IO[bytes] = field(default_factory=output_file)

    def said(self) -> str:
        """The newest line that is no reading, all of them from what was caught on; why it failed, where it did."""
        lines = tail(self.output).decode(errors="replace").replace(_BELL, "").splitlines()
        words = [line for line in lines if line.strip() and not line.startswith(_OF_A_READING)]
        caught = next((k for k, line in enumerate(words) if line.startswith(_CAUGHT)), len(words) - 1)
        return cause_of_end(self.process, self.output, "the measurement") or ". ".join(words[caught:])


class Measuring:
    """The measurements of a folder's jobs. Usable from any thread."""

    def __init__(self, jobs: JobFolders) -> None:
        self._jobs = jobs
        self._lock = threading.Lock()
        self._taking: dict[str, _Taking] = {}
        self._feeds: dict[str, LiveFeeds] = {}

    def begin(self, name: str) -> None:
        """Take what the job asks for from its meter.

        Raises:
            JobError: there is no such job.
            UsageError: it is being measured already.
        """
        folder = self._jobs.folder(name)
        with self._lock:
            known = self._taking.get(name)
            if (known is not None and known.process.poll() is None) or self._running(name):
                raise UsageError("this job is being measured already")
            if known is not None:
                known.output.close()
            output = output_file()
            command = [sys.executable, "-m", "meterlog", "job", "measure", str(folder), "--json"]
            process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=output, **APART
            )
            self._taking[name] = _Taking(process, output)

    def end(self, name: str) -> None:
        """Stop waiting; what was recorded is kept, and nothing is entered.

        Raises:
            JobError: there is no such job.
        """
        folder = SessionFolder(self._jobs.folder(name))
        known = self._taking.get(name)
        if known is not None and known.process.poll() is None:
            os.kill(known.process.pid, END_SIGNAL)
            return
        for session in Recorders(folder).running():
            Recorders(folder).stop(session)

    def now(self, name: str) -> dict[str, Any]:
        """Return what goes on: `measuring`, `said`, `failed`, and the channels as the live page has them.

        Raises:
            JobError: there is no such job.
        """
        running = self._running(name)
        with self._lock:  # else the next measurement closes the file that is being read
            known = self._taking.get(name)
            ours = known is not None and known.process.poll() is None
            said = known.said() if known is not None else ""
            failed = known is not None and not ours and known.process.returncode != 0
        said = said if failed else plain(said)
        return {
            "measuring": ours or bool(running),
            "said": said if known is not None else "Another program measures for this job." if running else "",
            "failed": failed,
            "channels": self._channels(name, running),
        }

    def _running(self, name: str) -> list[str]:
        return Recorders(SessionFolder(self._jobs.folder(name))).running()

    def _channels(self, name: str, running: list[str]) -> list[dict[str, Any]]:
        if not running:
            self._feeds.pop(name, None)
            return []
        feeds = self._feeds.setdefault(name, LiveFeeds(SessionFolder(self._jobs.folder(name))))
        try:
            told = feeds.of(running[0]).since("", 0)["channels"]
        except MeterlogError:
            return []  # it is just being made, or has just ended
        keys = ("number", "label", "shown", "measured", "quantity", "age_s", "silent_after_s", "up", "cause")
        return [{key: one[key] for key in keys} for one in told]
