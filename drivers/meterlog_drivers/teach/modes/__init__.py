"""Finds what frames say beside the number: unit, point, sign, symbols."""
