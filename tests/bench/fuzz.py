"""A coverage-guided fuzzer over all decoders; needs atheris, which is no dependency of this project:

    python3 -m venv /tmp/fuzz && /tmp/fuzz/bin/pip install atheris -e .
    /tmp/fuzz/bin/python -m tests.bench.fuzz -max_total_time=180

The first byte chooses the framing, the second how the rest is cut. Any exception, a reading that depends on how the
bytes are cut, a finite number that is not finite, or a buffer that grows is a find.
"""

from __future__ import annotations

import math
import sys
from copy import deepcopy
from importlib import import_module

from meterlog.driver.framing import Decoder, framing_of
from meterlog.reading import Flag, Reading
from meterlog_drivers.display.scpi_words import error_of, quantity_of, values_of, without_prompt

ADDRESSES = (
    "status14:x",
    "status14:x?spare=ignored",
    "segments14:x",
    "digits11:x",
    "digits11:x?status=judge-first&amperes=0x3F",
    "digits11:x?status=sign-first&amperes=0x30",
    "digits14:x",
    "chars16:x",
    "five11:x",
    "five11:x?told=1100:1mV,1140:1mV+minus,1180:1mV+overload,0400:0.1ohm",
    "bcd17:x?told=00:none,01:m,02:k",
    "bcd17:x?chip=sister&told=00:none,01:m,02:k",
    "text:x",
    "text:x?profile=columns",
    "text:x?profile=two-column",
)


def known(readings: list[Reading]) -> list[Reading]:
    """Readings that compare equal where their resolution is unknown."""
    return [r._replace(resolution=-1.0) if math.isnan(r.resolution) else r for r in readings]


def one_input(data: bytes, fresh: list[Decoder]) -> None:
    """Decode one input whole and cut; both must agree."""
    if len(data) < 3:
        return
    place, step, stream = data[0] % len(ADDRESSES), data[1] % 31 + 1, data[2:]
    whole, cut = deepcopy(fresh[place]), deepcopy(fresh[place])  # reading a profile again each time is slow
    readings = whole.feed(stream, 1.0)
    pieces = [r for n in range(0, len(stream), step) for r in cut.feed(stream[n : n + step], 1.0)]
    assert known(readings) == known(pieces), ADDRESSES[place]
    assert whole.traffic == cut.traffic, ADDRESSES[place]
    for reading in readings:
        assert not math.isnan(reading.value)
        assert math.isinf(reading.value) == (Flag.OVERLOAD in reading.flags)
    text = stream.decode("latin-1")
    for value in values_of(without_prompt(text)) or []:
        assert math.isinf(value.value) == (Flag.OVERLOAD in value.flags)
    error_of(text)
    quantity_of(text)


def main() -> None:
    """Fuzz until told to stop."""
    atheris = import_module("atheris")
    fresh = [framing_of(address).decoder() for address in ADDRESSES]
    atheris.instrument_all()
    atheris.Setup(sys.argv, lambda data: one_input(data, fresh))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
