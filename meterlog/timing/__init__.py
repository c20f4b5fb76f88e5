"""When readings were shown: frames without pauses, the meter's cadence, and what arrived together."""
