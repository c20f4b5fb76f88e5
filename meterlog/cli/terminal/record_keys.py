"""The keys while recording: markers by one key, a marker with text, what was seen, the end."""

from __future__ import annotations

from collections.abc import Callable

from meterlog.cli.terminal.typed_line import edited, ends

MARKER_KEYS = {"k": "key-on", "c": "crank", "w": "wiggle", "o": "key-off"}
HELP = "k key-on   c crank   w wiggle   o key-off   m marker with text   s seen   q end"


class RecordKeys:
    """Turns typed characters into markers.

    Attributes:
        text: the marker text that is being typed; None while none is.
        ended: whether the end was asked for.
    """

    def __init__(
        self, mark: Callable[[str, float], None], clock: Callable[[], float], seen: Callable[[], None]
    ) -> None:
        """Set markers with `mark(name, time_s)`; a text marker has the time when its typing began. `seen()` is called
        where the person has looked at what happened."""
        self.text: str | None = None
        self.ended = False
        self._mark, self._clock, self._seen = mark, clock, seen
        self._began_s = 0.0

    def take(self, typed: str) -> None:
        """Act on what was typed."""
        for key in typed:
            if self.text is not None:
                self._write(key)
            elif key.lower() in MARKER_KEYS:
                self._mark(MARKER_KEYS[key.lower()], self._clock())
            elif key.lower() == "m":
                self.text, self._began_s = "", self._clock()
            elif key.lower() == "s":
                self._seen()
            elif key.lower() == "q":
                self.ended = True

    def _write(self, key: str) -> None:
        assert self.text is not None
        if not ends(key):
            self.text = edited(self.text, key)
            return
        if self.text.strip():
            self._mark(self.text.strip(), self._began_s)
        self.text = None
