"""The measures and events of sessions, in memory: worked out once in the background, again where a file has changed.

To measure a session takes some 20 ms, so that a page on 200 of them answers at once and fills in what comes.
"""

from __future__ import annotations

import threading
import time
from collections import Counter, OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from meterlog.session.summary import Summary
from meterlog_dashboard.session_files.cache import Stamp, read, stamp_of

_MOST_KEPT = 20_000
"""Sessions kept, some 3 kB each; a guess: a fleet's history of years."""
_PAUSE_S = 0.001
"""After each session: what a person waits for comes first."""


@dataclass(frozen=True, slots=True)
class Measures:
    """Holds what is kept of a session.

    Attributes:
        rows: its measures, as `meterlog.trends.measured` gives them; none where it cannot be read.
        kinds: how many events of each kind.
        outside: findings that are outside their limits.
    """

    rows: list[dict[str, Any]] = field(default_factory=list)
    kinds: Counter[str] = field(default_factory=Counter)
    outside: int = 0


class MeasuredSessions:
    """The measures of a folder's sessions. Usable from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[Path, tuple[Stamp, Measures]] = OrderedDict()
        self._wanted: list[Path] = []
        self._worker: threading.Thread | None = None

    def so_far(self, sessions: Iterable[Summary]) -> tuple[dict[Path, Measures], int]:
        """Return what is known of sessions, and how many are still to be measured, which begins now.

        Args:
            sessions: the newest first; those that hold no reading, or grow, are left out.
        """
        known, wanted = {}, []
        for path in (one.path for one in sessions if one.readings and one.ended != "growing"):
            if (found := self._known(path)) is None:
                wanted.append(path)
            else:
                known[path] = found
        if wanted:
            self._want(wanted)
        return known, len(wanted)

    def _known(self, path: Path) -> Measures | None:
        with self._lock:
            stamp, found = self._kept.get(path, ((), None))
            return found if found is not None and stamp == stamp_of(path) else None

    def _want(self, wanted: list[Path]) -> None:
        with self._lock:
            self._wanted = wanted  # who asked last looks at it now
            if self._worker is None or not self._worker.is_alive():
                self._worker = threading.Thread(target=self._work, name="measures of sessions", daemon=True)
                self._worker.start()

    def _work(self) -> None:
        while path := self._next():
            if self._known(path) is not None:
                continue
            stamp = stamp_of(path)
            found = _measure(path)
            with self._lock:
                self._kept[path] = stamp, found
                while len(self._kept) > _MOST_KEPT:
                    self._kept.popitem(last=False)
            time.sleep(_PAUSE_S)

    def _next(self) -> Path | None:
        with self._lock:
            if not self._wanted:
                self._worker = None  # under the lock: who wants something from now on starts another
                return None
            return self._wanted.pop(0)


def _measure(path: Path) -> Measures:
    from meterlog.trends import measured

    try:
        session = read(path)
        analysis = session.analysis
        return Measures(
            measured(path.name, session),
            Counter(event.kind for event in analysis.events),
            sum(finding.verdict == "outside" for finding in analysis.findings),
        )
    except Exception:  # one session must not keep the others from being shown; Review says what is wrong with it
        return Measures()
