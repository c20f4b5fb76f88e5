"""Runs the tests as far as can be as on a Windows computer: `pytest -p tests.as_on_windows`.

For the project's own modules there is no `pty`, `tty`, `termios`, `fcntl`, `resource`, `grp` and no pseudo-terminal;
their `sys.platform` is `win32`, so that the branches for Windows run; `msvcrt` locks with what this system has. A test
that asks for what is not there is skipped with that reason. Processes that a test starts, and other libraries, see this
system: what only a Windows computer can show stays open.
"""

from __future__ import annotations

import builtins
import os
import signal
import subprocess
import sys
import types
from collections.abc import Callable, Generator
from typing import Any

import pytest

ABSENT = frozenset(("pty", "tty", "termios", "fcntl", "resource", "grp", "pwd", "curses"))
_OURS = ("meterlog", "tests")
_real_import: Callable[..., Any] = builtins.__import__


class NotOnWindows(ModuleNotFoundError):
    """Says that what a test asked for is on no Windows computer."""


class _System:
    """`sys` as on Windows, as far as we ask."""

    platform = "win32"

    @property
    def __dict__(self) -> dict[str, Any]:  # type: ignore[override] # what monkeypatch puts back it looks up here
        return vars(sys)

    def __getattr__(self, name: str) -> Any:
        return getattr(sys, name)

    def __setattr__(self, name: str, value: Any) -> None:
        if name == "platform":
            type(self).platform = value
        else:
            setattr(sys, name, value)

    def __delattr__(self, name: str) -> None:
        delattr(sys, name)


def _console() -> types.ModuleType:
    """`msvcrt`: locks of a byte, and a console on which nobody types."""
    import fcntl

    module: Any = types.ModuleType("msvcrt")
    module.LK_NBLCK, module.LK_UNLCK = 2, 0

    def locking(handle: int, mode: int, _count: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN if mode == module.LK_UNLCK else fcntl.LOCK_EX | fcntl.LOCK_NB)

    module.locking = locking
    module.kbhit = lambda: False
    module.getwch = lambda: ""
    console: types.ModuleType = module
    return console


_SYSTEM, _CONSOLE = _System(), _console()


def _import(name: str, *words: Any, **named: Any) -> Any:
    space = named.get("globals") or (words[0] if words else None) or {}
    asked_by = str(space.get("__name__", ""))
    if asked_by.startswith(_OURS) and asked_by != __name__:
        if name in ABSENT:
            raise NotOnWindows(f"there is no {name} on Windows")
        if name in ("sys", "msvcrt"):
            return _SYSTEM if name == "sys" else _CONSOLE
    return _real_import(name, *words, **named)


def _no_pseudo_terminal(*_: object) -> Any:
    raise NotOnWindows("there are no pseudo-terminals on Windows")


builtins.__import__ = _import
os.openpty = os.ttyname = _no_pseudo_terminal
for _module, _name, _value in (
    (subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
    (signal, "CTRL_BREAK_EVENT", signal.SIGINT),
):
    setattr(_module, _name, _value)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(call: pytest.CallInfo[None]) -> Generator[None, Any, Any]:
    """A test that needs what is not there is skipped."""
    report: Any = yield
    if call.excinfo is not None and isinstance(call.excinfo.value, NotOnWindows):
        report.outcome = "skipped"
        report.longrepr = (str(report.fspath), 0, f"Skipped: {call.excinfo.value}")
    return report
