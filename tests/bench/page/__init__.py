"""Benches of the page in a real browser: `python -m tests.bench page.review page.large page.live ...`."""
