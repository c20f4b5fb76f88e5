"""The bench of teaching: meters that nobody has seen before, persons who answer late and make a slip."""
