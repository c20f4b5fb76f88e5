"""Ways for bytes to come in, each with their arrival times. Nothing here knows what a meter says."""

from meterlog.transports.contract import Chunk, LineSettings, Link, Transport

__all__ = ["Chunk", "LineSettings", "Link", "Transport"]
