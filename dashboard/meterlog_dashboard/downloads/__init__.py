"""Downloads: a session as a table that is sent while it is made, and reports as one file."""
