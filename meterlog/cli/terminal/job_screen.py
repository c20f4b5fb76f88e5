"""Shows a step of a job on a terminal while it waits: lines that stay, and below them one that lives."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable

from rich.console import Console
from rich.live import Live
from rich.text import Text

from meterlog.cli.terminal.keys import Keys
from meterlog.cli.terminal.output_streams import FAILED, STILL_WAITING, LastingOutput, PlainOutput, Tone, ring
from meterlog.cli.terminal.readout import readout
from meterlog.cli.terminal.step_keys import HELP, LAMP_HELP, Answer, StepKeys
from meterlog.cli.terminal.wrap import wrapped_at
from meterlog.job.taking import Said, Wish
from meterlog.reading import Reading
from meterlog.text.safe import one_line

_LOOK_S = 0.1
"""Time between two looks at the keys where no meter is watched, s: a person feels no delay (a guess)."""
_REFRESH_S = 0.3
"""Time between two pictures of a reading, s: a person reads no faster (a guess)."""
_STYLE = {"slip": "bold red", "waiting": "yellow", "ready": "bold green", "right": "green"}


class JobScreen:
    """Draws with rich, and reads the keys; an `Attendant`.

    Attributes:
        answer: what the person wanted last; None while the step may go on.
    """

    def __init__(self, keys: Keys, terminal_columns: Callable[[], int] | None = None) -> None:
        """Draw from now on, with keys that are read already."""
        terminal = sys.stdout.raw if isinstance(sys.stdout, PlainOutput | LastingOutput) else sys.stdout
        self._console = Console(file=terminal, highlight=False)
        self._columns = terminal_columns or (lambda: self._console.width)
        self._keys, self._step_keys = keys, StepKeys()
        self._live = Live(console=self._console, auto_refresh=False, transient=True)
        self._live.start()
        self._drawn_s = 0.0
        self._reading = ""
        self.answer: Answer | None = None

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows of the terminal."""
        return self._columns(), self._console.height

    def close(self) -> None:
        """Take the living line away and put the terminal back."""
        self.clear()
        self._live.stop()

    def clear(self) -> None:
        """Empty the living line, before what follows is shown above it."""
        self._reading = ""
        self._draw_text(Text(""), now=True)

    def say(self, lines: Iterable[str], style: str = "", tone: Tone | None = None) -> None:
        """Print lines that stay, broken at words."""
        for line in lines:
            self._console.print(Text(wrapped_at(one_line(line), self._columns()), style))
        if tone is not None:
            ring(tone)

    def shown(self, reading: Reading) -> None:
        """See `Attendant`."""
        self._reading = readout(reading)
        self._draw()

    def said(self, kind: Said, text: str) -> None:
        """See `Attendant`."""
        tone = FAILED if kind == "slip" else STILL_WAITING if kind == "waiting" else None
        self.say([text], _STYLE[kind], tone)

    def wish(self) -> Wish:
        """See `Attendant`."""
        self.look()
        if self.answer is None:
            return ""
        return "take" if self.answer.kind == "take" else "leave"

    def look(self) -> Answer | None:
        """Look at the keys once."""
        typed = self._keys.pressed()
        self.answer = self._step_keys.take(typed) if typed else None
        if self._step_keys.help:
            self._step_keys.help = False
            self.say(HELP, "dim")
        self._draw(bool(typed))
        return self.answer

    def ask(self, *, lamp: bool = False) -> Answer:
        """Wait for an answer without a meter; of a lamp, by one key."""
        self._reading, self._step_keys.lamp = "", lamp
        while (answer := self.look()) is None:
            time.sleep(_LOOK_S)
        return answer

    def choose(self, keys: str, prompt: str) -> str:
        """Wait for one of some keys."""
        while True:
            pressed = next((key for key in self._keys.pressed().lower() if key in keys), "")
            if pressed:
                self.clear()
                return pressed
            self._draw_text(Text(prompt, "bold"), now=False)
            time.sleep(_LOOK_S)

    def _draw(self, now: bool = False) -> None:
        keys = self._step_keys
        if keys.text is not None:
            self._draw_text(Text(f"reading: {keys.text}_  (Enter, Esc)", "bold"), now=now)
        elif keys.lamp:
            self._draw_text(Text(LAMP_HELP, "bold"), now=now)
        else:
            line = Text(f"{self._reading:12} ", "bold")
            self._draw_text(line.append("? keys  q end" if self._reading else "t type  ? keys  q end", "dim"), now=now)

    def _draw_text(self, text: Text, *, now: bool) -> None:
        now_s = time.monotonic()
        if not now and now_s - self._drawn_s < _REFRESH_S:
            return
        self._drawn_s = now_s
        text.no_wrap, text.overflow = True, "crop"
        self._live.update(text, refresh=True)
