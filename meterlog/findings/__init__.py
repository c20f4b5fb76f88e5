"""Statements about a session, each with its evidence and its uncertainty: one kind of finding a file."""

from meterlog.findings.engine import findings
from meterlog.findings.finding import Finding, Verdict
from meterlog.findings.line import Line

__all__ = ["Finding", "Line", "Verdict", "findings"]
