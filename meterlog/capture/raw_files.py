"""Each meter's raw bytes beside the session, as `NAME.meter1.raw`."""

from __future__ import annotations

from pathlib import Path

from meterlog.capture.meters import MeterSetup
from meterlog.session import SessionWriter
from meterlog.transports.raw_capture import RawCaptureWriter


class RawFiles:
    """The raw captures of a recording."""

    def __init__(self, writer: SessionWriter) -> None:
        """Begin without any."""
        self._writer = writer
        self._files: dict[int, RawCaptureWriter] = {}

    def tap(self, meter: int, setup: MeterSetup) -> MeterSetup:
        """Return the meter with its bytes kept.

        Raises:
            UsageError: it has no bytes.
            SessionWriteFailed: the file cannot be made.
        """
        session = self._writer
        byte_time_s = setup.byte_time_s
        path = session.path.with_name(f"{session.path.stem}.meter{meter + 1}.raw")
        sink = RawCaptureWriter(path, str(setup.address), session.started_at, session.monotonic_start_s, byte_time_s)
        self._files[meter] = sink
        return setup.tapped(sink)

    def note_link(self, meter: int, at_s: float, up: bool, cause: str) -> None:
        """Note beside a meter's bytes that it came or went, at `at_s` from the session's start."""
        if meter in self._files:
            self._files[meter].note(f"{at_s:.6f} {'up' if up else 'down'}: {cause}")

    def close(self) -> list[Path]:
        """Close all, and remove those into which no byte came; the others' paths."""
        return [path for path in map(_closed, self._files.values()) if path is not None]


def _closed(capture: RawCaptureWriter) -> Path | None:
    capture.close()
    if capture.chunks:
        return capture.path
    capture.path.unlink(missing_ok=True)
    return None
