"""The next measurement: all that the circuit allows, and the information that each gives per minute."""
