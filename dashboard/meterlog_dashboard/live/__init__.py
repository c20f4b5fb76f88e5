"""The live page of a session that is being recorded."""
