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
"""In this order. `wiggle-open` is not among them: it shows four different displays, which was refused with every driver
that was tried."""
EACH = 10
"""Captures of a driver: the first scenarios that it can show, one of the van alone."""
SPEED = 2.0
_VOLTS, _AMPERES = ("plug_feed to plug_ground, crank", 8.0), ("amps fuse, run", 10.0)
_OHMS, _BATTERY = ("ohms plug_ground to body", 8.0), ("battery_plus to body, off", 4.0)
VAN_LINES = {
    "van": (_VOLTS, _AMPERES, _OHMS, _BATTERY),
    "van without ohms": (_VOLTS, _AMPERES, _BATTERY),
    "van without amperes": (_VOLTS, _OHMS, _BATTERY),
}
"""Where the probes go, and how long they stay there, s: the dial is turned each time."""
OPENS_S = 60.0
"""The longest wait for a first byte, s."""


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
    """Record one lap; the address of its driver, empty where that driver cannot show it.

    The recorder ends before its meter: it would open the port again, which may be another meter's by then.
    """
    note = folder / "address.txt"
    if note.exists():
        return note.read_text()
    folder.mkdir(parents=True, exist_ok=True)
    emulate = [METERLOG, "emulate", scenario.split()[0], "--driver", driver, "--speed", str(SPEED), "--seed", str(seed)]
    emulate += ["--fault", "none"] if scenario in VAN_LINES else []
    pipe = subprocess.PIPE
    with subprocess.Popen(emulate, stdin=pipe, stdout=pipe, stderr=subprocess.DEVNULL, text=True) as emulator:
        assert emulator.stdin is not None
        assert emulator.stdout is not None
        said = [emulator.stdout.readline() for _ in range(4 if scenario not in VAN_LINES else 2)]
        words = re.search(r'--meter "?([^"\s]+)', "".join(said))
        if words is None:
            return ""
        lap = re.search(r"takes ([\d.]+) s", said[-1])
        lines = VAN_LINES.get(scenario, (("", float(lap[1]) if lap else 0.0),))
        record = [METERLOG, "record", "--raw", "--meter", words[1], "--out", str(folder / "a.sqlite"), "--quiet"]
        with subprocess.Popen(record, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as recorder:
            try:
                _await_bytes(folder / "a.meter1.raw")
                for line, stays_s in lines:
                    if line and emulator.poll() is None:
                        emulator.stdin.write(f"{line}\n")
                        emulator.stdin.flush()
                    time.sleep(stays_s if emulator.poll() is None else 0.0)
            finally:
                recorder.terminate()
                shown = emulator.poll() is None
                emulator.terminate()
    address = words[1] if shown else ""
    note.write_text(address)
    return address


def _await_bytes(raw: Path) -> None:
    """Wait until the meter has sent something.

    Raises:
        TimeoutError: nothing came.
    """
    end_s = time.monotonic() + OPENS_S
    while not (raw.exists() and not raw.read_text().splitlines()[-1].startswith("#")):
        if time.monotonic() > end_s:
            raise TimeoutError(f"nothing came into {raw}")
        time.sleep(0.1)
