"""Everything that may be wrong with a circuit, and how often each fault occurs."""
