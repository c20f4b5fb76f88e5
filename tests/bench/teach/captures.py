"""Learns captures of the built-in drivers blind: `python -m tests.bench.teach.captures [SEED [FOLDER]]`.

Ten captures of each are recorded from emulated meters on pseudo-terminals. Twenty of its displays at the most are typed
into a file for --shown, every second one a display late. `meterlog meters --teach` is told nothing of the driver. Then
the profile that it wrote decodes the whole capture, and each reading is held against what the driver reads. With a
FOLDER the captures are kept, and those that it holds are learned again.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from meterlog.driver.framing import framing_of
from meterlog.reading import Flag, Reading
from meterlog.transports.raw_capture import read_raw_capture
from tests.bench.results import printed
from tests.bench.teach.recorded import DRIVERS, METERLOG, Capture, record_all

MOST_SHOWN, SEED = 20, 1
WORDS = {Flag.HOLD: "hold", Flag.LOW_BATTERY: "bat"}
"""Symbols that a person types behind the number."""


class Judged(NamedTuple):
    """Counts the readings of a capture: sent, read the same, and read differently; `said` is why none was read."""

    driver: str
    scenario: str
    sent: int
    same: int
    different: int
    said: str

    @property
    def whole(self) -> bool:
        """True where every reading came out, and no other."""
        return self.same == self.sent and not self.different


def typed(reading: Reading) -> str:
    """A display as a person types it: one to three decimals; lines of text do not say the range of an overload."""
    if math.isnan(reading.resolution):
        return f"OL {reading.quantity.unit}"
    exponent = round(math.log10(reading.resolution))
    prefix = min(p for p in (-6, -3, 0, 3, 6) if p - exponent >= 1)
    unit = {-6: "u", -3: "m", 0: "", 3: "k", 6: "M"}[prefix] + reading.quantity.unit
    number = "OL" if math.isinf(reading.value) else f"{reading.value / 10**prefix:.{prefix - exponent}f}"
    words = [number, unit, *(word for flag, word in WORDS.items() if reading.flags & flag)]
    return " ".join(words)


def shown_rows(sent: Sequence[Reading]) -> list[str]:
    """Rows of displays of every range and sign in turn, with digits that were not shown before where there are any.

    So does a person who is asked; every second one is typed a display late.
    """
    kinds: dict[object, list[int]] = defaultdict(list)
    for n, one in enumerate(sent[:-1]):
        kinds[one.quantity, one.resolution, math.isinf(one.value), one.value < 0, one.flags & sum(WORDS)].append(n)
    left = [_spread(places) for places in kinds.values()]
    chosen: list[int] = []
    seen: set[tuple[int, str]] = set()
    while any(left) and len(chosen) < MOST_SHOWN:
        for own in filter(None, left):
            best = max(own, key=lambda n: len(_digits(sent[n]) - seen))
            own.remove(best)
            seen |= _digits(sent[best])
            chosen.append(best)
    chosen = sorted(chosen[:MOST_SHOWN])
    return [f"{sent[n + (k % 2)].time_s + 0.002:.4f},{typed(sent[n])}" for k, n in enumerate(chosen)]


def _digits(reading: Reading) -> set[tuple[int, str]]:
    """The digits of a display, each with its place from the right."""
    return set(enumerate(c for c in reversed(typed(reading)) if c.isdigit()))


def _spread(places: Sequence[int]) -> list[int]:
    """Places in an order whose beginnings are spread over all of them: the middle, the quarters, the eighths."""
    found: dict[int, None] = {}
    parts = 2
    while len(found) < len(places):
        found.update(dict.fromkeys(places[(2 * n + 1) * len(places) // parts] for n in range(parts // 2)))
        parts *= 2
    return list(found)


def judged(capture: Capture, folder: Path) -> Judged:
    """Learn a capture, and compare what is read of it then."""
    raw = read_raw_capture(capture.raw)
    driver = framing_of(capture.address).decoder()
    sent = [reading for chunk in raw.chunks for reading in driver.feed(chunk.data, chunk.arrival_s)]
    shown, out = folder / "shown.csv", folder / "meter.toml"
    shown.write_text("\n".join(["time_s,shown", *shown_rows(sent), ""]))
    out.unlink(missing_ok=True)
    words = [METERLOG, "meters", "--teach", str(capture.raw), "--shown", str(shown), "--out", str(out)]
    told = subprocess.run(words, capture_output=True, text=True, check=False)
    if told.returncode:
        return Judged(capture.driver, capture.scenario, len(sent), 0, 0, told.stderr.strip())
    kind = "text" if 'kind = "text"' in out.read_text() else "frames"
    decoder = framing_of(f"{kind}:x?profile={out}").decoder()
    readings = [got for chunk in raw.chunks for got in decoder.feed(chunk.data, chunk.arrival_s)]
    at = {(one.time_s, one.value, one.quantity, one.flags & sum(WORDS)) for one in sent}
    same = sum((got.time_s, got.value, got.quantity, got.flags & sum(WORDS)) in at for got in readings)
    return Judged(capture.driver, capture.scenario, len(sent), same, len(readings) - same, "")


def main() -> int:
    """Run the bench."""
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else SEED
    with tempfile.TemporaryDirectory() as name:
        captures = record_all(Path(sys.argv[2] if len(sys.argv) > 2 else name), seed)
        results = [judged(capture, Path(name)) for capture in captures]
    print("| driver | captures | learned whole | in part | refused | readings sent | read the same | differently |")
    print("|---|---|---|---|---|---|---|---|")
    for driver in DRIVERS:
        own = [one for one in results if one.driver == driver]
        whole, refused = sum(one.whole for one in own), sum(bool(one.said) for one in own)
        counts = len(own), whole, len(own) - whole - refused, refused
        readings = sum(one.sent for one in own), sum(one.same for one in own), sum(one.different for one in own)
        print(f"| `{driver}` | {' | '.join(map(str, (*counts, *readings)))} |")
    print("\nNot learned whole:\n")
    for one in results:
        if not one.whole:
            print(f"- `{one.driver}`, {one.scenario}: {one.same} of {one.sent} readings. {one.said}".rstrip())
    return 0


if __name__ == "__main__":
    with printed("Teaching from captures", markdown=True):
        main()
