"""Thresholds with their sources: three sets that come with the program, and a person's own file over them."""

from meterlog.limits.figure import Figure
from meterlog.limits.limits import Limits
from meterlog.limits.load import SETS, load_limits
from meterlog.limits.system import limits_for

__all__ = ["SETS", "Figure", "Limits", "limits_for", "load_limits"]
