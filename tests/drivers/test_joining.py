"""Opening a port while a line is on its way: its tail must not pass for a reading."""

from __future__ import annotations

import time

import pytest

from meterlog.framing import FramedMeter, framing_of
from meterlog.transports import Chunk


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
    ("after_s", "byte_time_s", "live", "values"),
    [
        (0.0, 0.001, True, [12.35]),
        (0.12, 0.001, True, [2.34, 12.35]),
        (0.0, 0.0, True, [2.34, 12.35]),
        (0.0, 0.001, False, [2.34, 12.35]),
    ],
    ids=["in the middle", "after a pause", "no wire", "replayed"],
)
def test_a_line_that_was_already_coming_when_the_port_was_opened_is_dropped(
    after_s: float, byte_time_s: float, live: bool, values: list[float]
) -> None:
    framing = framing_of("text:x")
    wire = Wire(b"2.34 V\r\n12.35 V\r\n", after_s, byte_time_s)
    meter = FramedMeter(framing.driver, framing.address, wire, live)
    connection = meter.open()
    readings = connection.read(1.0)
    assert readings is not None
    assert [r.value for r in readings] == values
    assert connection.read(1.0) is None
