"""Learns captures of the built-in drivers blind: `python -m tests.bench.teach.captures`.

Each capture is recorded from a real `meterlog emulate` by a real `meterlog record --raw`. Twenty of its displays at the
most are typed into a file for --shown, every second one a display late. `meterlog meters --teach` is told nothing of
the driver. Then the profile that it wrote decodes the whole capture, and each reading is held against what was sent.
"""

from __future__ import annotations

import csv
import math
import subprocess
import sys
import tempfile
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

from meterlog.driver.framing import framing_of
from meterlog.reading import Quantity
from meterlog.transports.raw_capture import read_raw_capture
from tests.bench.results import printed

METERLOG = str(Path(sys.executable).with_name("meterlog"))
CAPTURES = [
    (driver, scenario)
    for driver in ("status14", "segments14", "digits11", "digits14", "chars16", "text")
    for scenario in ("healthy-prime", "healthy-crank", "intermittent-feed")
]
SPEED, MOST_SHOWN = "5", 20


class Sent(NamedTuple):
    """Holds what the emulator says it showed."""

    time_s: float
    value: float
    quantity: Quantity
    resolution: float

    @property
    def typed(self) -> str:
        """As a person types it: one to three decimals."""
        exponent = round(math.log10(self.resolution))
        prefix = min(p for p in (-6, -3, 0, 3, 6) if p - exponent >= 1)
        unit = {-6: "u", -3: "m", 0: "", 3: "k", 6: "M"}[prefix] + self.quantity.unit
        number = "OL" if math.isinf(self.value) else f"{self.value / 10**prefix:.{prefix - exponent}f}"
        return f"{number} {unit}{' AC' if self.quantity.startswith('ac') else ''}"


def record(driver: str, scenario: str, folder: Path) -> tuple[Path, list[Sent]]:
    """Record one lap of an emulated meter."""
    sent, out = folder / "sent.csv", folder / "a.sqlite"
    emulate = [METERLOG, "emulate", scenario, "--driver", driver, "--speed", SPEED, "--once", "--shown", str(sent)]
    with subprocess.Popen(emulate, stdout=subprocess.PIPE, text=True) as emulator:
        assert emulator.stdout is not None
        port = emulator.stdout.readline().strip()
        words = [METERLOG, "record", "--raw", "--meter", f"{driver}:{port}", "--out", str(out), "--plain", "--quiet"]
        with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as recorder:
            emulator.wait(120)
            recorder.terminate()
    with sent.open() as file:
        rows = [
            Sent(float(row["time_s"]), float(row["value"]), Quantity(row["quantity"]), float(row["resolution"]))
            for row in csv.DictReader(file)
        ]
    return folder / "a.meter1.raw", rows


def typed_rows(sent: list[Sent], first_s: float) -> list[str]:
    """Displays of every range and sign, every second one typed a display late."""
    kinds: dict[object, list[int]] = defaultdict(list)
    for n, one in enumerate(sent[1:-1], 1):
        kinds[one.quantity, one.resolution, math.isinf(one.value), one.value < 0].append(n)
    each = MOST_SHOWN // len(kinds)
    chosen = sorted({places[(2 * k + 1) * len(places) // (2 * each)] for places in kinds.values() for k in range(each)})
    shift_s = first_s - sent[0].time_s
    return [f"{sent[n + (k % 2)].time_s + shift_s + 0.002:.4f},{sent[n].typed}" for k, n in enumerate(chosen)]


def judged(driver: str, scenario: str) -> tuple[int, int, int, str]:
    """Return how many readings were sent, come out the same, and come out different; and what the command said."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        capture, sent = record(driver, scenario, folder)
        raw = read_raw_capture(capture)
        shown, out = folder / "shown.csv", folder / "meter.toml"
        rows = typed_rows(sent, raw.chunks[0].arrival_s)
        shown.write_text("\n".join(["time_s,shown", *rows, ""]))
        words = [METERLOG, "meters", "--teach", str(capture), "--shown", str(shown), "--out", str(out)]
        told = subprocess.run(words, capture_output=True, text=True, check=False)
        if told.returncode:
            return len(sent), 0, 0, told.stderr.strip()
        kind = "text" if 'kind = "text"' in out.read_text() else "frames"
        decoder = framing_of(f"{kind}:x?profile={out}").decoder()
        readings = [got for chunk in raw.chunks for got in decoder.feed(chunk.data, chunk.arrival_s)]
        same, after = 0, 0
        for got in readings:  # in order: what was not read is passed over, what was read must be among what was sent
            alike = (n for n in range(after, len(sent)) if sent[n][1:3] == (got.value, got.quantity))
            if (found := next(alike, None)) is not None:
                same, after = same + 1, found + 1
        different = len(readings) - same
        return len(sent), same, different, f"{len(rows)} shown"


def main() -> int:
    """Run the bench."""
    print("| driver | scenario | readings sent | read the same | read differently | |\n|---|---|---|---|---|---|")
    for driver, scenario in CAPTURES:
        sent, same, different, said = judged(driver, scenario)
        print(f"| `{driver}` | `{scenario}` | {sent} | {same} | {different} | {said} |", flush=True)
    return 0


if __name__ == "__main__":
    with printed("Teaching from captures", markdown=True):
        main()
