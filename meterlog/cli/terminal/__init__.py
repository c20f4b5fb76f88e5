"""Terminal: output streams, wrapping, keys, and the screens of `record` and `diagnose`."""
