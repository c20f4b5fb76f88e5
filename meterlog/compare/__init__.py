"""Known-good captures against a suspect one: alignment, differences, reference band."""

from meterlog.compare.comparison import Comparison
from meterlog.compare.run import compare, compare_captures

__all__ = ["Comparison", "compare", "compare_captures"]
