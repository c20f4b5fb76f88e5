"""Statements about a session, each with its evidence and its uncertainty: one kind of finding a file."""

from meterlog.findings.engine import findings
from meterlog.findings.evidence import SessionView
from meterlog.findings.finding import Finding, Verdict

__all__ = ["Finding", "SessionView", "Verdict", "findings"]
