"""Currents from the voltage across fuses that stay in: their resistances, and the sweep of a fuse box."""

from meterlog.fuses.fuse_table import Fuse, fuse_named, fuse_names

__all__ = ["Fuse", "fuse_named", "fuse_names"]
