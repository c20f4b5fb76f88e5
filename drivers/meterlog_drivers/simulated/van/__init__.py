"""The simulated van: battery, starter, relay, pump motor, and the circuit that joins them."""
