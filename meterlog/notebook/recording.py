"""Records for a while, without a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from meterlog.capture import Recorder, meter_setups
from meterlog.session.writer import SessionWriter


def record_for(meters: Sequence[str], path: Path | str, for_s: float, details: Mapping[str, str]) -> None:
    """Record meters into a new session for `for_s` s, or until the last of them ends.

    Raises:
        AddressError: a meter's address cannot be understood.
        LinkError: a meter cannot be reached.
        SessionWriteFailed: the file exists or cannot be written.
    """
    setups = meter_setups(meters)
    recorder = Recorder(setups, SessionWriter.create(path, details=details))
    recorder.start()
    try:
        while recorder.elapsed_s < for_s and not recorder.wait(min(0.2, max(0.0, for_s - recorder.elapsed_s))):
            pass
    finally:
        recorder.finish()
