"""Libraries that only some uses need, and the command that gets a missing one."""

from __future__ import annotations

EXTRAS = {
    "pyarrow": "parquet",
    "shtab": "completion",
    "PIL": "photos",
    "paho": "mqtt",
    "pyvisa": "visa",
    "hid": "hid",
    "distributed": "cluster",
    "fsspec": "cluster",
}
"""Libraries that a plain install leaves out, and the extra that brings each."""


def missing_library(error: ModuleNotFoundError) -> str | None:
    """Return the sentence for the user about a library that is not installed, or None where it is our own module."""
    library = _library(error)
    if not library or library.startswith("meterlog"):
        return None
    return missing_extra(error) or _sentence(library, "meterlog")


def missing_extra(error: BaseException) -> str | None:
    """Return the sentence about a library that one of our extras brings, or None."""
    library = _library(error)
    return _sentence(library, f"'meterlog[{EXTRAS[library]}]'") if library in EXTRAS else None


def _library(error: BaseException) -> str:
    return ((error.name if isinstance(error, ModuleNotFoundError) else "") or "").partition(".")[0]


def _sentence(library: str, wanted: str) -> str:
    return f"this needs {library}, which is not installed: pip install {wanted}"
