"""Holds what the page answers other programs."""
