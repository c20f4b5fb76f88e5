"""meterlog records, times, detects, compares and explains what a multimeter shows."""

__version__ = "0.1.0"
