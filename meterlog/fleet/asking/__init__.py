"""Asks a dataset: as frames, some sessions of it, what is normal."""
