"""Displays that never stand still, half of them typed a display late: no moment has its frame for sure."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from pathlib import Path

import pytest

from meterlog.driver.framing import framing_of
from meterlog.reading import Flag, Quantity, Reading
from meterlog.transports import Chunk
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.teacher import teach

EVERY_S = 0.3


def volts(counts: int) -> Reading:
    """A display of volts with two decimals."""
    return Reading(0.0, counts / 100, Quantity.DC_VOLTAGE, 0.01, Flag.DC)


def sent(address: str, shown: Sequence[Reading]) -> list[Chunk]:
    """Frames of what was shown."""
    encoder = framing_of(address).encoder()
    return [Chunk(encoder.encode([one]), EVERY_S * n) for n, one in enumerate(shown)]


def read(chunks: Sequence[Chunk], typed: dict[int, str], path: Path) -> list[float]:
    """The values that a profile reads, taught by what was typed: every second one a display late."""
    moments = [Moment(EVERY_S * (n + k % 2) + 0.05, parse_label(text)) for k, (n, text) in enumerate(typed.items())]
    told = teach(chunks, 0.0, moments, ["9600 8N1"], "2026-01-01")
    assert told.problem == ""
    path.write_text(told.profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    return [got.value for chunk in chunks for got in decoder.feed(chunk.data, chunk.arrival_s)]


@pytest.mark.parametrize("address", ["segments14:x", "digits14:x", "chars16:x"])
def test_they_are_learned_whole(address: str, tmp_path: Path) -> None:
    rng = random.Random(1)
    numbers = [rng.choice((0, 1, 1213, 1380, 1039, 426, 586, rng.randrange(1390))) for _ in range(60)]
    shown = [volts(number) for number in numbers]
    typed = {n: f"{numbers[n] / 100:.2f} V" for n in range(1, 58, 3)}
    assert read(sent(address, shown), typed, tmp_path / "m.toml") == [one.value for one in shown]


def test_an_overload_of_a_range_without_numbers_is_read_again_and_no_number_of_that_range(tmp_path: Path) -> None:
    rng = random.Random(4)
    numbers = [rng.randrange(1390) for _ in range(40)]
    over = Reading(0.0, math.inf, Quantity.RESISTANCE, 10_000.0, Flag.OVERLOAD)
    number = over._replace(value=50_000.0, flags=Flag.NONE)
    shown = [*(volts(n) for n in numbers), *[over] * 6, number]
    typed = {n: f"{numbers[n] / 100:.2f} V" for n in range(1, 38, 3)} | {42: "OL Mohm", 44: "OL Mohm"}
    values = read(sent("digits14:x", shown), typed, tmp_path / "m.toml")
    assert values == [one.value for one in shown[:-1]]


def test_a_segment_that_nobody_saw_dark_makes_no_eight_of_a_six(tmp_path: Path) -> None:
    rng = random.Random(3)
    numbers = [rng.choice((1213, 1380, 1039, 1248, 1247, 412, 1, 0)) for _ in range(60)]
    for n in range(4, 58, 6):
        numbers[n : n + 3] = [1246, 1248, 1246]
    typed = {n: f"{numbers[n] / 100:.2f} V" for n in range(58) if numbers[n] != 1246 and n % 2}
    chunks = sent("segments14:x", [volts(number) for number in numbers])
    values = read(chunks, typed, tmp_path / "m.toml")
    assert set(values) >= {12.13, 0.01, 0.0}
    assert not {12.46, 12.48} & set(values)
