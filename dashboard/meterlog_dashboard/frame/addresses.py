"""The addresses of what a view leads to; a name may hold whatever a file's name may, also `JOB/FILE`."""

from __future__ import annotations

from urllib.parse import quote, urlencode


def session_address(name: str, **asked: object) -> str:
    """The address of a session's Review; `asked` as `review/asked.py` reads it."""
    return f"/sessions/{quote(name, safe='')}" + (f"?{urlencode(asked)}" if asked else "")


def live_address(name: str) -> str:
    """The address of a session's live page."""
    return f"/record/{quote(name, safe='')}"


def job_address(name: str) -> str:
    """The address of a job."""
    return f"/jobs/{quote(name, safe='')}"
