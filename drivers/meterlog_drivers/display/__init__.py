"""What a meter's display shows: its symbols, units, digits and limits, and which frames to doubt."""
