"""Holds what the driver tests share: each framing in turn, and every reading it can show."""

from __future__ import annotations

import pytest

from meterlog.driver.framing import Framing, framing_of
from meterlog.reading import Reading
from meterlog_drivers.display.every_mode import every_mode


def told_five11() -> str:
    """Tell of each range of each function of `five11` what one count is, with its sign and overload: made up."""
    ranges = {
        "1": ("0.1mV", "1mV", "10mV", "0.1V"),
        "2": ("0.1mV", "1mV", "10mV"),
        "4": ("0.01ohm", "0.1ohm", "1ohm", "10ohm", "100ohm", "1kohm"),
        "5": ("1pF", "10pF", "0.1nF", "1nF"),
        "8": ("1uA", "10uA"),
        "9": ("1mA",),
        "C": ("0.1Hz", "1Hz", "10Hz"),
    }
    told = []
    for function, counts in ranges.items():
        for code, count in enumerate(counts):
            more = " dc" if function in "89" else ""
            told += [f"{code}{function}00:{count}{more}", f"{code}{function}80:{count} overload{more}"]
            told += [f"{code}{function}40:{count} minus{more}"] if function in "1289" else []
    return "five11:x?told=" + ",".join(told).replace(" ", "+")


TOLD_BCD17 = "told=00:none,01:m,02:k"
"""Says what byte 13 of `bcd17` says, made up."""

FRAMINGS = (
    "status14:x",
    "segments14:x",
    "digits11:x?status=judge-first&amperes=0x3F",
    "digits11:x?status=sign-first&amperes=0x30",
    "digits14:x",
    "chars16:x",
    told_five11(),
    f"bcd17:x?{TOLD_BCD17}",
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
