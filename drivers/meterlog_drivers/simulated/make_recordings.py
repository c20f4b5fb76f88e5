"""Makes the sample recordings: `python -m meterlog_drivers.simulated.make_recordings FOLDER`.

All are of the simulated delivery van: the table below names the scenario and seed of each. Readings go into the
session as the recorder would put them there; a raw capture holds the frames of a driver at the moments of display.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path

from meterlog.address import Address
from meterlog.driver import load_driver
from meterlog.driver.framing import FramingDriver
from meterlog.session import SessionWriter
from meterlog.transports import Chunk
from meterlog.transports.raw_capture import RawCaptureWriter
from meterlog_drivers.simulated.emulation.emulator import encoded
from meterlog_drivers.simulated.scenario import Run
from meterlog_drivers.simulated.scenarios import SCENARIOS

FIRST = datetime(2026, 3, 2, 9, 0, tzinfo=timezone(timedelta(hours=1)))
"""The fictional morning on which the first one was recorded; the others follow, five minutes apart."""

VEHICLE = "delivery van 1 (simulated)"


@dataclass(frozen=True, slots=True)
class Recording:
    """One sample.

    Attributes:
        file: its name; `.raw` is a raw capture, which also needs a driver.
        scenario, seed: what was run.
        complaint: what the customer says.
        channels: which of the scenario's, from 0; None for all.
        driver: whose frames a raw capture holds, with its options.
        overrides: fields of `MeterModel`.
    """

    file: str
    scenario: str
    seed: int
    complaint: str
    channels: tuple[int, ...] | None = None
    driver: str = "status14"
    overrides: Mapping[str, float] = field(default_factory=dict)

    def run(self) -> Run:
        """The scenario's run; channels of a raw capture with columns are displayed together."""
        return SCENARIOS[self.scenario].run(self.seed, together=self.file.endswith(".raw"), **self.overrides)

    def chosen(self, run: Run) -> tuple[int, ...]:
        """The channels that are recorded, from 0."""
        return tuple(range(len(run.probes))) if self.channels is None else self.channels


NONE, LATE, DIES, FLAT = "none: known good", "cranks, does not start", "dies now and then", "battery flat on Mondays"

RECORDINGS = (
    Recording("key-on-good-1.sqlite", "healthy-prime", 11, NONE),
    Recording("key-on-good-2.sqlite", "healthy-prime", 12, NONE),
    Recording("key-on-suspect.sqlite", "relay-high-resistance", 13, "cranks, starts after several tries", (0,)),
    Recording("key-on-no-command.sqlite", "no-command", 14, LATE),
    Recording("key-on-fast-meter.sqlite", "healthy-prime", 15, NONE, overrides={"interval_s": 0.05}),
    Recording("drop-test-bad-ground.sqlite", "corroded-ground", 16, "lacks power uphill"),
    Recording("drop-test-good.sqlite", "drop-test", 17, NONE),
    Recording("drive-intermittent.sqlite", "intermittent-feed", 18, DIES),
    Recording("drive-relay-chatter.sqlite", "relay-chatter", 19, DIES, overrides={"interval_s": 0.1}),
    Recording("crank-good.sqlite", "healthy-crank", 20, NONE),
    Recording("crank-weak-battery.sqlite", "weak-battery-crank", 21, "cranks slowly in the cold, does not start", (0,)),
    Recording("crank-primes-late.sqlite", "prime-while-cranking", 22, NONE),
    Recording("wiggle-feed-ohms.sqlite", "wiggle-open", 23, DIES),
    Recording("wiggle-ground-ohms.sqlite", "wiggle-step", 24, LATE),
    Recording("parasitic-draw.sqlite", "parasitic-draw", 25, FLAT),
    Recording("key-on-status14.raw", "healthy-prime", 11, NONE),
    Recording("crank-segments14.raw", "healthy-crank", 20, NONE, driver="segments14"),
    Recording("drop-test-columns.raw", "drop-test", 17, NONE, driver="text?profile=columns"),
)


def make(recording: Recording, folder: Path, started_at: datetime) -> Path:
    """Make one.

    Raises:
        SessionBusy, SessionWriteFailed: the file exists, or the folder cannot be written on.
    """
    path = folder / recording.file
    if path.suffix == ".raw":
        _make_raw(recording, path, started_at)
    else:
        _make_session(recording, path, started_at)
    return path


def _make_session(recording: Recording, path: Path, started_at: datetime) -> None:
    run = recording.run()
    details = {"vehicle": VEHICLE, "complaint": recording.complaint, "system_v": "12"}
    with SessionWriter.create(path, monotonic_start_s=0.0, started_at=started_at, details=details) as writer:
        for k in recording.chosen(run):
            probe, interval_s = run.probes[k], run.models[k].interval_s
            address = f"sim:{recording.scenario}?seed={recording.seed}"
            number = writer.add_channel(
                probe.label, run.quantity(k), point=probe.point, address=address, driver="sim", interval_s=interval_s
            )
            writer.append_series(number, run.readings[k])
        for marker in run.markers:
            writer.add_marker(marker.time_s, marker.name)


def _make_raw(recording: Recording, path: Path, started_at: datetime) -> None:
    run = recording.run()
    name, question, options = recording.driver.partition("?")
    address = Address.parse(f"{name}:/dev/ttyUSB0{question}{options}")
    driver = load_driver(name)
    if not isinstance(driver, FramingDriver):
        raise TypeError(f"{name} has no frames")
    byte_time_s = driver.lines[0].byte_time_s
    writer = RawCaptureWriter(path, str(address), started_at, 0.0, byte_time_s)
    for frame in encoded(run, driver.encoder(address), recording.chosen(run)):
        writer.add(Chunk(frame.data, frame.time_s + byte_time_s * len(frame.data)))
    writer.close()


def main(argv: list[str]) -> int:
    """Make all of them in a folder, over what is there."""
    folder = Path(argv[0]) if argv else Path("recordings")
    folder.mkdir(parents=True, exist_ok=True)
    for n, recording in enumerate(RECORDINGS):
        (folder / recording.file).unlink(missing_ok=True)
        path = make(recording, folder, FIRST + timedelta(minutes=5 * n))
        print(f"{path.name}: {path.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
