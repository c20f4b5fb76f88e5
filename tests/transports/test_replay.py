"""A raw capture keeps every byte with its time, survives a crash, and comes back at its recorded spacing."""

from __future__ import annotations

import itertools
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from meterlog.errors import EmptySession, LinkAbsent, LinkLost, NotASession, SessionWriteFailed
from meterlog.transports import Chunk, LineSettings, Link
from meterlog.transports.raw_capture import RawCapture, RawCaptureWriter, read_raw_capture
from meterlog.transports.replay import ReplayTransport
from meterlog.transports.tap import TappedTransport

STARTED = datetime(2026, 3, 1, 9, 15, tzinfo=UTC)
LINE = LineSettings(2400)
CHUNKS = [Chunk(bytes(range(200)), 0.5), Chunk(b"\r\n", 0.75), Chunk(bytes(range(200, 256)), 1.5)]


def writer(path: Path) -> RawCaptureWriter:
    return RawCaptureWriter(path, "status14:/dev/ttyUSB0?label=feed", STARTED, 100.0, LINE.byte_time_s)


def written(path: Path) -> Path:
    capture = writer(path)
    for chunk in CHUNKS:
        capture.add(chunk._replace(arrival_s=chunk.arrival_s + 100.0))
    capture.note("link\nlost")
    capture.close()
    return path


def drain(link: Link) -> list[Chunk]:
    chunks: list[Chunk] = []
    while True:
        try:
            chunk = link.read(0.1)
        except EOFError:
            return chunks
        if chunk is not None:
            chunks.append(chunk)


def test_every_byte_comes_back_with_its_time(tmp_path: Path) -> None:
    capture = read_raw_capture(written(tmp_path / "a.raw"))
    assert capture.chunks == CHUNKS
    assert capture.byte_time_s == pytest.approx(LINE.byte_time_s)
    assert capture.address == "status14:/dev/ttyUSB0?label=feed"


def test_the_file_can_be_read_by_eye(tmp_path: Path) -> None:
    lines = written(tmp_path / "a.raw").read_text().splitlines()
    assert lines[0] == "meterlog raw bytes 1"
    assert lines[2] == "# started_at: 2026-03-01T09:15:00+00:00"
    assert lines[5] == "0.750000 0d 0a"
    assert lines[-1] == "# link lost"


def test_a_torn_last_line_loses_nothing_else(tmp_path: Path) -> None:
    path = written(tmp_path / "a.raw")
    whole = path.read_bytes()
    path.write_bytes(whole + b"2.000000 2b 3")
    assert read_raw_capture(path).chunks == CHUNKS


def test_what_was_added_survives_a_crash(tmp_path: Path) -> None:
    path = tmp_path / "a.raw"
    code = (
        "import os, sys; from datetime import datetime, UTC; from pathlib import Path;"
        "from meterlog.transports import Chunk; from meterlog.transports.raw_capture import RawCaptureWriter;"
        "w = RawCaptureWriter(Path(sys.argv[1]), 'text:x', datetime.now(UTC), 0.0, 0.0);"
        "[w.add(Chunk(b'%d' % i, i / 10)) for i in range(1000)]; os.kill(os.getpid(), 9)"
    )
    assert subprocess.run([sys.executable, "-c", code, str(path)], check=False).returncode != 0
    assert [chunk.data for chunk in read_raw_capture(path).chunks] == [b"%d" % i for i in range(1000)]


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "a.raw"
    path.write_text("precious")
    with pytest.raises(SessionWriteFailed, match="cannot be kept"):
        writer(path)
    assert path.read_text() == "precious"


@pytest.mark.parametrize("line", ["abc 2b", "0.5 zz", "0.5", "0.5 2", "nan 2b", "inf 2b"])
def test_a_damaged_line_is_named(tmp_path: Path, line: str) -> None:
    path = tmp_path / "a.raw"
    path.write_text(f"meterlog raw bytes 1\n# address: text:x\n{line}\n")
    with pytest.raises(NotASession, match="line 3"):
        read_raw_capture(path)


