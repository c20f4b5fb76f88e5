"""Records emulated meters on real ports: `meterlog record --raw` reads what `meterlog emulate` sends."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

METERLOG = str(Path(sys.executable).with_name("meterlog"))
DRIVERS = ("status14", "segments14", "digits11", "digits14", "chars16", "five11", "bcd17", "text")
"""All whose frames the emulator sends without a profile or a query."""
SCENARIOS = (
    "van",
    "van without ohms",
    "van without amperes",
    "healthy-prime",
    "autoranging",
    "healthy-crank",
    "overcharging",
    "intermittent-feed",
    "meter-trouble",
    "wiggle-step",
    "parasitic-draw",
    "relay-chatter",
    "prime-while-cranking",
)
EACH = 10
"""Captures of a driver: the first scenarios that it can show, one of the van alone."""
SPEED = "2"
_VOLTS, _AMPERES = ("plug_feed to plug_ground, crank", 8.0), ("amps fuse, run", 10.0)
_OHMS, _BATTERY = ("ohms plug_ground to body", 8.0), ("battery_plus to body, off", 4.0)
VAN_LINES = {
    "van": (_VOLTS, _AMPERES, _OHMS, _BATTERY),
    "van without ohms": (_VOLTS, _AMPERES, _BATTERY),
    "van without amperes": (_VOLTS, _OHMS, _BATTERY),
}
"""Where the probes go, and how long they stay there, s: the dial is turned each time."""
OPENS_S, ENDS_S = 30.0, 0.5
"""The longest wait for a first byte, and the wait for the last ones, s."""


class Capture(NamedTuple):
    """Holds raw bytes, and the address of the driver that sent them."""

    driver: str
    scenario: str
    address: str
    raw: Path


def record_all(folder: Path, seed: int) -> list[Capture]:
    """Record the captures of all drivers, as many at a time as there are drivers; those that are there stay."""
    with ThreadPoolExecutor(len(DRIVERS)) as pool:
        each = pool.map(lambda driver: _of_driver(driver, folder, seed), DRIVERS)
        return [capture for captures in each for capture in captures]


def _of_driver(driver: str, folder: Path, seed: int) -> list[Capture]:
    found: list[Capture] = []
    for n, scenario in enumerate(SCENARIOS):
        own = folder / f"{driver}-{scenario}"
        again = scenario in VAN_LINES and found
        if len(found) < EACH and not again and (address := _recorded(driver, scenario, seed + n, own)):
            found.append(Capture(driver, scenario, address, own / "a.meter1.raw"))
    return found


def _recorded(driver: str, scenario: str, seed: int, folder: Path) -> str:
    """Record one lap; the address of its driver, empty where that driver cannot show it."""
    note = folder / "address.txt"
    if note.exists():
        return note.read_text()
    folder.mkdir(parents=True, exist_ok=True)
    lines = VAN_LINES.get(scenario, ())
    emulate = [METERLOG, "emulate", scenario.split()[0], "--driver", driver, "--speed", SPEED, "--seed", str(seed)]
    emulate += ["--fault", "none"] if lines else ["--once"]
    pipe = subprocess.PIPE
    with subprocess.Popen(emulate, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, text=True) as emulator:
        assert emulator.stdin is not None
        assert emulator.stdout is not None
        emulator.stdout.readline()
        words = re.search(r'--meter "?([^"\s]+)', emulator.stdout.readline() + emulator.stdout.readline())
        if words is None:
            return ""
        record = [METERLOG, "record", "--raw", "--meter", words[1], "--out", str(folder / "a.sqlite"), "--quiet"]
        with subprocess.Popen(record, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as recorder:
            if lines:
                _await_bytes(folder / "a.meter1.raw")
            for line, stays_s in lines:
                if emulator.poll() is None:
                    emulator.stdin.write(f"{line}\n")
                    emulator.stdin.flush()
                    time.sleep(stays_s)
            shown = emulator.poll() is None if lines else emulator.wait(120) == 0
            emulator.terminate()
            time.sleep(ENDS_S)
            recorder.terminate()
    if not shown:
        return ""
    note.write_text(words[1])
    return words[1]


def _await_bytes(raw: Path) -> None:
    end_s = time.monotonic() + OPENS_S
    while time.monotonic() < end_s and not (raw.exists() and not raw.read_text().splitlines()[-1].startswith("#")):
        time.sleep(0.1)
