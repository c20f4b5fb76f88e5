"""Trends of vehicles: which measure has changed over its sessions, since when, and how sure that is."""

from meterlog.trends.history import History, Point
from meterlog.trends.judge import Trend, Verdict, judge
from meterlog.trends.measured import histories, histories_of, measured

__all__ = ["History", "Point", "Trend", "Verdict", "histories", "histories_of", "judge", "measured"]
