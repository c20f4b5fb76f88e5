"""The folder's sessions: found by name, listed, read and analyzed once."""
