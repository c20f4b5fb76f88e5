"""The probability of each fault after the readings."""
