"""Takes a measurement of a job from its meters: recorded into the job's folder, and the reading out of it."""

from meterlog.job.taking.take import Taken, take_into
from meterlog.job.taking.watching import WAIT_S, Attendant, Said, Wish

__all__ = ["WAIT_S", "Attendant", "Said", "Taken", "Wish", "take_into"]
