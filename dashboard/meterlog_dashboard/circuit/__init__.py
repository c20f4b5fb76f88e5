"""The view that diagnoses a circuit and says what to measure next."""
