"""Recording: supervises meters, remembers what came before a trigger, and feeds the session."""

from meterlog.capture.meters import MeterSetup, meter_setup, meter_setups
from meterlog.capture.notices import Notice, Outcome
from meterlog.capture.recorder import Recorder
from meterlog.capture.trigger import ArmedCapture
from meterlog.condition import Condition

__all__ = ["ArmedCapture", "Condition", "MeterSetup", "Notice", "Outcome", "Recorder", "meter_setup", "meter_setups"]
