"""Draws, once for the report and the page: colours, the parts of figures, a channel over time, and the library."""

from meterlog.drawing.script import drawing_library

__all__ = ["drawing_library"]
