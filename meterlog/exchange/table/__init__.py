"""Text tables from elsewhere: where things are in them, what kind of times and units, and how they become a session."""
