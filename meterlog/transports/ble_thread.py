"""The one thread of the process on which everything of Bluetooth runs, since bleak wants one event loop for all."""

from __future__ import annotations

import asyncio
import atexit
import concurrent.futures
import threading
from collections.abc import Coroutine
from typing import Any, TypeVar

from meterlog.errors import LinkLost

_T = TypeVar("_T")


_END_S = 3.0
"""Time the program waits at its end for peripherals to be let go, s; a choice."""


class _BluetoothThread:
    """An event loop in a thread; ends with the program, and then every open link is disconnected."""

    def __init__(self) -> None:
        self._ready = threading.Event()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._serve()), name="bluetooth", daemon=True)
        self._thread.start()
        self._ready.wait()
        atexit.register(self._end)

    async def _serve(self) -> None:
        self.loop = asyncio.get_running_loop()
        self._over = asyncio.Event()
        self._ready.set()
        await self._over.wait()  # asyncio.run then cancels what is left, at which bleak disconnects its peripherals

    def _end(self) -> None:
        self.loop.call_soon_threadsafe(self._over.set)
        self._thread.join(_END_S)


_lock = threading.Lock()
_thread: _BluetoothThread | None = None


def start(work: Coroutine[Any, Any, _T]) -> concurrent.futures.Future[_T]:
    """Begin work on the Bluetooth thread."""
    global _thread
    with _lock:
        if _thread is None:
            _thread = _BluetoothThread()
    return asyncio.run_coroutine_threadsafe(work, _thread.loop)


def run(work: Coroutine[Any, Any, _T], timeout_s: float | None = None) -> _T:
    """Do work on the Bluetooth thread and wait for what it gives.

    Args:
        work: what to do.
        timeout_s: how long to wait, s; without end when None (the work has timeouts of its own).

    Raises:
        TimeoutError: it is not done in time; it goes on.
        LinkLost: the program ended meanwhile.
    """
    future = start(work)
    try:
        return future.result(timeout_s)
    except (KeyboardInterrupt, SystemExit):
        future.cancel()
        raise
    except concurrent.futures.CancelledError:
        raise LinkLost("Bluetooth ended with the program", "Bluetooth") from None
