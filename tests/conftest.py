"""Fixtures that more than one folder of tests uses."""

from __future__ import annotations

import os
from collections.abc import Callable

import pytest


@pytest.fixture(scope="session")
def need() -> Callable[[object, str], None]:
    """Skip a test, with the reason, where something of the computer is missing; on CI that is a failure instead."""

    def check(there: object, reason: str) -> None:
        if there:
            return
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(f"missing on CI: {reason}")
        pytest.skip(reason)

    return check
