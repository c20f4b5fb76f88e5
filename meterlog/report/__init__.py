"""One HTML file a customer can read, and its PDF."""

from meterlog.report.build import build_report, write_report
from meterlog.report.circuit import CircuitPart, circuit_part
from meterlog.report.pdf import find_browser, print_pdf

__all__ = ["CircuitPart", "build_report", "circuit_part", "find_browser", "print_pdf", "write_report"]
