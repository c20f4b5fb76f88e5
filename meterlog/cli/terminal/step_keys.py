"""The keys while a job's step waits: take what stands, type a reading, a lamp, cannot reach, repeat, the end.

No key has to be pressed between clipping on and the result; these are for what a meter cannot say.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from meterlog.circuit.model.bulb import BRIGHTNESS
from meterlog.cli.terminal.typed_line import END_OF_INPUT, ENTER, edited, ends

Kind = Literal["take", "typed", "skip", "repeat", "end"]

CANNOT_REACH, NOT_HERE = "cannot reach", "not on this car"
_SKIPS = {"c": CANNOT_REACH, "n": NOT_HERE}
_LAMPS = {"b": "bright", "d": "dim", "g": "glowing", "k": "dark"}
assert set(_LAMPS.values()) == set(BRIGHTNESS)
CHOICES = "123456789abcdefghijklmnoprstuvwxyz"
"""One key for each answer there is to choose from; `q` ends."""
HELP = (
    "Enter takes what stands",
    "t  type it (a figure begins it too)",
    "l  a lamp's brightness",
    "c  cannot reach    n  not on this car",
    "r  repeat          q  end",
)
LAMP_HELP = "b bright  d dim  g glowing  k dark  ?"
"""As wide as a small screen: `?` lists the other keys."""


class Answer(NamedTuple):
    """Holds what a person wants of the step.

    Attributes:
        kind: what.
        text: the reading as typed, or why it is skipped.
    """

    kind: Kind
    text: str = ""


class StepKeys:
    """Turns typed characters into an answer to a step that waits.

    Attributes:
        text: what is being typed; None while nothing is.
        lamp: a lamp's brightness is being asked for.
        help: the keys are to be listed; whoever lists them puts it back.
    """

    def __init__(self) -> None:
        self.text: str | None = None
        self.lamp = self.help = False

    def take(self, typed: str) -> Answer | None:
        """Act on what was typed; the first answer in it, and the rest is dropped."""
        for key in typed:
            answer = self._write(key) if self.text is not None else self._press(key)
            if answer is not None:
                self.text, self.lamp = None, False
                return answer
        return None

    def _press(self, key: str) -> Answer | None:
        low = key.lower()
        if self.lamp and low in _LAMPS:
            return Answer("typed", f"lamp {_LAMPS[low]}")
        self.lamp = False
        if key in ENTER:
            return Answer("take")
        if key.isdecimal() or key in "-.,":
            self.text = key
        elif low == "t":
            self.text = ""
        elif low in _SKIPS:
            return Answer("skip", _SKIPS[low])
        elif low == "r":
            return Answer("repeat")
        elif low == "q" or key == END_OF_INPUT:
            return Answer("end")
        self.lamp, self.help = low == "l", low == "?"
        return None

    def _write(self, key: str) -> Answer | None:
        assert self.text is not None
        if not ends(key):
            self.text = edited(self.text, key)
            return None
        text, self.text = self.text.strip(), None
        return Answer("typed", text) if text else None
