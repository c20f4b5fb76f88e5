"""Drivers: what meters say, one module a protocol family, and the simulated vehicle."""
