"""Holds what the driver tests share: each framing in turn, and every reading it can show."""

from __future__ import annotations

import pytest

from meterlog.driver.framing import Framing, framing_of
from meterlog.reading import Reading
from meterlog_drivers.display.every_mode import every_mode

FRAMINGS = (
    "status14:x",
    "segments14:x",
    "digits11:x?status=judge-first&amperes=0x3F",
    "digits11:x?status=sign-first&amperes=0x30",
    "digits14:x",
    "chars16:x",
    "text:x",
    "text:x?profile=columns",
    "text:x?profile=semicolons",
    "text:x?profile=decimal-comma",
)


@pytest.fixture(scope="session", params=FRAMINGS)
def framing(request: pytest.FixtureRequest) -> Framing:
    """Each framing in turn."""
    return framing_of(request.param)


@pytest.fixture(scope="session")
def shown(framing: Framing) -> list[Reading]:
    """Every reading that the framing can show."""
    return list(every_mode(framing.encoder()))
