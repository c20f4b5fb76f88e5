"""Finds the frames in what a meter sends."""
