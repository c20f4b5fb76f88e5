"""Texts that people write and read: units, typed numbers and times, figures, TOML, and what is safe to show."""
