"""Captures of the built-in framings are learned blind, from what the display showed alone, to the same readings."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.display.every_mode import nearest_shown
from tests.conftest import write_capture

MODES = (
    (Quantity.DC_VOLTAGE, -2, "V", 0, Flag.DC),
    (Quantity.DC_VOLTAGE, -3, "V", 0, Flag.DC),
    (Quantity.RESISTANCE, -1, "ohm", 0, Flag.NONE),
    (Quantity.RESISTANCE, 0, "kohm", 3, Flag.NONE),
)
NO_OVERLOAD = "chars16:x"
"""Has no way to say one."""
EACH = 20
"""Displays before the dial is turned."""


def shown_text(reading: Reading, unit: str, prefix: int) -> str:
    """Return what a person types of a display."""
    if math.isinf(reading.value):
        return f"OL {unit}"
    decimals = prefix - round(math.log10(reading.resolution))
    return f"{reading.value / 10**prefix:.{decimals}f} {unit}"


def displays(address: str, seed: int) -> list[tuple[float, bytes, Reading, str]]:
    """Times, frames, readings and typed texts of a meter whose dial is turned now and then."""
    rng = random.Random(seed)
    encoder = framing_of(address).encoder()
    found: list[tuple[float, bytes, Reading, str]] = []
    for stretch in range(14):
        quantity, exponent, unit, prefix, flags = MODES[stretch % len(MODES)]
        base = rng.randint(-3900 if quantity is Quantity.DC_VOLTAGE else 2, 3900)
        overload = quantity is Quantity.RESISTANCE and stretch % 4 == stretch % 3 and address != NO_OVERLOAD
        for _ in range(EACH):
            counts = base + rng.randint(-1, 1)
            value = math.inf if overload else float(f"{counts}e{exponent}")
            more = Flag.OVERLOAD if overload else Flag.NONE
            reading = nearest_shown(encoder, Reading(0.0, value, quantity, 10.0**exponent, flags | more))
            assert reading is not None
            found.append(
                (10.0 + 0.33 * len(found), encoder.encode([reading]), reading, shown_text(reading, unit, prefix))
            )
    return found


@pytest.mark.parametrize("address", ["status14:x", "segments14:x", "digits11:x", "chars16:x", "text:x"])
def test_a_framing_is_learned_blind_to_the_same_readings(address: str, tmp_path: Path) -> None:
    shows = displays(address, 5)
    typed, out = tmp_path / "shown.csv", tmp_path / "meter.toml"
    frames = ((time_s, frame) for time_s, frame, _, _ in shows)
    capture = write_capture(tmp_path / "a.raw", frames, "text:/dev/x?baud=2400")
    asked = shows[EACH // 2 :: EACH]
    typed.write_text("time_s,shown\n" + "".join(f"{time_s + 0.1:.2f},{text}\n" for time_s, _, _, text in asked))
    assert main(["meters", "--teach", str(capture), "--shown", str(typed), "--out", str(out)]) == 0
    kind = "text" if address.startswith("text") else "frames"
    decoder = framing_of(f"{kind}:x?profile={out}").decoder()
    for time_s, frame, reading, _ in shows:
        (got,) = decoder.feed(frame, time_s)
        assert (got.value, got.quantity) == (reading.value, reading.quantity)
