"""Checks that what is missing on a computer skips a test there, and fails it on CI."""

from __future__ import annotations

from collections.abc import Callable

import pytest


def test_what_is_there_is_fine(need: Callable[[object, str], None]) -> None:
    need("/usr/bin/dbus-daemon", "no dbus-daemon")


def test_what_is_missing_skips_with_its_reason(
    need: Callable[[object, str], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="no dbus-daemon"):
        need(None, "no dbus-daemon")


def test_what_is_missing_fails_on_ci(need: Callable[[object, str], None], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="missing on CI: no dbus-daemon"):
        need(None, "no dbus-daemon")
