"""Libraries that only some uses need, and the command that gets a missing one."""

from __future__ import annotations

EXTRAS = {
    "pyarrow": "parquet",
    "shtab": "completion",
    "PIL": "photos",
    "paho": "mqtt",
    "pyvisa": "visa",
}
"""Libraries that a plain install leaves out, and the extra that brings each."""


def missing_library(error: ModuleNotFoundError) -> str | None:
    """Return the sentence for the user about a library that is not installed, or None where it is our own module."""
    library = (error.name or "").partition(".")[0]
    if not library or library.startswith("meterlog"):
        return None
    wanted = f"'meterlog[{EXTRAS[library]}]'" if library in EXTRAS else "meterlog"
    return f"this needs {library}, which is not installed: pip install {wanted}"
