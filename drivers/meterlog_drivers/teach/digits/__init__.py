"""Finds the number of the display in frames."""
