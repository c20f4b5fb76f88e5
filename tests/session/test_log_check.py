"""A killed session whose log lost a bit: what is sound is read, and that something is lost is said, then and later."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.log_check import is_log_damaged

FLUSHES, READINGS = 8, 50


@pytest.fixture
def killed(tmp_path: Path) -> Path:
    """A session with its log, as a kill leaves them."""
    path = tmp_path / "killed.sqlite"
    with SessionWriter.create(tmp_path / "growing.sqlite") as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        for i in range(FLUSHES):
            first = i * READINGS
            start_s = writer.monotonic_start_s
            numbers = range(first, first + READINGS)
            writer.append(channel, [Reading(start_s + k, float(k), Quantity.DC_VOLTAGE, 1.0) for k in numbers])
            writer.flush()
        shutil.copy(writer.path, path)
        shutil.copy(f"{writer.path}-wal", f"{path}-wal")
    return path


def test_a_sound_log_is_taken_in_and_nothing_is_said(killed: Path) -> None:
    log = Path(f"{killed}-wal")
    assert not is_log_damaged(log)
    content = log.read_bytes()
    for cut in (0, 20, 32, 40, 90, len(content) - 1, len(content) - 4096, len(content) - 4120):  # ended by a kill
        log.write_bytes(content[:cut])
        assert not is_log_damaged(log), cut
    log.write_bytes(content)
    with open_reader(killed) as reader:
        assert (reader.ended, reader.damage) == ("hard", "")
        assert reader.series(1).value.tolist() == list(map(float, range(FLUSHES * READINGS)))
    assert [file.name for file in killed.parent.glob("killed*")] == ["killed.sqlite"]


@pytest.mark.parametrize("at", [0, 9, 17, 25, 32, 37, 41, 49, 60, -1, -4100, -4110, -4118])
def test_a_flipped_bit_of_the_log_is_said_whenever_the_session_is_opened(at: int, killed: Path) -> None:
    log = Path(f"{killed}-wal")
    content = bytearray(log.read_bytes())
    content[at] ^= 4
    log.write_bytes(content)
    assert is_log_damaged(log)
    for _ in range(2):
        with open_reader(killed) as reader:
            values = reader.series(1).value.tolist() if reader.channels else []
            assert values == list(map(float, range(len(values))))
            assert len(values) < FLUSHES * READINGS
            assert reader.ended == "hard"
            assert "its log was damaged" in reader.damage
