"""The view that compares known-good sessions with a suspect one."""
