"""A meter's display: its symbols, units, digits and limits, and which frames to doubt."""
