"""A button sets markers: any key of an input device of Linux, as keyboards, Bluetooth clickers and GPIO keys are."""

from __future__ import annotations

import os
import select
import struct
import threading
from collections.abc import Callable
from typing import Self

from meterlog.errors import LinkAbsent, LinkForbidden

_EVENT = struct.Struct("llHHi")
"""struct input_event of linux/input.h: seconds, microseconds, type, code, value."""
_KEY, _PRESSED = 1, 1
"""EV_KEY, and the value of a press (0 is a release, 2 a repetition), of linux/input-event-codes.h."""
_LOOK_S = 0.2
"""Longest wait before the end is noticed, s (a guess)."""


class Button:
    """Reads an input device in a thread of its own, and calls at each press.

    Attributes:
        pressed: called at each press; nothing is while it is None.
    """

    def __init__(self, device: str) -> None:
        """Open it, and begin.

        Raises:
            LinkAbsent: there is no such device.
            LinkForbidden: the system does not let this user read it.
        """
        try:
            self._file = os.open(device, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        except PermissionError as error:
            raise LinkForbidden(f"the button {device} may not be read: join the group 'input'", device) from error
        except OSError as error:
            raise LinkAbsent(f"there is no button {device}: {error.strerror}", device) from error
        self.pressed: Callable[[], None] | None = None
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"button {device}", daemon=True)
        self._thread.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """End."""
        self._over.set()
        self._thread.join()
        os.close(self._file)

    def _run(self) -> None:
        rest = b""
        while not self._over.is_set():
            if not select.select([self._file], [], [], _LOOK_S)[0]:
                continue
            try:
                data = os.read(self._file, 64 * _EVENT.size)
            except OSError:  # it was unplugged
                return
            if not data:
                self._over.wait(_LOOK_S)
            rest += data
            while len(rest) >= _EVENT.size:
                _, _, kind, _, value = _EVENT.unpack_from(rest)
                rest = rest[_EVENT.size :]
                if (kind, value) == (_KEY, _PRESSED) and self.pressed is not None:
                    self.pressed()
