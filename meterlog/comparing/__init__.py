"""Known-good captures against a suspect one: alignment, differences, reference band."""

from meterlog.comparing.compare_sessions import compare, compare_captures
from meterlog.comparing.comparison import Comparison

__all__ = ["Comparison", "compare", "compare_captures"]
