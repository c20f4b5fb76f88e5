"""Sentences for and against each suspect, and readings that contradict each other."""
