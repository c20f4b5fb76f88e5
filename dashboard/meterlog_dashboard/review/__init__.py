"""The Review of one session: plots, statistics, findings, events, markers."""
