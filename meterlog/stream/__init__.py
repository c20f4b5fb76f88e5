"""A session told to other programs, line by line, while it is recorded or afterwards."""
