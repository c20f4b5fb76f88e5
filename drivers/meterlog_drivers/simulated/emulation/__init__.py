"""A run of a scenario on a real port: frames on pseudo-terminals and TCP, answers of an SCPI instrument."""
