"""Says what a job adds to a dataset: who complained of what, what was found and put right, and whether it is proved."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import tomlkit

from meterlog.fleet.sources import JOB_FILE, Found, place_in
from meterlog.fleet.tables import PARTITION, Row, partition
from meterlog.job.job import Job, Step
from meterlog.job.job_file import read_job
from meterlog.job.status import known_of


def job_row(file: Found, folder: Path) -> Row:
    """Read a job, and work out where it stands.

    Args:
        file: the job as it was found.
        folder: where it lies on this machine.

    Raises:
        JobError: it cannot be read.
        CircuitError: its circuit is gone or wrong.
    """
    job = read_job(folder)
    now = known_of(job)
    opened = _opened(job)
    repairs = job.of("repaired")
    return {
        "job": file.name,
        "fingerprint": file.fingerprint,
        "opened_at": opened,
        "vehicle": job.vehicle or None,
        "complaint": job.complaint,
        "circuit": job.circuit.removesuffix(".toml") or None,
        "state": now.state,
        "verdict": now.verdict,
        "proof": now.proof.verdict,
        "repaired": [str(step.values["part"]) for step in repairs],
        "price": _sum(repairs, "price"),
        "minutes": _sum(repairs, "minutes"),
        "measured": len(job.of("measured")),
        "sessions": [place_in(file, name) for name in job.sessions],
        "details": json.dumps(dict(job.details), ensure_ascii=False, sort_keys=True),
        PARTITION: partition(opened, job.details.get("vehicle_kind")),
    }


def _opened(job: Job) -> datetime:
    """When it was begun, UTC; where a person took that out of the file, when that was written last."""
    path = job.folder / JOB_FILE
    try:
        return datetime.fromisoformat(str(tomlkit.parse(path.read_text("utf-8-sig"))["opened"])).astimezone(UTC)
    except (KeyError, ValueError):
        return datetime.fromtimestamp(path.stat().st_mtime, UTC)


def _sum(steps: Sequence[Step], key: str) -> float | None:
    """Return what was entered for repairs, added; None where nothing was."""
    entered = [float(value) for step in steps if isinstance(value := step.values.get(key), int | float)]
    return sum(entered) if entered else None
