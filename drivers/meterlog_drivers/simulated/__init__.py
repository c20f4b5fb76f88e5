"""The simulated vehicle, the meter in front of it, and the ports it speaks on."""
