"""Single key presses from a terminal, without waiting for Enter; the terminal is always put back as it was."""

from __future__ import annotations

import os
import sys
from types import TracebackType
from typing import Self

if sys.platform == "win32":
    import msvcrt

    class Keys:
        """The keys of the console."""

        @staticmethod
        def usable() -> bool:
            """Tell whether there is a console to read keys from."""
            return sys.stdin is not None and sys.stdin.isatty()

        def __enter__(self) -> Self:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def pressed(self) -> str:
            """Return the characters typed since the last call."""
            typed = ""
            while msvcrt.kbhit():
                key = msvcrt.getwch()
                if key in "\x00\xe0":
                    msvcrt.getwch()  # the second half of a function key
                else:
                    typed += key
            return typed
else:
    import select
    import termios
    import tty

    class Keys:
        """The keys of the terminal on standard input."""

        def __init__(self) -> None:
            """Changes nothing yet."""
            self._terminal = sys.stdin.fileno()

        @staticmethod
        def usable() -> bool:
            """Tell whether there is a terminal to read keys from, with us in its foreground."""
            try:
                terminal = sys.stdin.fileno()
                return os.isatty(terminal) and os.tcgetpgrp(terminal) == os.getpgrp()
            except (AttributeError, OSError, ValueError):  # closed, or no terminal of ours
                return False

        def __enter__(self) -> Self:
            self._before = termios.tcgetattr(self._terminal)
            tty.setcbreak(self._terminal)  # Ctrl-C still interrupts
            return self

        def __exit__(self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None) -> None:
            try:
                termios.tcsetattr(self._terminal, termios.TCSADRAIN, self._before)
            except termios.error:
                pass  # the terminal is gone

        def pressed(self) -> str:
            """Return the characters typed since the last call, without arrow and function keys."""
            try:
                if not select.select([self._terminal], [], [], 0)[0]:
                    return ""
                typed = os.read(self._terminal, 256).decode(errors="ignore")
            except OSError:
                return ""
            return "" if typed.startswith("\x1b") and len(typed) > 1 else typed
