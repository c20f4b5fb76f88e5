"""Measurements and trials: from files, sessions, meters and answers, with what cannot be and what is suspicious."""
