"""meterlog records, times, detects, compares and explains what a multimeter shows.

The names in `__all__` are the library's public ones, with `meterlog.driver` for those who write a driver and
`meterlog.testing` for their tests: one that changes keeps its old way for one minor version and warns. All else may
change at any time.
"""

from __future__ import annotations

from os import PathLike
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from meterlog.analysis import Analysis
    from meterlog.fleet.asking.frames import Dataset
    from meterlog.notebook.results import Compared, Diagnosed
    from meterlog.notebook.session import Session

__version__ = "0.1.0"

__all__ = ["__version__", "analyze", "compare", "dataset", "diagnose", "open_session", "record"]

# What each function needs is loaded when it is called: recording must not wait for pandas.


def open_session(path: Path | str) -> Session:
    """A session as pandas frames: `.frame("pump feed")`, `.wide()`, `.events()`, `.findings`, `.plot("pump feed")`.

    Raises:
        SessionError: it cannot be read.
    """
    from meterlog.notebook.session import Session

    return Session(path)


def record(
    meters: str | Sequence[str], path: Path | str, for_s: float, *, details: Mapping[str, str] | None = None
) -> Session:
    """Record meters into a new session for a while, and open it.

    Args:
        meters: their addresses, for example `status14:/dev/ttyUSB0?label=pump+feed`.
        path: the session's file, which must not exist.
        for_s: how long, s.
        details: `vehicle`, `complaint` and more.

    Raises:
        AddressError, LinkError, SessionError: as their names say.
    """
    from meterlog.notebook.recording import record_for
    from meterlog.notebook.session import Session

    record_for([meters] if isinstance(meters, str) else meters, path, for_s, details or {})
    return Session(path)


def analyze(path: Path | str, limits: str | None = None) -> Analysis:
    """Find what happened in a session, and what it means: `.events`, `.findings`, `.channels`.

    Args:
        path: the session's file.
        limits: the name of a set of limits, or a file of your own; by the session's system voltage where left out.

    Raises:
        SessionError: it cannot be read, or holds no readings.
        LimitsError: the limits cannot be used.
    """
    from meterlog.loaded import load

    return load(path, limits).analysis


def compare(good: Sequence[Path | str], suspect: Path | str, *more: Path | str) -> Compared:
    """Compare known-good sessions with suspect ones: `.verdict`, `.measures`, `.excursions`.

    Raises:
        SessionError: a session cannot be read.
        CompareError: they cannot be compared.
    """
    from meterlog.comparing import compare as compare_sessions
    from meterlog.notebook.results import Compared

    return Compared(compare_sessions(good, suspect, *more))


def dataset(path: Path | str, *conditions: str, **where: object) -> Dataset:
    """Open what `meterlog collect` gathered, as pandas frames: `dataset("fleet", vehicle="van 7")["measures"]`.

    Args:
        path: the dataset's folder.
        conditions: comparisons that are to hold for the sessions, as `"temperature_c<5"` or `"day>=2026-03-15"`.
        where: what is to be so of the sessions: what was entered for them, or `month`, `vehicle_kind`, `circuit`.

    Raises:
        DatasetError: it is no dataset, cannot be read, or nothing is known of a key.
    """
    from meterlog.fleet.asking.frames import Dataset

    return Dataset(path).where(*conditions, **where)


def diagnose(
    circuit: Path | str,
    *sessions: Path | str | Sequence[Path | str],
    measured: Sequence[Mapping[str, object]] = (),
    observed: Mapping[str, str] | None = None,
) -> Diagnosed:
    """Find the part of a circuit that is at fault: `.verdict`, `.chances`, `.next`.

    Args:
        circuit: a circuit file or a template's name.
        sessions: recorded sessions, or lists of them; their test points and markers are used.
        measured: readings as a readings file has them, for example
            `{"quantity": "voltage", "at": "plug_feed", "to": "battery_minus", "state": "prime", "value": 11.9}`.
        observed: looks and their answers, for example `{"relay_clicks": "no"}`.

    Raises:
        CircuitError: the circuit or a reading cannot be used.
        SessionError: a session cannot be read.
    """
    from meterlog.notebook.results import diagnosed

    paths = [path for one in sessions for path in ([one] if isinstance(one, str | PathLike) else one)]
    return diagnosed(str(circuit), paths, measured, observed or {})
