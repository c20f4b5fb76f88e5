"""Experience: what the proved jobs of a folder tell about which parts fail."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from pathlib import Path

from meterlog.circuit.faults.experience import Proved, proved, rates_from
from meterlog.circuit.faults.fault_rates import Rates
from meterlog.errors import MeterlogError
from meterlog.job.case import case_of
from meterlog.job.job import Job
from meterlog.job.job_file import NAME, read_job
from meterlog.job.status import known_of

SIMULATED = ("sim:", ":/dev/pts/", ":/dev/ttys0")
"""Stands in the address of a simulated meter, or of a pseudo-terminal as `emulate` opens it (on Linux, on macOS): a job
that was practice tells nothing of real vehicles."""
_REMEMBERED = ".job.proved"
"""Beside each job: the digest of its file, and whether that is proved; working it out takes a third of a second."""


def experience(folder: Path) -> Rates:
    """Fault rates from the proved jobs right below a folder; jobs that cannot be read tell nothing."""
    found = []
    for path in sorted(folder.glob(f"*/{NAME}")):
        with suppress(MeterlogError):
            found += _of_job(read_job(path.parent))
    return rates_from(found)


def _of_job(job: Job) -> list[Proved]:
    """Return what a job's repair tells; nothing where it is not proved."""
    if any(mark in address for address in job.meters for mark in SIMULATED):
        return []
    case = case_of(job) if job.repaired and _is_proved(job) else None
    known = {*case.circuit.part_index, *case.circuit.commands} if case else set()
    return [proved(case.circuit, job.repaired)] if case and job.repaired in known else []


def _is_proved(job: Job) -> bool:
    digest = hashlib.sha256((job.folder / NAME).read_bytes()).hexdigest()
    remembered = job.folder / _REMEMBERED
    with suppress(OSError, ValueError):
        seen, _, answer = remembered.read_text("ascii").partition(" ")
        if seen == digest:
            return answer == "yes"
    answer = "yes" if known_of(job).proof.verdict == "proved" else "no"
    with suppress(OSError):  # a folder that cannot be written is worked out again
        remembered.write_text(f"{digest} {answer}", "ascii")
    return answer == "yes"