@pytest.mark.parametrize("time", ["soon", "nan", "inf", "-0.1"])
def test_a_byte_time_that_is_none_is_said(tmp_path: Path, time: str) -> None:
    path = tmp_path / "a.raw"
    path.write_text(f"meterlog raw bytes 1\n# byte_time_s: {time}\n0.5 2b\n")
    with pytest.raises(NotASession, match="is not a time"):
        read_raw_capture(path)


def test_an_absent_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(LinkAbsent, match="there is no file"):
        read_raw_capture(tmp_path / "none.raw")


@pytest.mark.parametrize("speed", [80.0, 1000.0])
def test_replayed_bytes_keep_their_spacing_at_any_speed(tmp_path: Path, speed: float) -> None:
    capture = writer(tmp_path / "a.raw")
    for chunk, arrival_s in zip(CHUNKS, (100.5, 105.5, 120.5), strict=True):
        capture.add(chunk._replace(arrival_s=arrival_s))
    capture.close()
    began = time.monotonic()
    chunks = drain(ReplayTransport("a.raw", read_raw_capture(tmp_path / "a.raw"), LINE, speed).open())
    ended = time.monotonic()
    assert [chunk.data for chunk in chunks] == [chunk.data for chunk in CHUNKS]
    assert began <= chunks[0].arrival_s <= ended
    assert [c.arrival_s - chunks[0].arrival_s for c in chunks] == pytest.approx([0.0, 5.0, 20.0])
    assert 20.0 / speed <= ended - began < 20.0, "sooner than it once came"


def test_each_opening_begins_at_the_first_byte(tmp_path: Path) -> None:
    transport = ReplayTransport("a.raw", read_raw_capture(written(tmp_path / "a.raw")), LINE, 100.0)
    assert len(drain(transport.open())) == len(drain(transport.open())) == 3


def test_plain_bytes_come_at_the_pace_of_the_line(tmp_path: Path) -> None:
    path = tmp_path / "plain.bin"
    path.write_bytes(bytes(range(100)))
    capture = read_raw_capture(path)
    assert capture == RawCapture([], bytes(range(100)))
    transport = ReplayTransport("plain.bin", capture, LINE, 100.0)
    chunks = drain(transport.open())
    assert b"".join(chunk.data for chunk in chunks) == bytes(range(100))
    assert transport.byte_time_s == LINE.byte_time_s
    assert chunks[-1].arrival_s - chunks[0].arrival_s == pytest.approx(68 * LINE.byte_time_s)


def test_nothing_to_replay_is_said() -> None:
    with pytest.raises(EmptySession, match=r"no bytes in x\.bin"):
        ReplayTransport("x.bin", RawCapture([], b""), LINE)


def test_a_closed_replay_is_closed(tmp_path: Path) -> None:
    link = ReplayTransport("a.raw", read_raw_capture(written(tmp_path / "a.raw")), LINE).open()
    link.close()
    with pytest.raises(LinkLost):
        link.read(1.0)


def test_a_tap_keeps_what_passes_through_it(tmp_path: Path) -> None:
    sink = RawCaptureWriter(tmp_path / "b.raw", "text:x", STARTED, time.monotonic(), 0.0)
    tapped = TappedTransport(ReplayTransport("a.raw", RawCapture(CHUNKS, b""), LINE, 100.0), sink)
    assert tapped.name == "a.raw"
    passed = drain(tapped.open())
    sink.close()
    kept = read_raw_capture(sink.path).chunks
    assert [chunk.data for chunk in passed] == [chunk.data for chunk in kept] == [chunk.data for chunk in CHUNKS]
    assert [b.arrival_s - a.arrival_s for a, b in itertools.pairwise(kept)] == pytest.approx([0.25, 0.75], abs=1e-5)
