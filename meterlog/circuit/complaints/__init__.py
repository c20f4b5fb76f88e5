"""From a complaint to the circuit to measure: quick looks that need no tool, and what each answer makes likely."""
