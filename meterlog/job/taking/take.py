"""Takes one measurement from the job's meters: recorded into the folder, until its level is certain."""

from __future__ import annotations

import queue
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from meterlog.capture.meters import MeterSetup
from meterlog.capture.recorder import Recorder
from meterlog.circuit.readings.measurement import Measurement
from meterlog.events import Event
from meterlog.events.standing import Standing
from meterlog.job.case import JobCase
from meterlog.job.job import Job
from meterlog.job.job_file import measuring
from meterlog.job.taking.leaving import LeavingProbes
from meterlog.job.taking.level import Level
from meterlog.job.taking.meters import place_meters
from meterlog.job.taking.seen import Seen
from meterlog.job.taking.watching import WAIT_S, Attendant, Queued, Watching
from meterlog.reading import Reading
from meterlog.session import Channel, Marker, SessionWriter


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading that was taken.

    Attributes:
        measurement: with its value and error.
        session: the file it was recorded into, in the job's folder.
        time_s: when it was shown, from that session's start, s.
        words: how it came; may be empty.
    """

    measurement: Measurement
    session: str
    time_s: float
    words: str

    @property
    def source(self) -> dict[str, object]:
        """Return what its step says beside the reading."""
        return {"how": "measured", "session": self.session, "time_s": round(self.time_s, 3)}


class _Handing:
    """A live detector that finds nothing and hands every reading on, with its channel."""

    standing: Standing | None = None

    def __init__(self, channel: Channel, queued: Queued) -> None:
        self._channel, self._queued = channel.number, queued

    def feed(self, readings: Sequence[Reading]) -> list[Event]:
        """Hand them on."""
        for reading in readings:
            self._queued.put((self._channel, reading))
        return []

    def marker(self, marker: Marker) -> None:
        """Nothing to do."""

    def finish(self) -> list[Event]:
        """Nothing is left."""
        return []


def take_into(
    job: Job,
    addresses: Sequence[str],
    case: JobCase,
    m: Measurement,
    attendant: Attendant,
    *,
    wait_s: float = WAIT_S,
    patient: bool = False,
    hanging: bool = False,
) -> list[Taken]:
    """Record until the level is certain.

    Args:
        job: the session is made in its folder.
        addresses: of its meters; `at=` names the place of one that stays where it is.
        case: the job's circuit.
        m: what is measured.
        attendant: is told, and asked.
        wait_s: how long to wait for a change once the probes are on, s.
        patient: go on until there is a reading or the person wants none; otherwise `wait_s` is all there is, and
            nothing (0, or open) is believed at its end.
        hanging: the probes still hang where the last reading was taken: what is shown there is none of this one.

    Returns:
        The reading, and those of meters elsewhere at the same moments; none where the person wanted none.

    Raises:
        LinkError: a meter cannot be reached.
        UsageError: it shows another quantity, or nothing steady in time.
    """
    placed = place_meters(addresses, case.circuit, m, job)
    probes = LeavingProbes() if hanging and placed.by_hand else None
    watching = Watching(Seen(case, m, placed), attendant, wait_s, patient, probes)
    with measuring(job.folder):
        name, level = _recorded(job, placed.setups, free_name(job.folder, m), watching)
    if level is None:
        return []
    found = [(m, level), *watching.seen.elsewhere(level)]
    return [Taken(_read(one, at), name, at.end_s, at.words) for one, at in found]


def _recorded(job: Job, setups: Sequence[MeterSetup], path: Path, watching: Watching) -> tuple[str, Level | None]:
    """Record while it is watched; the session's name, and the level. No session stays where the person left."""
    queued: Queued = queue.SimpleQueue()
    writer = SessionWriter.create(path, details=_details(job))
    recorder = Recorder(setups, writer, detector=lambda channel: _Handing(channel, queued))
    recorder.start()
    try:
        level = watching.run(recorder, queued)
    finally:
        if watching.left:
            recorder.discard()
        else:
            recorder.finish()
    return path.name, level


def _details(job: Job) -> dict[str, str]:
    """Return what a session of a job says of it: a list shows it, and a copy that was sent away still tells."""
    told = {"job": job.folder.absolute().name, "vehicle": job.vehicle, "complaint": job.complaint}
    return {key: text for key, text in told.items() if text}


def _read(m: Measurement, level: Level) -> Measurement:
    """The measurement with its level, in as many figures as a meter can have."""
    value, error = float(f"{level.value:.6g}"), float(f"{level.error:.2g}") or None
    return replace(m, value=value, error=error, nulled=level.nulled)


def free_name(folder: Path, m: Measurement) -> Path:
    """A name for a session that no file has yet: `03-fuse_out.sqlite`."""
    number = 1 + sum(1 for _ in folder.glob("*.sqlite"))
    while any(folder.glob(f"{number:02d}-*.sqlite")):
        number += 1
    safe = "".join(c if c.isalnum() or c in "_-" else "_" for c in m.at)
    return folder / f"{number:02d}-{safe}.sqlite"
