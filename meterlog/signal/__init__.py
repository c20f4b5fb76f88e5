"""Pulse and dip measures as the standards define them: numpy in, numbers out."""
