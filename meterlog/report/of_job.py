"""The whole report of a job, as command and page write it."""

from __future__ import annotations

from meterlog.job.status import Known
from meterlog.report.build import build_report
from meterlog.report.job import job_circuit, job_part, job_sessions, recorded_both
from meterlog.report.letterhead import letterhead
from meterlog.settings import read_settings


def report_of_job(now: Known) -> tuple[str, list[str]]:
    """The page, and a sentence for each recording that cannot be read.

    The recordings of the reading that decided are compared, before with after.

    Raises:
        SettingsError, UsageError: the user's settings cannot be read, or their logo.
        CircuitError: the job's circuit is gone or wrong.
    """
    settings = read_settings()
    head = letterhead(settings)
    sessions, missing = job_sessions(now)
    circuit = job_circuit(now)
    names = recorded_both(now)
    pair = [one for name in names or () for one in sessions if one.path.name == name]
    rest = [one for one in sessions if one not in pair]
    part = job_part(now, circuit, settings)
    page = build_report(rest, circuit=circuit, job=part, head=head, pair=(pair[0], pair[1]) if pair[1:] else None)
    return page, missing
