"""The cautions that are read once before measuring a quantity."""
