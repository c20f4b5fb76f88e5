"""How probable each fault is after the readings."""
