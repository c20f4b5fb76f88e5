"""The view that sets up a recording and starts its recorder."""
