"""Finds digits of seven segments whose wires may lie anywhere in a frame."""
