"""The time of readings: frames without pauses, the meter's cadence, and what arrived together."""
