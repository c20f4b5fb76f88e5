"""Drivers: the contract, the registry, framings (`framing.py`), and finding which driver fits (`probe`, `discover`)."""

from meterlog.driver.contract import COMMON_OPTIONS, Connection, Driver, Meter, Traffic, readings_of
from meterlog.driver.conversion import Conversion, open_converted
from meterlog.driver.registry import GROUP, driver_errors, driver_names, load_driver, open_address

__all__ = [
    "COMMON_OPTIONS",
    "GROUP",
    "Connection",
    "Conversion",
    "Driver",
    "Meter",
    "Traffic",
    "driver_errors",
    "driver_names",
    "load_driver",
    "open_address",
    "open_converted",
    "readings_of",
]
