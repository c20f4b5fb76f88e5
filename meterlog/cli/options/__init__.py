"""Options that more than one command has."""
