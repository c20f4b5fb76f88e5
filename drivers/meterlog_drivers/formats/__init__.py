"""Frames of one length: finding them, building them, and what several such framings have in common."""
