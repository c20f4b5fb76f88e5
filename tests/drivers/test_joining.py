"""Opening a port while a line is on its way: its tail must not pass for a reading."""

from __future__ import annotations

import socket
import time
from pathlib import Path

import pytest

from meterlog.driver import open_address
from meterlog.driver.framing import FramedMeter, JoinsMidway, framing_of
from meterlog.reading import Reading
from meterlog.transports import Chunk
from tests.conftest import write_capture


class Wire:
    """A wire on which the given bytes come so long after it was opened."""

    name = "a wire"

    def __init__(self, data: bytes, after_s: float, byte_time_s: float) -> None:
        self._data, self._after_s, self.byte_time_s = data, after_s, byte_time_s

    def open(self) -> Wire:
        return self

    def read(self, timeout_s: float) -> Chunk | None:  # noqa: ARG002
        time.sleep(self._after_s)
        data, self._data = self._data, b""
        if not data:
            raise EOFError
        return Chunk(data, time.monotonic())

    def write(self, data: bytes) -> None:
        raise AssertionError(f"wrote {data!r}")

    def close(self) -> None: ...


@pytest.mark.parametrize(
    ("after_s", "byte_time_s", "values"),
    [(0.0, 0.001, [12.35]), (0.12, 0.001, [2.34, 12.35]), (0.0, 0.0, [12.35]), (0.3, 0.0, [2.34, 12.35])],
    ids=["a wire", "a wire after a pause", "a link that bundles", "a link that bundles, after a pause"],
)
def test_a_line_that_was_already_coming_when_the_link_was_opened_is_dropped(
    after_s: float, byte_time_s: float, values: list[float]
) -> None:
    framing = framing_of("text:x")
    wire = Wire(b"2.34 V\r\n12.35 V\r\n", after_s, byte_time_s)
    meter = FramedMeter(framing.driver, framing.address, wire)
    connection = meter.open()
    readings = connection.read(1.0)
    assert readings is not None
    assert [r.value for r in readings] == values
    assert connection.read(1.0) is None
    assert connection.traffic.bytes_discarded == (0 if len(values) == 2 else len(b"2.34 V\r"))


def test_each_new_connection_over_tcp_may_begin_in_mid_line() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(5.0)
        _, meter = open_address(f"text:socket://127.0.0.1:{server.getsockname()[1]}")
        for _ in range(2):
            connection = meter.open()
            peer, _ = server.accept()
            with peer:
                peer.sendall(b"2.34 V\r\n12.35 V\r\n12.36 V\r\n")
                readings: list[Reading] = []
                end_s = time.monotonic() + 60.0
                while len(readings) < 2 and time.monotonic() < end_s:
                    readings += connection.read(0.2) or []
            connection.close()
            assert [r.value for r in readings] == [12.35, 12.36]


@pytest.mark.parametrize("byte_time_s", [0.0, 0.001])
def test_a_first_line_that_was_whole_is_kept_with_its_own_time(byte_time_s: float) -> None:
    framing = framing_of("text:x")
    decoder = framing.decoder(byte_time_s)
    assert isinstance(decoder, JoinsMidway)
    decoder.joined_midway()
    assert decoder.feed(b"12.34 V\r\n", 5.0) == []
    first, second = decoder.feed(b"12.35 V\r\n", 5.5)
    assert (first.value, second.value) == (12.34, 12.35)
    assert first.time_s == pytest.approx(5.0, abs=0.01)
    assert decoder.traffic.bytes_discarded == 0


def test_a_raw_capture_that_begins_in_mid_line_is_read_as_it_was_live(tmp_path: Path) -> None:
    lines = [(0.1, b"2.34 V\r\n"), (0.6, b"12.35 V\r\n"), (1.1, b"12.36 V\r\n")]
    capture = write_capture(tmp_path / "pump.raw", lines)
    _, meter = open_address(f"replay:{capture}?speed=1000")
    connection = meter.open()
    readings: list[Reading] = []
    while (some := connection.read(1.0)) is not None:
        readings += some
    assert [r.value for r in readings] == [12.35, 12.36]
